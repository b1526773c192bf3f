"""The unrolled surface of a pot, in the colours that were measured."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from sagglab.charts.alt import describe
from sagglab.charts.look import axes, look
from sagglab.colour import AXES, lab_to_srgb
from sagglab.photo.unrolled import SurfaceMap

#: Where nothing was measured: grey and hatched, which no pot is.
_BLANK, _HATCH = "#e4e4e4", "#b4b4b4"
#: Height of the chart's map in inches, and its greatest width.
_HIGH, _WIDEST = 3.0, 9.0


def surface_chart(surface: SurfaceMap, ax: Axes | None = None) -> Axes:
    """Draw an unrolled surface: angle around the pot across, height upwards; what was not seen is hatched.

    Parameters
    ----------
    surface : SurfaceMap
        Of one view, ``MeasuredPhoto.side.map``, or of the whole pot, ``Around.map``.
    ax : Axes, optional
        New ones where not given.

    Returns
    -------
    Axes
        Degrees across; upwards cm, or % where the scale is not known.

    Examples
    --------
    >>> import matplotlib.pyplot as plt
    >>> from sagglab.charts import alt_text
    >>> height = np.array([5, 3, 1]) / 6
    >>> lab = np.zeros((3, 90, 3)) + [[[60, 4, 8]], [[40, 6, 10]], [[20, 8, 12]]]
    >>> mm = {"radius_mm": np.full(3, 40.0), "step_mm": np.full(3, 30.0)}
    >>> surface = SurfaceMap(lab, np.ones((3, 90)), np.arange(-44.5, 45), height, **mm)
    >>> print(alt_text(surface_chart(surface)))  # doctest: +NORMALIZE_WHITESPACE
    Unrolled surface of a pot, 90° around, 9.0 cm high, in its measured colours. Mean of the whole: L* 40,
    a* 6, b* 10; lowest third: L* 20, a* 8, b* 12; middle third: L* 40, a* 6, b* 10; top third: L* 60, a* 4,
    b* 8.
    >>> plt.close()
    """
    with look():
        wide = _HIGH * width_over_height(surface)
        ax = axes(ax, min(_WIDEST, wide) + 0.9, _HIGH * min(1.0, _WIDEST / wide) + 1.2)
        paint_surface(ax, surface)
        step = 60 if len(surface.degrees) > 180 else 30
        last = int(len(surface.degrees) / 2 // step) * step
        ticks = range(-last, last + 1, step)
        ax.set_xticks(ticks, [f"{tick:+d}°".replace("-", "−") if tick else "0°" for tick in ticks])
        ax.set_title("The surface unrolled")
        ax.set_xlabel("angle around the pot")
        ax.set_ylabel(f"height [{height_scale(surface)[1]}]")
    return describe(ax, _in_words(surface))


def _in_words(surface: SurfaceMap) -> str:
    seen = np.isfinite(surface.lab).all(axis=-1)
    high, unit = height_scale(surface)
    tall = f", {high:.1f} cm high" if unit == "cm" else ""
    said = [f"Unrolled surface of a pot, {len(surface.degrees)}° around{tall}, in its measured colours."]
    if not seen.any():
        return f"{said[0]} Nothing was measured."
    for name, low, top in (
        ("whole", 0, 1),
        ("lowest", 0, 1 / 3),
        ("middle", 1 / 3, 2 / 3),
        ("top", 2 / 3, 1),
    ):
        here = seen & ((surface.height >= low) & (surface.height <= top))[:, None]
        if here.any():
            mean = np.average(surface.lab[here], axis=0, weights=surface.area[here])
            told = ", ".join(f"{axis} {value:.0f}" for axis, value in zip(AXES, mean, strict=True))
            told = told.replace("-", "−")
            said.append(f"{name}: {told}" if name == "whole" else f"{name} third: {told}")
    hidden = f" Of the map {100 * (1 - seen.mean()):.0f} % was not measured." if not seen.all() else ""
    return f"{said[0]} Mean of the {'; '.join(said[1:])}.{hidden}"


def paint_surface(ax: Axes, surface: SurfaceMap) -> None:
    """Paint the map alone, its degrees across and its height, as `height_scale` has it, upwards."""
    seen = np.isfinite(surface.lab).all(axis=-1)
    pixels = np.zeros((*seen.shape, 4))
    pixels[seen, :3] = lab_to_srgb(surface.lab[seen])[0]
    pixels[seen, 3] = 1
    ax.patch.set(facecolor=_BLANK, hatch="////", edgecolor=_HATCH, linewidth=0)
    reach = len(surface.degrees) / 2
    ax.imshow(pixels, extent=(-reach, reach, 0, height_scale(surface)[0]), aspect="auto", zorder=2)


def height_scale(surface: SurfaceMap) -> tuple[float, str]:
    """Height of the pot, and the unit: cm, or % where the scale is not known."""
    height_cm = surface.height_mm / 10
    return (100.0, "%") if np.isnan(height_cm) else (float(height_cm), "cm")


def width_over_height(surface: SurfaceMap) -> float:
    """Width over height of the map, as long along the widest place as the pot is there; 1 without a scale."""
    ratio = np.radians(len(surface.degrees)) * surface.radius_mm.max() / surface.height_mm
    return 1.0 if np.isnan(ratio) else float(ratio)
