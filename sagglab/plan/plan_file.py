"""The plan file: what is to be planned, written down beside the batch book, as TOML."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, fields
from functools import partial
from math import inf
from pathlib import Path

from sagglab.errors import PlanError
from sagglab.plan.asked import read_same
from sagglab.plan.factors import Factor
from sagglab.plan.kinds import KINDS, read_kind
from sagglab.plan.limits import Limits
from sagglab.plan.sheet import PAPERS
from sagglab.plan.terms import read_model
from sagglab.toml_file import key_meant, read_toml, told_together

#: What each part of the file may hold.
_KEYS: Mapping[str, tuple[str, ...]] = {
    "": (
        *("firings", "pots_per_firing", "firings_per_day", "model", "kind", "seed", "add_to_book", "sharpen"),
        *("vary", "same", "limits", "expect", "sheet"),
    ),
    "vary": ("levels", "unit", "per"),
    "limits": tuple(field.name for field in fields(Limits)),
    "expect": ("outcome", "difference", "firing_sd", "pot_sd"),
    "sheet": ("allowance", "foil_layers", "foil_width_cm", "paper"),
}


#: What must be a number, by the table that holds it.
_NUMBERS = (
    *(("expect", key) for key in ("difference", "firing_sd", "pot_sd")),
    *(("sheet", key) for key in ("allowance", "foil_layers", "foil_width_cm")),
)
#: On which the bench sheet can be printed.


@dataclass(frozen=True)
class PlanFile:
    """What a plan file asks for.

    Attributes
    ----------
    asked : dict of str to object
        Arguments of `plan_batch`, or of `add_firings` where the plan adds to the book.
    adds : bool
        True when the plan adds to what the book has fired.
    expect : dict of str to object
        Arguments of `Plan.precision`.
    sheet : dict of str to object
        Arguments of `Plan.bench_sheet`, and ``paper``.
    """

    asked: dict[str, object]
    adds: bool
    expect: dict[str, object]
    sheet: dict[str, object]


def read_plan_file(path: str | Path) -> PlanFile:
    """Read a plan file.

    Parameters
    ----------
    path : path
        A TOML file: ``firings``, ``pots_per_firing`` and the other arguments of `plan_batch`; a table
        ``[vary.NAME]`` with ``levels``, ``unit`` and ``per`` for each factor; ``[same]``, ``[limits]``,
        ``[expect]``, ``[sheet]``; ``add_to_book = true`` and ``sharpen`` for firings that add to those of the
        book.

    Raises
    ------
    MissingFileError
        There is no such file.
    FileFormatError
        It is no TOML.
    PlanError
        It holds what it may not hold, or lacks what it needs; every such fault is named.
    """
    path = Path(path)
    held = read_toml(path, "write lines such as firings = 6, text in quotes, and save it as UTF-8")
    faults = list(_faults(held))
    read: dict[str, object] = {}
    if not faults:
        # What is built of each part tells its own faults: all of them are gathered before any is raised.
        factors = [_made(faults, partial(_factor, name, about)) for name, about in held["vary"].items()]
        read = {"factors": factors, "same": held.get("same", {})}
        read["limits"] = _made(faults, lambda: Limits(**held.get("limits", {})))
        if "kind" in held:
            read["kind"] = _made(faults, lambda: _kind(held["kind"]))
        if not faults:
            _made(faults, lambda: read_same(factors, read["same"]))
            _made(faults, lambda: read_model(factors, _model(held), middles=True))
    if faults:
        raise PlanError(str(path), told_together(faults), "correct the plan file")
    adds = bool(held.get("add_to_book", False))
    asked = {
        key: held[key] for key in ("firings", "pots_per_firing", "firings_per_day", "seed") if key in held
    }
    asked |= read
    if "model" in held:
        asked["model"] = _model(held)
    if adds:
        asked["sharpen"] = held.get("sharpen", [])
    return PlanFile(asked, adds, held.get("expect", {}), held.get("sheet", {}))


def _made(faults: list[str], make: Callable[[], object]) -> object:
    """Make a part, or put down what is wrong with it."""
    try:
        return make()
    except PlanError as error:
        faults.append(f"{error.where}: {error.cause} ({error.remedy})")
        return None


def _factor(name: str, about: Mapping[str, object]) -> Factor:
    return Factor(name, about["levels"], about.get("unit", ""), about.get("per", "pot"))


def _model(held: Mapping[str, object]) -> str | list[str | tuple[str, ...]]:
    model = held.get("model", "main")
    return model if isinstance(model, str) else [t if isinstance(t, str) else tuple(t) for t in model]


def _faults(held: Mapping[str, object]) -> Iterator[str]:
    yield from _unknown("", held)
    tables = [key for key in ("vary", "same", "limits", "expect", "sheet") if key in held]
    for key in tables:
        if not isinstance(held[key], Mapping):
            yield f"{key} is no table: write [{key}]"
        elif key not in ("same", "vary"):
            yield from _unknown(key, held[key])
    vary = held.get("vary")
    if not vary:
        yield "nothing is varied: write a table such as [vary.sugar] with levels = [0, 4] and unit = 'g'"
    elif isinstance(vary, Mapping):
        for name, about in vary.items():
            if not isinstance(about, Mapping):
                yield f"vary.{name} is no table: write [vary.{name}] with levels = [0, 4]"
                continue
            yield from _unknown("vary", about, f"vary.{name}")
            if "levels" not in about:
                yield f"vary.{name} has no levels: write levels = [0, 4]"
    if not isinstance(held.get("add_to_book", False), bool):
        yield "add_to_book is neither true nor false"
    if "sharpen" in held and not held.get("add_to_book"):
        yield "sharpen says what firings added to the book shall tell best: write add_to_book = true as well"
    yield from _wrong_values(held)
    model = held.get("model", "main")
    if not isinstance(model, str | list) or not all(isinstance(term, str | list) for term in model):
        yield "model is neither a name nor a list of factors and pairs"


def _unknown(part: str, held: Mapping[str, object], named: str = "") -> Iterator[str]:
    for key in held:
        if key not in _KEYS[part]:
            meant = key_meant(key, _KEYS[part], f"it may hold {', '.join(_KEYS[part])}")
            yield f"{named or part or 'it'} holds '{key}', which has no meaning there: {meant}"


def _wrong_values(held: Mapping[str, object]) -> Iterator[str]:
    """Find what is no number, or no word, where one is wanted."""
    for part, key in _NUMBERS:
        table = held.get(part)
        value = table.get(key, 1) if isinstance(table, Mapping) else 1
        if isinstance(value, bool) or not isinstance(value, int | float):
            yield f"{part}.{key} is {value!r}, no number: write it without quotes, as {key} = 0.1"
        elif not 0 <= value < inf:
            yield f"{part}.{key} is {value}: write a number of 0 or more"
        elif key == "allowance" and value > 1:
            yield f"sheet.allowance is {value:g}, more than the pots take: write a share such as 0.1"
    paper = held["sheet"].get("paper", PAPERS[0]) if isinstance(held.get("sheet"), Mapping) else PAPERS[0]
    if paper not in PAPERS:
        yield f"sheet.paper: there is no paper {paper!r}: write {' or '.join(PAPERS)}"
    outcome = held["expect"].get("outcome", "L*") if isinstance(held.get("expect"), Mapping) else "L*"
    if not isinstance(outcome, str):
        yield f"expect.outcome is {outcome!r}, no column: write it in quotes, as outcome = 'L*'"


def _kind(kind: object) -> object:
    """Read a kind: its name, or a table with its name and what is chosen about it."""
    if not isinstance(kind, Mapping):
        return read_kind(kind)
    chosen = dict(kind)
    if "name" not in chosen:
        raise PlanError(f"kind {chosen}", "it has no name", "write kind = { name = 'fraction' }")
    made = KINDS.get(str(chosen.pop("name")))
    if made is None:
        return read_kind(kind.get("name"))
    may = [field.name for field in fields(made)]
    unknown = [key for key in chosen if key not in may]
    if unknown:
        raise PlanError(
            f"kind '{kind['name']}'", f"it has no '{unknown[0]}'", f"it may have {', '.join(may)}"
        )
    return made(**chosen)
