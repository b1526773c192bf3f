"""The photographer's table: a pot on a grey sweep, the target beside it, and light from a tent.

Pixel (0, 0) is the middle of the top left pixel; x runs right, y down. Lengths on the table are in pixels of
the plane through the pot's axis, `PX_PER_CM` to the centimetre.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from generator import spectra
from generator.camera import HEIGHT, WIDTH, Setup, expose, light_over_frame, named_setup
from generator.surface import PROFILES, Piece, Surface, make_surface, radius, slope, turned
from generator.surroundings import Surroundings, paint_before, paint_behind

PX_PER_CM = 40.0
FLOOR_Y = 716.0

#: The camera stands this far from the pot's axis, in pixels: near enough to see that the foot is round.
DISTANCE_PX = 5600.0

#: The tent's light on a surface by its outward direction: an even part, and one from the upper left front.
EVEN, DIRECTED = 0.72, 0.28
TOWARDS_LIGHT = np.array([-0.22, 0.20, 0.955])
TOWARDS_WINDOW = np.array([-0.46, 0.50, 0.73])

#: Half a patch, and the frame's margin beyond the outer patches' cells, in units of the patch pitch.
HALF_PATCH, MARGIN = 0.42, 0.20
PITCH_PX = 52.0


@dataclass(frozen=True)
class Scene:
    """A photograph with its truth.

    Attributes
    ----------
    srgb : ndarray of uint8, shape (900, 1200, 3)
    corners : ndarray, shape (4, 2)
        x, y of the centres of the target's corner patches: brown, bluish green, black, white. NaN without a
        target.
    pot : ndarray of bool, shape (900, 1200)
        Where the pot is; all False without one.
    lab : ndarray, shape (3,)
        Area-weighted mean colour of the pot over the central band of this view, as its surface is. NaN
        without a pot.
    dark : float
        Dark share of the same band.
    light : ndarray of float32, shape (900, 1200)
        Light on the pot's surface relative to that on the target, from the way it faces and from what it
        shades of itself; without mirrored light and without the setup's fall-off. 1 elsewhere.
    surface : Surface or None
        The pot's.
    """

    srgb: NDArray[np.uint8]
    corners: NDArray[np.float64]
    pot: NDArray[np.bool_]
    lab: NDArray[np.float64]
    dark: float
    light: NDArray[np.float32]
    surface: Surface | None = None


def draw_piece(rng: np.random.Generator) -> Piece:
    """Any pot, its colour within what foil saggars commonly give."""
    form = str(rng.choice(list(PROFILES)))
    lightness = rng.uniform(33, 50)
    lab = (lightness, lightness * rng.uniform(0.2, 0.27), lightness * rng.uniform(0.2, 0.29))
    high, wide = {"bowl": (10.3, 11.3), "bottle": (12.7, 9.6), "beaker": (11.4, 8.4), "ball": (10.2, 10.5)}[
        form
    ]
    return Piece(form, high, wide, lab, copper=bool(rng.integers(2)))


def render_scene(
    seed: int | list[int],
    *,
    setup: Setup | str = "phone",
    view: str | float = "front",
    surface: Surface | None = None,
    turn: float = 0.0,
    around: Surroundings | None = None,
    second: Surface | None = None,
) -> Scene:
    """Photograph a pot beside the target.

    Parameters
    ----------
    seed : int or list of int
        Decides place, tilt and noise, and the pot where none is given.
    setup : Setup or {"phone", "camera"}
    view : {"front", "back"} or float
        A number is how far the pot is turned, in degrees.
    surface : Surface, optional
        The pot; drawn from the seed unless given.
    turn : float
        The target's turn in its plane, degrees anticlockwise, on top of a few degrees of chance.
    around : Surroundings, optional
        What is behind and beside the pot, instead of the grey sweep alone.
    second : Surface, optional
        Another pot, which stands where the target would.

    Returns
    -------
    Scene
        Its truth is that of the first pot.
    """
    rng, setup = np.random.default_rng(seed), named_setup(setup)
    if surface is None:
        surface = make_surface(rng, draw_piece(rng))
    canvas = _backdrop(rng, setup)
    side = {"left": -1, "right": 1}[setup.target_at]
    axis_x = 600 - side * 205 + rng.uniform(-15, 15)
    target_x = 600 + side * rng.uniform(330, 350)
    floor = FLOOR_Y + rng.uniform(-6, 6)
    half = surface.piece.diameter_cm * PX_PER_CM / 2
    if around is not None:
        paint_behind(canvas, around, setup, axis_x, floor, half)
    _cast_shadow(canvas, axis_x, floor, half)
    if second is None:
        corners, facing = _add_target(canvas, rng, setup, target_x, floor, turn)
    else:
        corners, facing = np.full((4, 2), np.nan), 1.0
        _cast_shadow(canvas, target_x, floor, second.piece.diameter_cm * PX_PER_CM / 2)
        _add_pot(canvas, setup, view, second, target_x, floor)
    pot, light = _add_pot(canvas, setup, view, surface, axis_x, floor)
    if around is not None:
        paint_before(canvas, around, setup)
    lab, dark = surface.means(view)
    light = np.where(pot, light / np.float32(facing), np.float32(1))
    return Scene(_finish(canvas, rng, setup), corners, pot, lab, dark, light, surface)


def render_target(seed: int | list[int], *, setup: Setup | str = "phone", turn: float = 0.0) -> Scene:
    """Photograph the target alone; parameters as in `render_scene`."""
    rng, setup = np.random.default_rng(seed), named_setup(setup)
    canvas = _backdrop(rng, setup)
    x = 600 + rng.uniform(-60, 60)
    corners, _ = _add_target(canvas, rng, setup, x, FLOOR_Y + rng.uniform(-60, -20), turn)
    return Scene(_finish(canvas, rng, setup), corners, *_no_pot())


def render_flat(seed: int | list[int], *, setup: Setup | str = "phone") -> Scene:
    """Photograph the plain grey sheet that shows how even the setup's light is."""
    rng, setup = np.random.default_rng(seed), named_setup(setup)
    sheet = setup.raw(spectra.GREY_SHEET).astype(np.float32)
    canvas = np.broadcast_to(sheet, (HEIGHT, WIDTH, 3)).copy()
    return Scene(_finish(canvas, rng, setup), np.full((4, 2), np.nan), *_no_pot())


def _no_pot() -> tuple[NDArray[np.bool_], NDArray[np.float64], float, NDArray[np.float32]]:
    size = HEIGHT, WIDTH
    return np.zeros(size, bool), np.full(3, np.nan), float("nan"), np.ones(size, np.float32)


def _finish(canvas: NDArray[np.float32], rng: np.random.Generator, setup: Setup) -> NDArray[np.uint8]:
    return expose(canvas * light_over_frame(setup)[..., None], setup, rng)


def _grid() -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    y, x = np.mgrid[:HEIGHT, :WIDTH].astype(np.float32)
    return x, y


def _backdrop(rng: np.random.Generator, setup: Setup) -> NDArray[np.float32]:
    """Hang a sheet of matt grey card, swept up behind the table without an edge."""
    _, y = _grid()
    bend = 1 / (1 + np.exp(-(y - 610) / 55))
    wall = 0.86 + 0.10 * y / HEIGHT
    shade = wall * (1 - bend) + (1.02 - 0.06 * (y - 610) / 290) * bend
    shade += 0.004 * gaussian_filter(rng.standard_normal(y.shape, dtype=np.float32), 1.2)
    return shade[..., None] * setup.raw(spectra.BACKDROP).astype(np.float32)


def _cast_shadow(canvas: NDArray[np.float32], x0: float, floor: float, half: float) -> None:
    """Lay a soft shadow on the table: tight where things touch, and faint to the side away from the light."""
    x, y = _grid()
    touch = np.exp(-(np.abs((x - x0) / (0.92 * half)) ** 4) - ((y - floor + 1) / 9) ** 2)
    near = np.exp(-(((x - x0 - 10) / (1.05 * half)) ** 2) - ((y - floor - 4) / 26) ** 2)
    wide = np.exp(-(((x - x0 - 0.45 * half) / (1.5 * half)) ** 2) - ((y - floor - 6) / 60) ** 2)
    canvas *= ((1 - 0.45 * touch) * (1 - 0.34 * near) * (1 - 0.16 * wide))[..., None]


def _add_target(
    canvas: NDArray[np.float32], rng: np.random.Generator, setup: Setup, x0: float, floor: float, turn: float
) -> tuple[NDArray[np.float64], float]:
    """Stand the target on the table, facing the camera but for a few degrees.

    Its corners and the light on it are returned.
    """
    angle = np.radians(turn + rng.normal(0, 1.6))
    yaw, pitch = np.radians(rng.normal(0, 4.0)), np.radians(rng.normal(3.0, 2.0))
    scale = PITCH_PX * rng.uniform(0.96, 1.04)
    across, along = 6 + 2 * MARGIN, 4 + 2 * MARGIN
    drop = scale * (abs(across * np.sin(angle)) + abs(along * np.cos(angle))) / 2
    y0 = floor - drop

    spin = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]]) * scale
    # Far things shrink: one row of a homography, from the tilt about the upright and the level axis.
    shrink = np.array([np.sin(yaw), np.sin(pitch)]) @ spin / 2200
    squeeze = np.diag([np.cos(yaw), np.cos(pitch)]) @ spin
    onto = np.vstack([np.column_stack([squeeze, [0, 0]]), np.append(shrink, 1)])
    onto = np.array([[1, 0, x0], [0, 1, y0], [0, 0, 1]]) @ onto

    centres = np.array([[-2.5, -1.5, 1], [2.5, -1.5, 1], [2.5, 1.5, 1], [-2.5, 1.5, 1]])
    corners = centres @ onto.T
    corners = corners[:, :2] / corners[:, 2:]

    reach = int(scale * 4.2)
    top, left = max(int(y0) - reach, 0), max(int(x0) - reach, 0)
    part = np.s_[top : int(y0) + reach, left : int(x0) + reach]
    x, y = (axis[part] for axis in _grid())
    back = np.stack([x, y, np.ones_like(x)], axis=-1) @ np.linalg.inv(onto).T
    u, v = back[..., 0] / back[..., 2] + 3, back[..., 1] / back[..., 2] + 2

    edge = np.minimum(3 + MARGIN - np.abs(u - 3), 2 + MARGIN - np.abs(v - 2)) * scale
    shadow = gaussian_filter((edge > -2).astype(np.float32), 9)
    shadow = np.roll(shadow, (5, 6), axis=(0, 1))
    canvas[part] *= (1 - 0.42 * shadow)[..., None]

    _, patches = spectra.patches()
    raw = setup.raw(np.vstack([patches, spectra.TARGET_FRAME])).astype(np.float32)
    column, row = np.clip(np.floor(u), 0, 5).astype(int), np.clip(np.floor(v), 0, 3).astype(int)
    inside = HALF_PATCH - np.maximum(np.abs(u - column - 0.5), np.abs(v - row - 0.5))
    patch = np.clip(inside * scale + 0.5, 0, 1)[..., None]
    card = raw[24] * (1 - patch) + raw[row * 6 + column] * patch
    facing = EVEN + DIRECTED * (np.array([np.sin(yaw), np.sin(pitch), np.cos(yaw)]) @ TOWARDS_LIGHT)
    cover = np.clip(edge + 0.5, 0, 1)[..., None]
    canvas[part] = canvas[part] * (1 - cover) + card * facing * cover
    return corners, float(facing)


def _add_pot(
    canvas: NDArray[np.float32], setup: Setup, view: str | float, surface: Surface, x0: float, floor: float
) -> tuple[NDArray[np.bool_], NDArray[np.float32]]:
    """Put the pot on the table; where it is and the light on it are returned."""
    piece = surface.piece
    tall, wide = piece.height_cm * PX_PER_CM, piece.diameter_cm * PX_PER_CM / 2
    top, left = int(floor - tall) - 12, int(x0 - wide) - 4
    part = np.s_[top : int(floor) + 16, left : int(x0 + wide) + 5]
    x, y = (axis[part].astype(float) for axis in _grid())

    # Which place of the surface does a pixel see? The nearer it is to the camera the larger it looks; three
    # rounds settle that to a hundredth of a pixel.
    level = floor - tall / 2
    towards = np.full(x.shape, 0.8 * wide)
    for _ in range(3):
        nearer = 1 - towards / DISTANCE_PX
        height = 0.5 + (level - y) * nearer / tall
        reach = radius(piece, height) * PX_PER_CM
        sine = (x - x0) * nearer / reach
        towards = reach * np.sqrt(np.clip(1 - sine**2, 0, 1))
    cosine = towards / reach

    # Coverage of the pixels along the outline, from the distance to it.
    rise = slope(piece, height)
    aside = (reach - np.abs(x - x0) * nearer) / np.sqrt(1 + rise**2)
    ends = np.minimum(height, 1 - height) * tall
    cover = np.clip(np.minimum(aside, ends) + 0.5, 0, 1)

    seen = _look_up(surface, height, np.degrees(np.arctan2(sine, cosine)) + turned(view))
    # Raw is linear in the spectrum and the spectrum in the shares, so that mixing the kinds' raw responses is
    # mixing their spectra, at a tenth of the work.
    raw = seen @ setup.raw(surface.reflectance) + setup.veil

    outward = np.stack([sine, -rise, cosine], axis=-1) / np.sqrt(1 + rise**2)[..., None]
    light = EVEN + DIRECTED * np.maximum(outward @ TOWARDS_LIGHT, 0)
    # The tent is open towards the camera's back: the far sides see less of it. Near the table the pot
    # shades itself.
    light *= 1 - 0.42 * (1 - cosine) ** 3
    light *= 1 - 0.22 * np.exp(-height * tall / 16)
    half = TOWARDS_WINDOW + [0, 0, 1]
    mirror = np.clip(outward @ (half / np.linalg.norm(half)), 0, 1)
    # A burnished surface mirrors the tent's window where it is not matt with carbon.
    burnish = 1 - surface.matt * seen[..., 3]
    gloss = burnish * (2.6 * mirror**900 + 0.10 * mirror**160)
    pot = raw * light[..., None] + gloss[..., None]
    canvas[part] = canvas[part] * (1 - cover[..., None]) + pot * cover[..., None]
    mask = np.zeros(canvas.shape[:2], bool)
    mask[part] = cover >= 0.5
    lit = np.zeros(mask.shape, np.float32)
    lit[part] = light
    return mask, lit


def _look_up(surface: Surface, height: NDArray, degrees: NDArray) -> NDArray[np.float64]:
    """Shares of the kinds at places on the surface, linear between texels."""
    rows, columns = surface.shares.shape[:2]
    at_row = np.clip(height * rows - 0.5, 0, rows - 1.001)
    at_column = (degrees / 360 * columns - 0.5) % columns
    row, column = at_row.astype(int), at_column.astype(int)
    down, right = (at_row - row)[..., None], (at_column - column)[..., None]
    column %= columns
    following = (column + 1) % columns
    shares = surface.shares
    near = shares[row, column] * (1 - right) + shares[row, following] * right
    far = shares[row + 1, column] * (1 - right) + shares[row + 1, following] * right
    return near * (1 - down) + far * down
