"""Recipe cards: what the pots shown had on and around them, and what all pots that had it came out like."""

from __future__ import annotations

import pandas as pd

from sagglab.colour import AXES
from sagglab.columns import BOOK_TABLES, OPTIONAL_TABLES, RESULTS
from sagglab.errors import UnknownNameError
from sagglab.handout.handout import RecipeCard
from sagglab.handout.ranks import even_ranks
from sagglab.handout.wording import amount_in_words
from sagglab.materials import find_material, lies_on_surface
from sagglab.measures.results import OWN_MEASURES
from sagglab.model.wording import count
from sagglab.units import PER_AREA, parse_heading

#: What no one puts on a pot: the book's own records, and what was measured.
_NO_RECIPE = {
    column.heading
    for columns in (*BOOK_TABLES.values(), *OPTIONAL_TABLES.values(), RESULTS)
    for column in columns
}
_CLAY = "clay"
_UNITS = ("g", PER_AREA, "mL", "coats", "cm", "count")
_AREA = "surface area [cm2]"
#: Pots whose sides differ by less than this share have one amount for 100 cm²; dusting by hand is no finer.
_SAME_AREA = 0.05


def recipe_headings(results: pd.DataFrame) -> list[str]:
    """Name the columns that are the recipe of a pot: its clay, each material, and each amount of a thing.

    Examples
    --------
    >>> recipe_headings(pd.DataFrame(columns=["pot", "clay", "sugar [g]", "height [cm]", "peak_C", "L*"]))
    ['clay', 'sugar [g]']
    """
    other = _NO_RECIPE | set(results.attrs.get(OWN_MEASURES, ()))
    found = [_CLAY] if _CLAY in results else []
    for heading in map(str, results.columns):
        name, unit = parse_heading(heading)
        if heading not in other and (unit in _UNITS or find_material(name) is not None):
            found.append(heading)
    return found


def recipe_cards(results: pd.DataFrame, pots: list[str], most: int = 6) -> tuple[RecipeCard, ...]:
    """Make a card for each recipe of the pots shown.

    Parameters
    ----------
    results : DataFrame
        From `measures.gather_results`.
    pots : list of str
        The pots shown, in their order.
    most : int
        Room for so many; of more recipes those at even steps are taken, the first and the last with them.

    Returns
    -------
    tuple of RecipeCard
        In the order of the pots. Each stands for all measured pots that had just that recipe, or for all
        that had it where none was measured.

    Raises
    ------
    UnknownNameError
        The results have no such pot.
    """
    headings = recipe_headings(results)
    results = results.drop_duplicates("pot")
    # What few pots are noted to have had need not be said of the others to be unknown.
    noted = {name: results[name].notna() & (results[name] != "") for name in headings}
    usual = [name for name in headings if 2 * noted[name].sum() > len(results)]
    unknown = set(pots).difference(results["pot"].astype(str))
    if unknown:
        raise UnknownNameError(
            f"pot '{min(unknown)}'", "the results have no such pot", "name pots that they have"
        )
    recipes = pd.Series(_recipes(results, headings), index=results["pot"].astype(str), dtype=object)
    wanted = list(dict.fromkeys(recipes[pots]))
    shown = [wanted[rank] for rank in even_ranks(len(wanted), most)]
    return tuple(_card(results[(recipes == recipe).to_numpy()], headings, usual) for recipe in shown)


def _recipes(results: pd.DataFrame, headings: list[str]) -> list[str]:
    """Write each pot's recipe so that the same recipe is the same words; blank is not the same as none."""
    # Ten digits: ounces and pounds that were turned into grams come out alike.
    return [
        "; ".join(
            f"{heading}: {value:.10g}" if isinstance(value, float | int) else f"{heading}: {value}"
            for heading, value in row.items()
        )
        for row in results[headings].to_dict("records")
    ]


def _card(had: pd.DataFrame, headings: list[str], usual: list[str]) -> RecipeCard:
    lab = had.reindex(columns=list(AXES)).astype(float)
    measured = lab.notna().all(axis=1)
    if measured.any():
        had, lab = had[measured], lab[measured]
    areas = had[_AREA].astype(float).dropna() if _AREA in had else pd.Series(dtype=float)
    unknown, rows, on_surface = [], [], {}
    for heading in headings:
        name, unit = parse_heading(heading)
        value = had[heading].iloc[0]
        if pd.isna(value) or value == "":
            unknown += [name] * (heading in usual)
        elif isinstance(value, str):
            rows.append((name, value, ""))
        elif unit == PER_AREA:
            rows.append((name, "", amount_in_words(value, "g")))
        elif value != 0:
            for_area = ""
            if lies_on_surface(name, unit):
                on_surface[name] = value
                for_area = "" if areas.empty else amount_in_words(100 * value / areas.mean(), "g")
            rows.append((name, amount_in_words(value, unit), for_area))
    mean = lab.mean().to_numpy() if measured.any() else None
    said = _measured_in_words(lab) if measured.any() else f"{count(len(had), 'pot')}, not measured"
    notes = [
        _on_area(on_surface, areas) if on_surface else "",
        f"Not noted: {', '.join(unknown)}." if unknown else "",
        "" if rows else "The book tells of no material that was used.",
    ]
    return RecipeCard(tuple(had["pot"].astype(str)), mean, said, tuple(rows), " ".join(filter(None, notes)))


def _on_area(on_surface: dict[str, float], areas: pd.Series) -> str:
    """Say what to know of the amounts for 100 cm²."""
    if areas.empty:
        return "Amounts for 100 cm² need the pot's area, from a photograph with the target."
    if areas.max() - areas.min() <= _SAME_AREA * areas.mean():
        return ""
    told = []
    for name, amount in on_surface.items():
        low, high = (amount_in_words(100 * amount / area, "g") for area in (areas.max(), areas.min()))
        told.append(f"{name} {low.removesuffix(' g')} to {high}")
    return f"For 100 cm² by the size of the pot: {', '.join(told)}."


def _measured_in_words(lab: pd.DataFrame) -> str:
    """Say the mean colour, of how many pots, and how far apart they were."""
    mean = ", ".join(f"{axis} {value:.0f}".replace("-", "−") for axis, value in lab.mean().items())
    if len(lab) == 1:
        return f"{mean}; 1 pot"
    return f"{mean}; mean of {len(lab)} pots, L* {lab['L*'].min():.0f} to {lab['L*'].max():.0f}"
