"""Printed pages shown in a notebook, with words for whoever does not see them."""

import io
import re

from PIL import Image

from sagglab.handout.page_pictures import PagePictures


def png(grey):
    page = io.BytesIO()
    Image.new("L", (8, 6), grey).save(page, "PNG")
    return page.getvalue()


THREE = png(3)
PAGES = PagePictures.of([png(1), png(2), THREE], "handout.pdf")


def alts(shown):
    return re.findall(r'<img [^>]*alt="([^"]*)"', shown._repr_html_())


def test_every_page_says_which_it_is_and_where_its_words_are():
    told = alts(PAGES)
    assert told[1] == "Page 2 of 3 as printed. All its words can be read in handout.pdf."
    assert len(set(told)) == 3 == len(PAGES)


def test_some_of_the_pages_keep_their_numbers():
    assert alts(PAGES[1:]) == alts(PAGES)[1:]
    assert alts(PAGES[-1]) == alts(PAGES)[-1:] and PAGES[-1].png == THREE
