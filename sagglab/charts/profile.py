"""Height profile: how colour changes from the foot of a pot to its rim, beside its unrolled surface."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.gridspec import GridSpec
from matplotlib.patheffects import withStroke
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from sagglab.charts.alt import describe
from sagglab.charts.labels import AROUND, Labels
from sagglab.charts.look import INK, LINES, axes, look, wrapped
from sagglab.charts.surface import height_scale, paint_surface, width_over_height
from sagglab.charts.swatches import OUTSIDE, swatch
from sagglab.colour import AXES
from sagglab.columns import HEIGHT_STEPS
from sagglab.errors import ModelError, SurfaceError
from sagglab.photo.colour_measures import weighted_quantile
from sagglab.photo.height_profile import profile_table
from sagglab.photo.surface import BAND_DEGREES, SEEN_DEGREES
from sagglab.photo.unrolled import SurfaceMap

#: Inches of the chart's height, of the map at its narrowest and widest, and of the panels beside it.
_HIGH, _NARROWEST, _WIDEST = 3.6, 2.2, 7.2
_STRIP, _PROFILE, _OTHERS = 0.45, 2.3, 1.9
#: Letters in a line below the map, where it is narrowest.
_LINE = 30
#: Between these shares of the surface at a height lies what is shaded.
_SPREAD = (0.1, 0.9)
#: Share of an axis that stays free at either side, and the least span of one, so that noise does not fill it.
_EDGE, _LEAST = 0.06, 10.0


def height_profile_chart(
    surface: SurfaceMap, band_degrees: float | None = None, ax: Axes | None = None
) -> Axes:
    """Draw a pot's unrolled surface and, on the same height with the rim on top, its colour by height.

    Beside the surface stand the mean colour of each twentieth of the height, its L* with what four fifths of
    the surface there lie between, and its a* and b*.

    Parameters
    ----------
    surface : SurfaceMap
        Of one view, ``MeasuredPhoto.side.map``, or of the whole pot, ``Around.map``.
    band_degrees : float, optional
        Half the width of what is averaged, in degrees around the axis. Unless given, the band that is
        measured of one view, and of a map that shows more than one view can, all of it.
    ax : Axes, optional
        Its place is shared out between the panels; a new figure where not given.

    Returns
    -------
    Axes
        Of L*; the given ones where they were given. The other panels share its height.

    Raises
    ------
    ModelError
        It was given something else than a map.
    SurfaceError
        The band is no wider than nothing, or nothing was measured in it.

    Examples
    --------
    >>> import matplotlib.pyplot as plt
    >>> from sagglab.charts import alt_text
    >>> height = np.arange(19.5, 0, -1) / 20
    >>> lab = np.zeros((20, 90, 3)) + [0, 6, 10]
    >>> lab[..., 0] = 20 + 40 * height[:, None]
    >>> mm = {"radius_mm": np.full(20, 40.0), "step_mm": np.full(20, 5.0)}
    >>> surface = SurfaceMap(lab, np.ones((20, 90)), np.arange(-44.5, 45), height, **mm)
    >>> print(alt_text(height_profile_chart(surface)).rpartition(". ")[2])
    It is darkest with L* 21.0 at 0.25 cm of height and lightest with L* 59.0 at 9.75 cm.
    >>> plt.close()
    """
    if not isinstance(surface, SurfaceMap):
        cause = f"it takes an unrolled surface, not {type(surface).__name__}"
        raise ModelError("height_profile_chart", cause, "give it measure_photo(…).side.map")
    reach = len(surface.degrees) / 2
    if band_degrees is None:
        band_degrees = BAND_DEGREES if reach <= SEEN_DEGREES else reach
    elif not band_degrees > 0:
        raise SurfaceError("band_degrees", f"a band of {band_degrees}° holds nothing", "give more than 0°")
    band = min(reach, band_degrees)
    profile = _profile(surface, band)
    top, unit = height_scale(surface)
    with look():
        wide = float(np.clip(_HIGH * width_over_height(surface), _NARROWEST, _WIDEST))
        ax = axes(ax, wide + _STRIP + _PROFILE + _OTHERS + 1.3, _HIGH + 1.5)
        map_ax, strip, others = _panels(ax, [wide, _STRIP, _PROFILE, _OTHERS])
        ax.set_ylim(0, top)
        step = top / len(HEIGHT_STEPS)
        cut = [
            swatch(strip, 0, top * height - step / 2, 1, step, lab)
            for height, *lab in profile[["height", *AXES]].dropna().itertuples(index=False)
        ]
        strip.set(xlim=(0, 1), xticks=[])
        strip.set_xlabel("mean\ncolour")
        _draw_map(map_ax, surface, band, [OUTSIDE] * any(cut))
        map_ax.set_ylabel(f"height, from foot to rim [{unit}]")
        _draw_lightness(ax, profile, top)
        _draw_others(others, profile, top)
        for panel in (map_ax, strip, ax, others):
            panel.set_ylim(0, top)
        strip.spines[["left", "bottom"]].set_visible(False)
        map_ax.set_title("The surface unrolled, and its colour by height")
    return describe(ax, _said(profile, top, unit))


def _profile(surface: SurfaceMap, band: float) -> pd.DataFrame:
    """Give the means by height, as they are measured, and the spread of L* around each."""
    inside = np.abs(surface.degrees) <= band
    lightness, area = surface.lab[:, inside, 0], surface.area[:, inside]
    if not (np.isfinite(lightness) & (area > 0)).any():
        cause = f"nothing was measured within {band:g}° of its middle"
        raise SurfaceError("unrolled surface", cause, "give a wider band, or photograph the pot again")
    profile = profile_table(surface, band)
    half_row, half_step = 0.5 / len(surface.height), 0.5 / len(HEIGHT_STEPS)
    spread = np.full((len(profile), 2), np.nan)
    for k, (height, mean) in enumerate(profile[["height", "L*"]].itertuples(index=False)):
        # A row that lies across two steps counts in both, as in the means.
        overlap = np.clip(half_step + half_row - np.abs(surface.height - height), 0, 2 * half_row)
        weight = np.where(np.isfinite(lightness), area * overlap[:, None], 0.0)
        if np.isfinite(mean):
            spread[k] = weighted_quantile(lightness[weight > 0], weight[weight > 0], _SPREAD)
    return profile.assign(**{"L* low": spread[:, 0], "L* high": spread[:, 1]})


def _panels(ax: Axes, widths: list[float]) -> tuple[Axes, Axes, Axes]:
    """Share the place of some axes out: surface, mean colour, the axes themselves, a* and b*."""
    place = ax.get_subplotspec()
    how = {"width_ratios": widths, "wspace": 0.08}
    if place is not None:
        grid = place.subgridspec(1, len(widths), **how)
    else:
        box = ax.get_position()
        sides = {"left": box.x0, "right": box.x1, "bottom": box.y0, "top": box.y1}
        grid = GridSpec(1, len(widths), ax.figure, **sides, **how)
    ax.set_subplotspec(grid[2])
    panels = [ax.figure.add_subplot(grid[k], sharey=ax) for k in (0, 1, 3)]
    for panel in (*panels[1:], ax):
        panel.tick_params(axis="y", labelleft=False)
    panels[1].tick_params(axis="y", length=0)
    return tuple(panels)


def _draw_map(ax: Axes, surface: SurfaceMap, band: float, more: list[str]) -> None:
    paint_surface(ax, surface)
    reach = len(surface.degrees) / 2
    step = 90 if reach > SEEN_DEGREES else 30
    ticks = range(-int(reach // step) * step, int(reach) + 1, step)
    ax.set_xticks(ticks, [f"{tick:+d}°".replace("-", "−") if tick else "0°" for tick in ticks])
    below = ["angle around the pot"]
    # Cased in white, since surfaces are dark as often as light.
    cased = [withStroke(linewidth=2.4, foreground="white", alpha=0.8)]
    if band < reach:
        for edge in (-band, band):
            ax.axvline(edge, color=INK, linewidth=1.1, dashes=(4, 2), zorder=3, path_effects=cased)
        below.append("averaged between the lines")
    ax.set_xlabel("\n".join(wrapped(words, _LINE) for words in [*below, *more]), linespacing=1.4)


def _draw_lightness(ax: Axes, profile: pd.DataFrame, top: float) -> None:
    height = top * profile["height"]
    ax.fill_betweenx(height, profile["L* low"], profile["L* high"], color=INK, alpha=0.16, linewidth=0)
    ax.plot(profile["L*"], height, color=INK, linewidth=1.8, marker=".", markersize=4)
    _span(ax, profile[["L*", "L* low", "L* high"]].to_numpy())
    ax.set_xlabel("L*\n← darker   lighter →\nshaded: four fifths\nof the surface there", linespacing=1.3)


def _draw_others(ax: Axes, profile: pd.DataFrame, top: float) -> None:
    """Draw a* and b*, each named beside its line."""
    height = top * profile["height"]
    ax.axvline(0, color=INK, linewidth=0.6, zorder=1)
    for name, (colour, dashes) in zip(AXES[1:], LINES, strict=False):
        ax.plot(profile[name], height, color=colour, linestyle=dashes, linewidth=1.5, label=name)
    _span(ax, np.append(profile[["a*", "b*"]].to_numpy(), 0.0))
    ax.set_xlabel("a*, b*\na*: redder →\nb*: yellower →", linespacing=1.3)
    labels = Labels(ax)
    for name in AXES[1:]:
        labels.avoid(profile[name], height, 400)
    labels.avoid([0, 0], [0, top])
    for name, (colour, _) in zip(AXES[1:], LINES, strict=False):
        known = np.flatnonzero(profile[name].notna())
        spots = [((profile[name][k], height[k]), offset) for offset in AROUND[:16] for k in known[::-1]]
        labels.put(name, spots, colour)


def _span(ax: Axes, values: NDArray[np.float64]) -> None:
    low, high = np.nanmin(values), np.nanmax(values)
    reach = max(high - low, _LEAST) * (0.5 + _EDGE)
    ax.set_xlim((low + high) / 2 - reach, (low + high) / 2 + reach)
    ax.xaxis.set_major_locator(MaxNLocator(4, steps=[1, 2, 5, 10]))


def _said(profile: pd.DataFrame, top: float, unit: str) -> str:
    """Say in words what the profile shows."""
    seen = profile.dropna().reset_index(drop=True)
    dark, light = seen["L*"].idxmin(), seen["L*"].idxmax()
    named = {"near the foot": 0, "in the middle": len(seen) // 2, "near the rim": len(seen) - 1}
    told = "; ".join(
        f"{where} L* {seen['L*'][k]:.0f}, a* {seen['a*'][k]:.0f}, b* {seen['b*'][k]:.0f}"
        for where, k in named.items()
    )
    darkest, lightest = (
        f"L* {seen['L*'][k]:.1f} at {top * seen['height'][k]:.3g} {unit}" for k in (dark, light)
    )
    return (
        f"Unrolled surface of a pot beside its height profile, the rim on top. Mean colour {told}. "
        f"It is darkest with {darkest} of height and lightest with {lightest}."
    ).replace("-", "−")
