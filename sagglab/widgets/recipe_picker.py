"""Recipe picker: a recipe chosen by hand, and the colour that it would probably come out."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, ClassVar

import numpy as np
import pandas as pd
import traitlets

from sagglab.colour import AXES, as_hex, lab_to_srgb
from sagglab.markup import text_table
from sagglab.materials import TAKE_CARE
from sagglab.model.colours import ColourEffects, ColourPrediction
from sagglab.model.predict import MEAN, NEW_FIRING
from sagglab.model.recipe import said_recipe
from sagglab.model.terms import Factor
from sagglab.model.wording import amount_in_words, label, tried_in_words
from sagglab.pages.headings import unit_of
from sagglab.pages.numbers import decimal, digits_for, within
from sagglab.pages.patches import patch
from sagglab.units import both_scales
from sagglab.widgets.live import LiveWidget, look, script

#: A slider has about so many steps from the least to the greatest amount tried.
STEPS = 50
#: So many recipes are kept beside the one that is being chosen.
MOST_KEPT = 4

_KEPT = ("recipe", "what", "code", "numbers", "swatches")
_ENDS = ("low", "middle", "high")


class RecipePicker(LiveWidget):
    """A slider for each amount, a list for each kind, and the colour expected; `colours.predict` is the same.

    Parameters
    ----------
    colours : ColourEffects
        The result of `fit_colour`.

    Attributes
    ----------
    recipe : dict
        What is chosen now, heading to value, as `ColourEffects.predict` takes it.
    firing : str or None
        The firing that is chosen; None for a new one.
    """

    _esm = script("recipe_picker.js")
    _css: ClassVar[str] = look("recipe_picker.css")

    controls = traitlets.List().tag(sync=True)
    firings = traitlets.List().tag(sync=True)
    shown = traitlets.Dict().tag(sync=True)
    kept = traitlets.List().tag(sync=True)
    care = traitlets.Unicode(TAKE_CARE).tag(sync=True)

    def __init__(self, colours: ColourEffects) -> None:
        self.colours = colours
        effects = colours.outcomes.effects[AXES[0]]
        self._factors = [factor for factor in effects.factors if not factor.constant]
        self.recipe: dict[str, object] = {
            factor.heading: _middle(factor) for factor in self._factors if factor.is_amount
        }
        self.firing: str | None = None
        super().__init__()
        self.controls = [_control(factor) for factor in self._factors]
        self.firings = [str(name) for name in pd.unique(effects.fitted.groups["firing"])]
        self.asked_predict(self.recipe)

    def asked_predict(self, recipe: Mapping[str, object], firing: str | None = None, number: int = 0) -> None:
        """Predict a recipe.

        Parameters
        ----------
        recipe : mapping
            Kinds that are left open are not in it.
        firing : str, optional
        number : int
            Goes back with the answer, so that a view knows whether it answers its own question.
        """
        found = self.colours.predict(recipe, firing)
        self.recipe, self.firing = dict(found.recipe), firing
        self.shown = {"number": number, **_laid_out(found, firing)}

    def asked_keep(self) -> None:
        """Keep the recipe that is shown, to look at beside others."""
        if len(self.kept) >= MOST_KEPT:
            self.say(f"{MOST_KEPT} recipes are kept already; take one away first", kind="fault")
        elif any(one["code"] == self.shown["code"] for one in self.kept):
            self.say("This recipe is kept already")
        else:
            self.kept = [*self.kept, {name: self.shown[name] for name in _KEPT}]

    def asked_drop(self, place: int) -> None:
        """Take a kept recipe away."""
        self.kept = [one for at, one in enumerate(self.kept) if at != place]

    def still(self) -> str:
        """Give the recipe that is chosen with its colour, and what each amount's ends would give."""
        found = self.colours.predict(self.recipe, self.firing)
        return found._repr_html_() + self._ends()

    def _ends(self) -> str:
        """Lay out what the least and the greatest of each amount would give, all else as chosen."""
        rows, patches = [], []
        for factor in self._factors:
            if not factor.is_amount:
                continue
            for amount in (factor.low, factor.high):
                found = self.colours.predict({**self.recipe, factor.heading: amount}, self.firing)
                _, table = _asked_for(found, self.firing)
                patches.append(patch(np.array([line["estimate"] for line in table]), "expected"))
                said = f"{label(factor)} {amount_in_words(factor, amount)}"
                rows.append([said, *(_interval(line) for line in table)])
        if not rows:
            return ""
        caption = "What the least and the greatest amount tried give (95 % interval)"
        return text_table(["all else as above", *AXES], rows, caption, patches)


def _control(factor: Factor) -> dict[str, Any]:
    """Say what a control is like: an amount with its range, or a kind with its levels."""
    about = {"heading": factor.heading, "label": label(factor)}
    if not factor.is_amount:
        return {**about, "levels": list(factor.levels)}
    step = _step(factor)
    low, high = math.ceil(factor.low / step - 1e-9), math.floor(factor.high / step + 1e-9)
    return {
        **about,
        "unit": amount_in_words(factor, 2.0).partition(" ")[2],
        "tried": tried_in_words(factor),
        "low": round(low * step, 10),
        "high": round(high * step, 10),
        "step": step,
    }


def _step(factor: Factor) -> float:
    """Choose a step: 1 for what is counted, else 1, 2 or 5 of some decimal place."""
    if factor.unit == "coats" and all(float(amount).is_integer() for amount in factor.tried):
        # Between one coat and two, whole coats have no middle to begin in.
        return 1.0 if factor.high - factor.low > 1 else 0.5
    least = (factor.high - factor.low) / STEPS
    place = 10.0 ** math.floor(math.log10(least))
    step = next(times * place for times in (1, 2, 5, 10) if times * place >= least * (1 - 1e-9))
    return round(step, 10) if step >= 1e-9 else step


def _middle(factor: Factor) -> float:
    """Give the step nearest the middle of what was tried, the lower one of two."""
    step = _step(factor)
    middle = (factor.low + factor.high) / 2
    nearest = round(math.ceil(middle / step - 0.5 - 1e-9) * step, 10)
    return float(min(max(nearest, factor.low), factor.high))


def _asked_for(found: ColourPrediction, firing: str | None) -> tuple[str, list[dict[str, Any]]]:
    """Give the rows of what was asked for, one for each coordinate; the mean where it cannot be had."""
    wanted = NEW_FIRING if firing is None else f"a new pot in firing {firing}"
    rows = found.table[found.table["what"] == wanted]
    if rows["low"].isna().any():
        wanted = MEAN
        rows = found.table[found.table["what"] == wanted]
    return wanted, rows.to_dict("records")


def _interval(line: Mapping[str, Any]) -> str:
    if math.isnan(line["low"]):
        return f"{decimal(line['estimate'], 1)} (interval not known)"
    places = max(digits_for((line["high"] - line["low"]) / 2), 0)
    return within(line["estimate"], line["low"], line["high"], places)


def _laid_out(found: ColourPrediction, firing: str | None) -> dict[str, Any]:
    what, lines = _asked_for(found, firing)
    middle = np.array([line["estimate"] for line in lines])
    lightness = lines[0]
    colours = np.tile(middle, (3, 1))
    if not math.isnan(lightness["low"]):
        colours[:, 0] = lightness["low"], lightness["estimate"], lightness["high"]
    colours[:, 0] = np.clip(colours[:, 0], 0, 100)
    srgb, outside = lab_to_srgb(colours)
    swatches = [
        {
            "colour": as_hex(one),
            "cut": bool(cut),
            "name": f"{end}, L*\u00a0{decimal(lab[0], 0)}",
        }
        for end, one, cut, lab in zip(_ENDS, srgb, outside, colours, strict=True)
    ]
    return {
        "chosen": dict(found.recipe),
        "firing": firing,
        "recipe": said_recipe(found.recipe),
        "what": what,
        "swatches": swatches,
        "numbers": [[line["outcome"], _interval(line)] for line in lines],
        "sentence": _sentence(what, lines),
        "notes": [*_not_had(found, what, firing), *found.notes],
        "heats": {
            heading: both_scales(float(amount))
            for heading, amount in found.recipe.items()
            if unit_of(heading) == "degC"
        },
        "code": _code(found.recipe, firing),
    }


def _sentence(what: str, lines: list[Mapping[str, Any]]) -> str:
    parts = [f"{line['outcome']} {_interval(line)}" for line in lines]
    return f"{what[:1].upper()}{what[1:]} comes out at about {parts[0]}, {parts[1]} and {parts[2]}."


def _not_had(found: ColourPrediction, what: str, firing: str | None) -> list[str]:
    """Say so where the mean stands in for a pot."""
    if what != MEAN:
        return []
    if firing is None:
        return ["one firing cannot tell how a new firing would come out: the mean of such pots is shown"]
    return [f"the pots cannot tell how a new pot in firing {firing} would scatter: the mean is shown"]


def _code(recipe: Mapping[str, object], firing: str | None) -> str:
    tail = "" if firing is None else f", firing={firing!r}"
    # The notebooks call it so, where this line is put.
    return f"colour.predict({dict(recipe)!r}{tail})"
