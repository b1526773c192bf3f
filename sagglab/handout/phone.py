"""The handout for a phone: one page of HTML that needs no other file, no script and no network."""

from __future__ import annotations

import base64
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING

from sagglab.handout.shown import shown

if TYPE_CHECKING:
    from jinja2 import Template

    from sagglab.handout.handout import Handout


def phone_page(handout: Handout) -> str:
    """Lay a handout out for a phone: all of it, in the order of the printed pages."""
    return _template().render(shown(handout))


@lru_cache(maxsize=1)
def _template() -> Template:
    # Loaded here: it takes 0.05 s, which only this page needs.
    from jinja2 import Environment, StrictUndefined

    surroundings = Environment(
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    surroundings.filters |= {"jpeg": _jpeg, "svg": _svg}
    return surroundings.from_string(
        files("sagglab.handout").joinpath("phone.html").read_text(encoding="utf-8")
    )


def _jpeg(picture: bytes) -> str:
    return f"data:image/jpeg;base64,{base64.b64encode(picture).decode('ascii')}"


def _svg(drawing: str) -> str:
    # As a picture, not as part of the page: nothing in it can run, and no two drawings share a name.
    return f"data:image/svg+xml;base64,{base64.b64encode(drawing.encode('utf-8')).decode('ascii')}"
