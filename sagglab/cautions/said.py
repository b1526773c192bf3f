"""The cautions in words, the most urgent first.

Words on handling a material are its harmonised (GHS) statements; filter types are those of EN 14387. What no
source is named for is common practice. All of it defers to the suppliers' safety data sheets.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np
import pandas as pd

from sagglab.cautions.air import GASES, gas_bounds
from sagglab.cautions.used import Used, used_in
from sagglab.firing.heat import ALUMINIUM_FREEZES_C
from sagglab.units import both_scales

OUTDOORS = (
    "Outdoors only: fire in the open, well away from buildings, dry plants and anything that burns. No "
    "garage, tent or shed, doors open or not. Stay upwind."
)
MONOXIDE = (
    "Carbon monoxide: burning sawdust, weed, sugar and gas give it off, and it has no smell. No respirator "
    "cartridge stops it. Distance and wind do; a carbon monoxide alarm tells. Headache or dizziness: leave "
    "at once, and call for help."
)
KEEP_AWAY = (
    "Keep others away: no children, no animals, nobody pregnant or with asthma or a weak heart. Somebody "
    "stays with the fire until it is out, with water at hand."
)
GAS = (
    "Gas: look for leaks with soapy water before lighting, never with a flame. To stop, shut the gas at the "
    "cylinder first."
)
HOT = (
    "Hot ware: pots, foil and kiln stay dangerously hot long after the flame is out, and closed saggars hold "
    "smoke. Open them outdoors, cold, with gloves."
)
SMOKE = (
    "Smoke: it is poisonous, and no wind thins it evenly. Beside the kiln it can be over every limit. No "
    "amount is small enough for a room: only distance and moving air count."
)
# In North America cartridges are named by what they stop; "acid gas" and P100 are from memory, not verified.
# EN 14387 leaves carbon monoxide out; its type B is for chlorine and other inorganic gases, E for sulphur
# dioxide and hydrogen chloride.
CARTRIDGE = (
    "Respirator: cartridges of type B and E with particle filter P (EN 14387; in North America acid gas with "
    "P100), in date, fitting tightly. They stop some of it for a time: no leave to stand in the smoke."
)
CLOTHES = (
    "Gloves and goggles: chemical-proof gloves and goggles for wet coats, salts and ash; a dust mask for dry "
    "powders. At the kiln heat-proof gloves, natural fibres and closed shoes."
)
WASTE = (
    "Waste: no rinsings, liquor, ash or used foil down a drain or onto the ground; metal "
    "salts poison water. Collect all in labelled plastic, and hand it in as hazardous waste."
)
NO_FOOD = (
    "Not for food or drink: these pots are decorative only. No eating, drinking or smoking at work; wash "
    "hands and tools after."
)

#: Said always, the most urgent first.
ALWAYS = (OUTDOORS, MONOXIDE, KEEP_AWAY, GAS, HOT, SMOKE, CARTRIDGE, CLOTHES, WASTE, NO_FOOD)

#: Said last, always.
DEFERS = (
    "What goes before all this: the suppliers' safety data sheets, local codes on gas, fire and waste, and "
    "licensed practice for gas work. This list is not complete."
)

# Ferric chloride is corrosive to metals (H290). That it grows hot on aluminium and gives off hydrogen is what
# etchers know; that coats be dry is common practice, no source.
WET_FOIL = (
    "Wet ferric chloride and foil: it eats aluminium, grows hot and gives off hydrogen, which burns. Let "
    "coats dry before wrapping, keep flames off, and seal no wet pot in."
)
WAX = (
    "Wax: its solvent catches fire, and so do rags, which can light by themselves in a heap. Wax cold ware "
    "far from flames, in moving air, and dry the rags spread out outdoors."
)

#: What is told first of handling: cancer, the unborn child, genes, asthma, then eyes, organs and fire.
_WORST_FIRST = ("H350", "H360", "H341", "H334", "H361", "H318", "H373", "H272")

#: The least air that is stated, in m³: more than a house of two floors of 150 m² holds. A smaller number
#: could be taken for that of a room, so that it is not said.
LEAST_AIR_M3 = 1000.0


def kiln_cautions() -> tuple[str, ...]:
    """Say what must be said beside the kiln: outdoors, carbon monoxide, gas, hot ware.

    Examples
    --------
    >>> kiln_cautions()[2].partition(":")[0]
    'Gas'
    """
    return (OUTDOORS, MONOXIDE, GAS, HOT)


def cautions(pots: pd.DataFrame, peak_C: float, after: Iterable[str] = ()) -> tuple[str, ...]:
    """Say what must be said about these recipes, fired so high.

    Parameters
    ----------
    pots : DataFrame
        One row per pot; its ``firing``, and each material in a column ``name [unit]``, or named in words.
    peak_C : float
        The highest peak; not a number when it is unknown.
    after : iterable of str
        What was done to fired pots, as the column ``after`` of the photographs has it.

    Returns
    -------
    tuple of str
        Each ``Head: rest.``, the most urgent first: what must not be fired, what always holds, what is not
        known, what each material does, what the smoke can hold; last what goes before all this.
    """
    used = used_in(pots)
    hot = HOT
    if peak_C > ALUMINIUM_FREEZES_C:
        hot += (
            f" Foil can melt at {both_scales(ALUMINIUM_FREEZES_C)}, and the hottest peak here is "
            f"{both_scales(peak_C)}: mind dripping metal, and lift no saggar by its foil."
        )
    of_name = {each.material.name for each in used if each.material is not None}
    return (
        *_never_fired(used),
        *(OUTDOORS, MONOXIDE, KEEP_AWAY, GAS, hot),
        *_unknown(used),
        *(SMOKE, CARTRIDGE, CLOTHES),
        *((WET_FOIL,) if "ferric chloride" in of_name else ()),
        *_handling(used),
        *((WAX,) if "wax" in of_name or any("wax" in str(done).lower() for done in after) else ()),
        *_in_the_smoke(gas_bounds(pots), _names(each for each in used if each.material is None)),
        *(WASTE, NO_FOOD, DEFERS),
    )


def _never_fired(used: Iterable[Used]) -> Iterator[str]:
    for each in _once(each for each in used if each.material is not None):
        if each.material.never_fired:
            yield f"Never fire {each.name}: {each.material.never_fired}. Leave it out of saggar and kiln."


def _unknown(used: Iterable[Used]) -> Iterator[str]:
    unknown = [each for each in used if each.material is None]
    sure = _names(each for each in unknown if not each.perhaps)
    perhaps = _names(each for each in unknown if each.perhaps)
    if sure:
        yield (
            f"Hazards not known: {_joined(sure)}. Nothing is known here of what they do, raw or fired; read "
            "their safety data sheets before use."
        )
    if perhaps:
        yield (
            f"Perhaps a material: {_joined(perhaps)}. Nothing of that name is known here; if it went on or "
            "around a pot, read its safety data sheet before use."
        )


def _handling(used: Iterable[Used]) -> Iterator[str]:
    """Say what handling each material can do, the worst first, and last those without a statement."""
    # Wax has a caution of its own.
    listed = _once(each for each in used if each.material is not None and each.material.name != "wax")
    for each in sorted(listed, key=_severity):
        if each.material.statements:
            fired = f". Fired, it can give off {each.material.gives_off}" if each.material.gives_off else ""
            yield f"{_capital(each.name)}: {'; '.join(each.material.hazards)}{fired}."
    alike: dict[str, list[Used]] = {}
    for each in listed:
        if not each.material.statements:
            alike.setdefault("; ".join(each.material.hazards), []).append(each)
    if alike:
        harmless = alike.pop("", [])
        told = [f"{_joined(_names(alike[hazards]))} ({hazards})" for hazards in alike]
        told += [_joined(_names(harmless))] if harmless else []
        yield f"Without hazard statement: {'; '.join(told)}. In the fire they can make smoke or fume."


def _severity(used: Used) -> int:
    found = [_WORST_FIRST.index(code) for code in used.material.statements if code in _WORST_FIRST]
    return min(found, default=len(_WORST_FIRST))


def _in_the_smoke(bounds: pd.DataFrame, unknown: Iterable[str]) -> Iterator[str]:
    """Say the most of each gas that a firing can give off, of the worst firing, and what was not counted."""
    less = []
    for gas in GASES.values():
        of_gas = bounds[(bounds["gas"] == gas.name) & (bounds["grams"] > 0)]
        if of_gas.empty:
            continue
        worst = of_gas.loc[of_gas["grams"].idxmax()]
        instead = " in place of hydrogen chloride" if gas.name == "chlorine" else ""
        if worst["air_m3"] < LEAST_AIR_M3:
            less.append(f"{_grams(worst['grams'])} of {gas.name}{instead}")
            continue
        yield (
            f"{_capital(gas.name)} in smoke: up to {_grams(worst['grams'])}{_of_firing(worst['firing'])}"
            f"{instead}. To thin that to {gas.limit} would take {_rounded_up(worst['air_m3']):,.0f} m³ of "
            "open, moving air, more than a house holds."
        )
    if less:
        yield (
            f"Less, yet harmful: up to {'; '.join(less)} in a firing. In the smoke beside the kiln it can be "
            "far over the limit all the same."
        )
    named = (name for names in bounds["not_counted"] for name in names.split(", ") if name)
    left_out = dict.fromkeys([*named, *unknown])
    if left_out:
        yield (
            f"Not all counted: what {_joined(list(left_out))} can give off is not weighed or not known in "
            "full, so that no bound can be stated. It comes on top, and so does the burner's own gas."
        )


def _of_firing(firing: str) -> str:
    return f" in firing {firing}" if firing != "" else ""


def _grams(grams: float) -> str:
    rounded = _rounded_up(max(grams, 0.01))
    return f"{rounded:,.0f} g" if rounded >= 10 else f"{rounded:.2g} g"


def _rounded_up(number: float) -> float:
    """Round a bound up to two digits, so that it stays one.

    Examples
    --------
    >>> _rounded_up(5234.0), _rounded_up(0.674), _rounded_up(90.0)
    (5300.0, 0.68, 90.0)
    """
    digits = 1 - int(np.floor(np.log10(number)))
    # A hair below, or 90 would go to 91 by the last bit of its quotient.
    return float(round(np.ceil(number * 10.0**digits - 1e-9) / 10.0**digits, max(digits, 0)))


def _once(used: Iterable[Used]) -> list[Used]:
    """Keep one of each material, under the first name it was given."""
    return list({each.material.name: each for each in reversed(list(used))}.values())[::-1]


def _names(used: Iterable[Used]) -> list[str]:
    return list(dict.fromkeys(each.name for each in used))


def _joined(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
