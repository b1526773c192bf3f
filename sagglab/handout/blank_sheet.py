"""A student's bench sheet for one pot, as data: what a plan says, lines to write on for the rest."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from sagglab.handout.content import STEPS

#: What a student must know at the bench, a line each. Common practice, no source.
IN_SHORT = (
    "Outdoors and upwind, with goggles, gloves and respirator. No cartridge stops carbon monoxide.",
    "Wet ferric chloride burns skin and eyes, and eats metal, foil and drains: collect the rinsings.",
    "Shut the gas at the cylinder first. Open only below 100 °C (212 °F).",
    "Hot ware looks like cold ware. Keep children and animals away.",
    "Decorative ware only: never for food or drink.",
)


def student_sheet(
    name: str = "",
    pot: str = "",
    clay: str = "",
    firing: str = "",
    place: str = "",
    peak: str = "",
    steps: Sequence[Iterable[tuple[str, str]]] | None = None,
    climb: Sequence[Sequence[str]] = (),
) -> dict[str, object]:
    """Gather what stands on a student's bench sheet, for ``blank-sheet.typ``.

    Parameters
    ----------
    name, pot, clay, firing, place, peak : str
        What is known; empty leaves a line to write on.
    steps : sequence of iterables of (str, str), optional
        Material and amount in each of the three steps of work; lines to write on without.
    climb : sequence of (str, str, str)
        Minute, °C, °F.

    Examples
    --------
    >>> student_sheet(pot="p01", steps=([("slip", "2 coats")], [], []))["steps"][0]
    ['coated', [('slip', '2 coats')]]
    """
    items = [None] * len(STEPS) if steps is None else [list(step) for step in steps]
    return {
        "name": name,
        "pot": pot,
        "clay": clay,
        "firing": firing,
        "place": place,
        "peak": peak,
        "steps": [[head, held] for head, held in zip(STEPS, items, strict=True)],
        "climb": [list(row) for row in climb],
        "cautions": list(IN_SHORT),
    }
