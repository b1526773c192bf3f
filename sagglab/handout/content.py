"""What the printed bench sheet says, as plain data for the page to lay out."""

from __future__ import annotations

import numpy as np
import pandas as pd

from sagglab.cautions import cautions
from sagglab.handout.climb import peak_C, planned_climb
from sagglab.handout.wording import amount_in_words, breakable, spoons_in_words, unbroken
from sagglab.materials import find_material
from sagglab.plan.sheet import CLIMB_TIMES, BenchSheet
from sagglab.units import both_scales, parse_heading

FOOT = "Decorative ware only. Safety sheets, local codes and licensed practice go first."

#: What is ticked for each pot, in the order of work.
STEPS = ("coated", "dusted & packed", "wrapped & placed")

#: Common practice, no source.
ORDER_OF_WORK = (
    "Set up outdoors, in the open, upwind of the kiln. Read the wind again before each step.",
    "Put on chemical-proof gloves and goggles. Respirator: cartridge type B and E with particle filter P, in "
    "date; none stops carbon monoxide.",
    "Weigh all dry amounts first, a labelled cup for each pot, before anything wet is opened.",
    "Coat, pot by pot; tick the box. Dust the damp coat, and let it dry before anything touches foil.",
    "Pack, wrap in foil, mark the tag on the outside, and set the saggar at its place.",
    "Check gas joints with soapy water, clear the surroundings, change to heat-proof gloves, and light.",
    "Stay with the fire, upwind. Write the time and temperature at each step.",
    "At the peak shut the gas at the cylinder first, then at the burner.",
    "Let all of it cool: open only below 100 °C (212 °F), outdoors, gloves and respirator on.",
)

#: The same beside each firing.
WORK_IN_SHORT = (
    "outdoors and upwind; gloves, goggles, respirator; dry amounts first; gas shut at the cylinder first; "
    "open only below 100 °C (212 °F)."
)

#: In which of the steps a material is used.
_STEP_OF_USE = {"coat": 0, "dusting": 1, "packing": 1, "wrap": 2}
_STEP_OF_UNIT = {"coats": 0, "g": 1, "mL": 1, "cm": 2}
_STEP_OF_NAME = {"dusting": 1, "packing": 1, "wrap": 2, "foil": 2}
#: Of the pot itself, printed beneath its tag.
_ABOUT_THE_POT = ("clay", "height", "diameter")


def sheet_content(sheet: BenchSheet) -> dict[str, object]:
    """Gather all words of the printed sheet.

    Parameters
    ----------
    sheet : BenchSheet

    Returns
    -------
    dict
        Texts, lists and numbers alone, ready to be written as JSON.

    Raises
    ------
    PlanError
        A firing's schedule cannot be understood.
    """
    climbs = {firing: planned_climb(sheet, firing) for firing in sheet.firings["firing"]}
    peaks = {firing: peak_C(sheet, firing, climb) for firing, climb in climbs.items()}
    highest = max((peak for peak in peaks.values() if not np.isnan(peak)), default=np.nan)
    return {
        "tag": _said(sheet.tag),
        "foot": FOOT,
        "steps": STEPS,
        "counts": f"{_count(len(sheet.pots), 'pot')} in {_count(len(sheet.firings), 'firing')}",
        "asks": [breakable(line) for line in sheet.asks],
        "notes": [breakable(f"{note[:1].upper()}{note[1:].rstrip('.')}.") for note in sheet.notes],
        "order": [_overview(sheet, firing, climbs[firing], peaks[firing]) for firing in climbs],
        "totals": _totals(sheet),
        "totals_note": _totals_note(sheet),
        "short": [
            breakable(f"{row.material}: short by {amount_in_words(row['short by [g]'], 'g')}")
            for _, row in sheet.short.iterrows()
        ],
        "foil": str(sheet.foil).removesuffix(" of foil"),
        "foil_note": sheet.foil.reckoning,
        "cost": _cost(sheet),
        "seed": str(sheet.seed),
        "firings": [
            _firing_page(sheet, firing, place, climbs[firing], peaks[firing])
            for place, firing in enumerate(climbs, start=1)
        ],
        "work": ORDER_OF_WORK,
        "work_in_short": WORK_IN_SHORT,
        "cautions": [breakable(caution) for caution in cautions(sheet.pots, highest)],
    }


def _said(value: object) -> str:
    return breakable(str(value))


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def _money(cost: float, currency: str) -> str:
    return "" if np.isnan(cost) else f"{cost:.2f} {currency}".rstrip()


def _cost(sheet: BenchSheet) -> str:
    if sheet.costs.empty:
        return ""
    pots = sheet.costs["cost"]
    told = _money(pots.sum(), sheet.currency)
    each = (
        f"{pots.min():.2f}"
        if round(pots.min(), 2) == round(pots.max(), 2)
        else (f"{pots.min():.2f} to {pots.max():.2f}")
    )
    unpriced = sheet.totals.loc[sheet.totals["cost"].isna(), "material"].tolist()
    left_out = f" Without {', '.join(unpriced)}, of which no price is known." if unpriced else ""
    return breakable(f"{told} for what is weighed out, {each} a pot.{left_out}")


def _totals(sheet: BenchSheet) -> list[list[str]]:
    rows = []
    for _, row in sheet.totals.iterrows():
        stock, cost = row["in stock [g]"], row["cost"]
        rows.append(
            [
                _said(row["material"]),
                amount_in_words(row["on the pots"], row["unit"]),
                amount_in_words(row["to have ready"], row["unit"]),
                "" if np.isnan(stock) else amount_in_words(stock, "g"),
                "" if not row["short by [g]"] > 0 else amount_in_words(row["short by [g]"], "g"),
                _money(cost, sheet.currency),
            ]
        )
    return rows


def _totals_note(sheet: BenchSheet) -> str:
    more = f"{sheet.allowance * 100:.3g} % more than the pots take" if sheet.allowance else "nothing to spare"
    return f"Ready means {more}, coats excepted. A blank is not known."


def _overview(sheet: BenchSheet, firing: str, climb: pd.DataFrame | None, peak: float) -> list[str]:
    row = sheet.firings.set_index("firing").loc[firing]
    costs = sheet.firing_costs.set_index("firing")["cost"]
    return [
        _said(firing),
        _day(row),
        "" if np.isnan(peak) else both_scales(peak),
        "" if climb is None else f"{climb['minutes'].iloc[-1]:.0f}",
        str(int((sheet.pots["firing"] == firing).sum())),
        _money(costs[firing], sheet.currency) if firing in costs else "",
    ]


def _day(row: pd.Series) -> str:
    return f"{row['day']:g}" if pd.notna(row.get("day", np.nan)) else ""


def _firing_page(
    sheet: BenchSheet, firing: str, place: int, climb: pd.DataFrame | None, peak: float
) -> dict[str, object]:
    row = sheet.firings.set_index("firing").loc[firing]
    told = []
    for heading, value in row.items():
        name, unit = parse_heading(heading)
        said_elsewhere = ("day", "target peak", "schedule", *(CLIMB_TIMES if climb is not None else ()))
        if name in said_elsewhere or value == "" or pd.isna(value):
            continue
        told.append(_said(f"{name} {value if unit is None else amount_in_words(value, unit)}"))
    return {
        "firing": _said(firing),
        "place": f"firing {place} of {len(sheet.firings)}",
        "day": f"day {_day(row)}" if _day(row) else "",
        "peak": "" if np.isnan(peak) else both_scales(peak),
        "minutes": "" if climb is None else f"{climb['minutes'].iloc[-1]:.0f} min",
        "told": told,
        "schedule": _said(row.get("schedule", "")),
        "pots": [_pot_row(sheet, row) for _, row in sheet.table[sheet.table["firing"] == firing].iterrows()],
        "climb": []
        if climb is None
        else [
            [f"{point.minutes:.0f}", f"{point.temperature_C:.0f}", f"{point.temperature_F:.0f}"]
            for point in climb.itertuples()
        ],
        "line": [] if climb is None else _line(climb),
        "climb_alt": "" if climb is None else _climb_in_words(climb),
    }


def _line(climb: pd.DataFrame) -> list[list[float]]:
    """Give the climb's corners as shares of the drawing's width and height, from its top left."""
    minutes, heat = climb["minutes"].to_numpy(), climb["temperature_C"].to_numpy()
    across = minutes / minutes.max()
    down = 1 - heat / heat.max()
    return np.column_stack([across, down]).round(4).tolist()


def _climb_in_words(climb: pd.DataFrame) -> str:
    """Say what the drawing shows to those who have it read out."""
    minutes, heat = climb["minutes"], climb["temperature_C"]
    start, peak, end = (both_scales(value) for value in (heat.iloc[0], heat.max(), heat.iloc[-1]))
    said = f"The climb as a line, from {start} to {peak} at minute {minutes[heat.idxmax()]:.0f}"
    if heat.iloc[-1] < heat.max():
        said += f", then to {end} at minute {minutes.iloc[-1]:.0f}"
    return f"{said}. The table has its points."


def _pot_row(sheet: BenchSheet, row: pd.Series) -> dict[str, object]:
    steps: list[list[list[str]]] = [[], [], []]
    for heading, value in row.items():
        name, unit = parse_heading(heading)
        if name in ("firing", "day", "place", "pot", *_ABOUT_THE_POT) or unit == "spoons":
            continue
        if value == "" or pd.isna(value) or (value == 0 and unit is not None):
            continue  # nothing is printed of what the pot gets none of
        amount = amount_in_words(value, unit) if unit is not None or isinstance(value, float) else str(value)
        spoons = row.get(f"{name} [spoons]", np.nan)
        measured = unit == "g" and not pd.isna(spoons)
        told = [
            _said(name),
            _said(unbroken(amount)),
            unbroken(spoons_in_words(spoons)) if measured else "",
        ]
        steps[_step(name, unit)].append(told)
    place = str(row["place"])
    place = f"place {place}" if place.isdigit() else place
    return {"pot": _said(row["pot"]), "place": _said(place), "about": _about(row), "steps": steps}


def _about(row: pd.Series) -> list[str]:
    """Say of what clay the pot is, and how high and how wide, as far as that is stated."""
    sizes = [row.get(f"{name} [cm]", np.nan) for name in _ABOUT_THE_POT[1:]]
    known = [f"{size:.4g} cm {way}" for size, way in zip(sizes, ("high", "wide"), strict=True) if size > 0]
    size = unbroken(f"{sizes[0]:.4g} × {sizes[1]:.4g} cm") if len(known) == 2 else "".join(known)
    return [_said(words) for words in (row.get("clay", ""), size) if words != "" and not pd.isna(words)]


def _step(name: str, unit: str | None) -> int:
    material = find_material(name)
    if material is not None:
        return _STEP_OF_USE[material.use]
    return _STEP_OF_NAME.get(name, _STEP_OF_UNIT.get(unit or "", 0))
