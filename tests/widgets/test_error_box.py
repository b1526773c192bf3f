"""An error in a notebook, in a real browser: one box, nothing red below it, and no cell after it runs."""

CELLS = ("import sagglab\nsagglab.open_book('/no/where')", "print('ran')")


def test_one_box_and_no_strip_below_it(lab, contrast):
    page = lab.opened(*CELLS, wait=".sagglab.told")
    strip = page.locator('[data-mime-type="application/vnd.jupyter.stderr"]')
    strip.wait_for(state="attached")
    assert not strip.is_visible()
    assert page.locator(".jp-InputPrompt").all_inner_texts() == ["[1]:", "[ ]:"]
    page.locator(".sagglab.told summary").press("Enter")
    assert "Cell In[1]" in page.locator(".sagglab.told pre").inner_text()
    for theme in ("JupyterLab Dark", "JupyterLab Light"):
        lab.theme(theme)
        assert contrast(page, ".sagglab.told") >= 4.5, theme
