"""What else a studio's table may show: other backdrops, an edge, a turntable, a hand, light that falls off.

None of it is in the demo's photographs. It is for finding out where a pot's outline is hard to tell.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter
from scipy.optimize import least_squares
from scipy.special import expit

from generator import spectra
from generator.camera import HEIGHT, WIDTH, Setup

#: Of skin, in the light as it falls on a hand; an invented curve, as those of the fired surfaces are.
SKIN = 0.16 + 0.12 * spectra._bump(540, 60) + 0.34 * spectra._rise(592, 16)

#: What `draw_surroundings` can draw.
KINDS = ("plain", "uneven light", "table edge", "turntable", "hand")


@dataclass(frozen=True)
class Surroundings:
    """What is behind, under and beside a pot.

    Attributes
    ----------
    ground : tuple of float
        L*, a*, b* of the backdrop.
    fall_off : float
        Share of the light that is lost over the backdrop from one end of the frame to the other.
    fall_off_towards : float
        Where it is lost, degrees clockwise from the right.
    table : tuple of float or None
        L*, a*, b* of a table that ends behind the pot, or before it; None where the backdrop sweeps on.
    edge : tuple of float
        y of the table's edge in the middle of the frame, and how much it falls to the right, px per px. The
        table is below it.
    turntable : tuple of float or None
        L*, a*, b* of a disc that the pot stands on.
    turntable_size : tuple of float
        Its radius over the pot's, and how wide open it is seen: height over width.
    hand : tuple of float or None
        x, y of the finger tips, and x, y where the arm leaves the frame.
    """

    ground: tuple[float, float, float]
    fall_off: float = 0.0
    fall_off_towards: float = 0.0
    table: tuple[float, float, float] | None = None
    edge: tuple[float, float] = (600.0, 0.0)
    turntable: tuple[float, float, float] | None = None
    turntable_size: tuple[float, float] = (1.3, 0.16)
    hand: tuple[float, float, float, float] | None = None


@functools.cache
def _reflectance(lab: tuple[float, float, float]) -> NDArray[np.float64]:
    """Find a smooth reflectance of a colour, or of the nearest one that a matt surface can have."""
    basis = np.stack([np.ones(31), spectra._rise(500, 20), spectra._rise(590, 20)])

    def curve(weights: NDArray) -> NDArray:
        return 0.004 + 0.98 * expit(weights @ basis)

    found = least_squares(lambda w: spectra.reflectance_to_lab(curve(w)) - lab, [-0.5, 0.0, 0.0])
    return curve(found.x)


def _grid() -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    y, x = np.mgrid[:HEIGHT, :WIDTH].astype(np.float32)
    return x, y


def paint_behind(
    canvas: NDArray[np.float32], around: Surroundings, setup: Setup, x0: float, floor: float, half: float
) -> None:
    """Exchange the grey card for other grounds in the same light, before the pot casts its shadow.

    Parameters
    ----------
    canvas : ndarray, shape (HEIGHT, WIDTH, 3)
        Of the grey card; changed in place.
    around : Surroundings
    setup : Setup
    x0, floor, half : float
        The pot's axis, where it stands, and its greatest radius, px.
    """
    card = setup.raw(spectra.BACKDROP)

    def instead(lab: tuple[float, float, float]) -> NDArray[np.float32]:
        return (setup.raw(_reflectance(lab)) / card).astype(np.float32)

    x, y = _grid()
    ground = np.broadcast_to(instead(around.ground), canvas.shape)
    if around.table is not None:
        at, fall = around.edge
        below = np.clip(y - at - fall * (x - WIDTH / 2) + 0.5, 0, 1)[..., None]
        ground = ground * (1 - below) + instead(around.table) * below
    if around.turntable is not None:
        wide, open_ = around.turntable_size
        wide *= half
        # Seen a little from above: an ellipse, and under it the disc's side, darker, as thick as a board.
        for down, shade in ((12, 0.6), (0, 1.0)):
            off = np.hypot((x - x0) / wide, (y - floor - down) / (wide * open_))
            inside = np.clip((1 - off) * wide * open_ + 0.5, 0, 1)[..., None]
            ground = ground * (1 - inside) + shade * instead(around.turntable) * inside
    angle = np.radians(around.fall_off_towards)
    along = (x / WIDTH - 0.5) * np.cos(angle) + (y / HEIGHT - 0.5) * np.sin(angle)
    canvas *= ground * (1 - around.fall_off * (0.5 + along))[..., None]


def paint_before(canvas: NDArray[np.float32], around: Surroundings, setup: Setup) -> None:
    """Let the hand reach into the frame; the canvas is changed in place."""
    if around.hand is None:
        return
    x, y = _grid()
    tip, wrist = np.array(around.hand[:2]), np.array(around.hand[2:])
    length = np.hypot(*(wrist - tip))
    along = (wrist - tip) / length
    t = ((x - tip[0]) * along[0] + (y - tip[1]) * along[1]).clip(0, length)
    # An arm, a palm half as wide again, and fingers that taper.
    reach = 34 + 14 * np.exp(-(((t - 110) / 60) ** 2)) - 16 * np.exp(-t / 40)
    aside = np.hypot(x - tip[0] - t * along[0], y - tip[1] - t * along[1])
    cover = np.clip(reach - aside + 0.5, 0, 1)
    shadow = gaussian_filter((cover > 0.5).astype(np.float32), 14)
    canvas *= (1 - 0.3 * np.roll(shadow, (14, 6), axis=(0, 1)))[..., None]
    round_ = 0.55 + 0.45 * np.sqrt(np.clip(1 - (aside / reach) ** 2, 0, 1))
    skin = setup.raw(SKIN).astype(np.float32) * round_[..., None]
    canvas *= 1 - cover[..., None]
    canvas += skin * cover[..., None]


def _colour(rng: np.random.Generator, away_from: tuple[float, float, float] | None = None) -> tuple:
    """Draw a matt colour, L* 5 to 97 and chroma to 40, at least ΔE*ab 15 from another one."""
    while True:
        lightness = rng.uniform(5, 97)
        # Neither near black nor near white is there a colour of much chroma.
        chroma = rng.uniform(0, min(40.0, 1.2 * lightness, 2.5 * (100 - lightness)))
        hue = rng.uniform(0, 2 * np.pi)
        lab = float(lightness), float(chroma * np.cos(hue)), float(chroma * np.sin(hue))
        if away_from is None or np.hypot.reduce(np.subtract(lab, away_from)) > 15:
            return lab


def draw_surroundings(rng: np.random.Generator, kind: str, pot_at: float = 600.0) -> Surroundings:
    """Draw surroundings of one of `KINDS`, each evenly over its range.

    The ground has L* 5 to 97 and chroma to 40 where such colours are; light falls off by 5 % at the most,
    and by 10 to 25 % where it is uneven. A table's edge runs at the pot's lower half or in front of it, up to
    3° aslant. A turntable is 1.15 to 1.7 times as wide as the pot and seen 0.1 to 0.2 open. A hand comes in
    from the side of the frame next to the pot, or from above it, and stops short of the pot.
    """
    ground = _colour(rng)
    fall_off = rng.uniform(0.10, 0.25) if kind == "uneven light" else rng.uniform(0, 0.05)
    towards = float(rng.uniform(0, 360))
    extra = {}
    if kind == "table edge":
        behind = rng.random() < 0.7
        at = rng.uniform(520, 690) if behind else rng.uniform(770, 850)
        extra = {"table": _colour(rng, ground), "edge": (at, float(np.tan(np.radians(rng.uniform(-3, 3)))))}
    elif kind == "turntable":
        size = float(rng.uniform(1.15, 1.7)), float(rng.uniform(0.10, 0.20))
        extra = {"turntable": _colour(rng, ground), "turntable_size": size}
    elif kind == "hand":
        edge = 0.0 if pot_at < WIDTH / 2 else float(WIDTH)
        inwards = 1 if edge == 0 else -1
        if rng.random() < 0.5:
            tip = edge + inwards * rng.uniform(50, 110), rng.uniform(200, 650)
            hand = (*tip, edge - 80 * inwards, tip[1] + rng.uniform(-150, 150))
        else:
            tip = WIDTH - pot_at + rng.uniform(-120, 120), rng.uniform(90, 190)
            hand = (*tip, tip[0] + rng.uniform(-200, 200), -80.0)
        extra = {"hand": tuple(float(place) for place in hand)}
    return Surroundings(ground, float(fall_off), towards, **extra)
