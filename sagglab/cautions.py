"""Cautions: what must be said about the recipes and the firings actually used.

Words on each material follow the harmonised (GHS) hazard statements, from memory and not yet verified; the
filter classes are those of EN 14387, from a secondary source. All of it defers to the suppliers' safety data
sheets.
"""

from __future__ import annotations

import pandas as pd

from sagglab.firing.heat import ALUMINIUM_FREEZES_C
from sagglab.materials import find_material
from sagglab.units import both_scales, parse_heading

#: Said always. Common practice, no source, unless the words name one.
ALWAYS = (
    "Fire outdoors, away from buildings, dry plants, people and animals; stay upwind, and keep children off.",
    "Burning sawdust, weed and sugar give off carbon monoxide, which has no smell. No respirator cartridge "
    "stops it: distance and open air do, and a carbon monoxide alarm tells.",
    "Ferric chloride and salts give off acid gas and metal fume in the fire. A cartridge for them is of type "
    "B and E with a particle filter P (EN 14387), in date, and is no leave to stand in the smoke.",
    "Wear goggles and chemical-proof gloves for wet coats and salts, and heat-proof gloves, natural fibres "
    "and closed shoes at the kiln. Wet ferric chloride eats metal, foil and drains: collect the rinsings.",
    "To stop, shut the gas at the cylinder first. Look for leaks with soapy water before lighting.",
    "Ware and kiln stay dangerously hot long after the flame is out: open and unpack with care.",
    "These pots are decorative only: never for food, drink or anything that is eaten from.",
)

#: Said last, always.
DEFERS = (
    "This list is not complete. The suppliers' safety data sheets, local codes on gas, fire and waste, and "
    "licensed practice for gas work go before anything written here."
)

#: Of these, what is said again beside the burning kiln, by where it stands above.
_AT_THE_KILN = (0, 1, 4, 5)


def kiln_cautions() -> tuple[str, ...]:
    """Say what must be said beside the kiln: outdoors, carbon monoxide, gas, hot ware.

    Examples
    --------
    >>> kiln_cautions()[2].partition(".")[0]
    'To stop, shut the gas at the cylinder first'
    """
    return tuple(ALWAYS[place] for place in _AT_THE_KILN)


def cautions(pots: pd.DataFrame, peak_C: float) -> tuple[str, ...]:
    """Say what must be said about these recipes, fired so high.

    Parameters
    ----------
    pots : DataFrame
        One row per pot, each material in a column ``name [unit]``.
    peak_C : float
        The highest peak; not a number when it is unknown.

    Returns
    -------
    tuple of str
        Sentences: the materials used, the heat, what always holds, and what goes before all this.
    """
    said = []
    for heading in pots.columns:
        name, unit = parse_heading(heading)
        material = find_material(name)
        measured_out = unit in ("g", "mL", "coats")
        used = pots[heading].notna() & ~pots[heading].isin(["", 0])
        if material is None and not measured_out or not used.any():
            continue
        if material is None:
            said.append(f"{name}: its hazards are not known here; read its safety data sheet before use.")
            continue
        fired = f"fired, it gives off {material.gives_off}" if material.gives_off else ""
        words = "; ".join(filter(None, [*material.hazards, fired]))
        if words:
            said.append(f"{name}: {words}.")
    if peak_C > ALUMINIUM_FREEZES_C:
        said.append(
            f"Aluminium foil can melt at {both_scales(ALUMINIUM_FREEZES_C)}, and the peak is "
            f"{both_scales(peak_C)}: mind dripping metal, and do not lift a saggar by its foil."
        )
    return (*said, *ALWAYS, DEFERS)
