"""The batch book as files: every table, log and photograph, each from the seed and its own name alone."""

from __future__ import annotations

import datetime as dt
import functools
import io
import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import pandas as pd
from PIL import Image

from generator import logs, spectra, study
from generator.scene import Scene, render_flat, render_scene, render_target
from generator.surface import Piece, Surface, make_surface, waxed

QUALITY = 90
TARGET_TABLE = "targets/studio-target.csv"

#: Days on which the phone photographed the pots of two firings each; the camera had one day.
PHONE_DAYS = (dt.date(2026, 4, 25), dt.date(2026, 5, 23), dt.date(2026, 6, 20))
CAMERA_DAY = dt.date(2026, 6, 21)
CHECK_DAYS = {"phone": (PHONE_DAYS[0], PHONE_DAYS[2]), "camera": (CAMERA_DAY, dt.date(2026, 7, 5))}
IN_BOTH_SETUPS = ("p03", "p08", "p15", "p20", "p25", "p34")

#: One pot was photographed from all around: how far it was turned, beside its front and its back.
ALL_AROUND = ("p36", (90, 270))

#: Five pots, one of each firing but the last, were waxed and photographed again.
WAXED, WAXED_DAY = ("p05", "p10", "p17", "p21", "p29"), dt.date(2026, 6, 27)

#: The target was propped up the wrong way round now and then.
TURNED = {"p09-front": 180.0, "p16-back": 90.0, "p28-front": 180.0, "p33-back": -90.0}


@dataclass(frozen=True)
class Shot:
    """One row of `photos`.

    Attributes
    ----------
    photo : str
        The file, relative to the book.
    pot : str
        Empty for a photograph without a pot.
    view : str
        ``front``, ``back``, ``target``, ``flat``, or how far the pot was turned, as ``90°``.
    setup : {"phone", "camera"}
    taken : datetime
    after : str
        What was done to the pot since it was unpacked, such as ``wax``.
    """

    photo: str
    pot: str
    view: str
    setup: str
    taken: dt.datetime
    after: str = ""


def generator_for(name: str, seed: int = study.SEED) -> np.random.Generator:
    """Give one file or pot its own random numbers, whatever else is made before it."""
    return np.random.default_rng(stream(name, seed))


def stream(name: str, seed: int = study.SEED) -> list[int]:
    """Name the seed of that generator."""
    return [seed, zlib.crc32(name.encode())]


def shots() -> list[Shot]:
    """List every photograph of the book, in the order of the table."""
    taken = []
    for number in range(1, 37):
        day, place = PHONE_DAYS[(number - 1) // 12], (number - 1) % 12
        for turned, view in enumerate(("front", "back")):
            clock = dt.datetime.combine(day, dt.time(10, 12)) + dt.timedelta(minutes=4 * place + 2 * turned)
            taken.append(Shot(f"photos/p{number:02d}-{view}.jpg", f"p{number:02d}", view, "phone", clock))
    pot, degrees = ALL_AROUND
    for turn in degrees:
        clock += dt.timedelta(minutes=2)
        taken.append(Shot(f"photos/{pot}-{turn}.jpg", pot, f"{turn}°", "phone", clock))
    for place, pot in enumerate(IN_BOTH_SETUPS):
        clock = dt.datetime.combine(CAMERA_DAY, dt.time(14, 20)) + dt.timedelta(minutes=3 * place)
        taken.append(Shot(f"photos/{pot}-front-camera.jpg", pot, "front", "camera", clock))
    for place, pot in enumerate(WAXED):
        clock = dt.datetime.combine(WAXED_DAY, dt.time(10, 12)) + dt.timedelta(minutes=2 * place)
        taken.append(Shot(f"photos/{pot}-front-wax.jpg", pot, "front", "phone", clock, after="wax"))
    for setup, days in CHECK_DAYS.items():
        clock = dt.time(9, 58) if setup == "phone" else dt.time(14, 5)
        for number, day in enumerate(days, start=1):
            check = dt.datetime.combine(day, clock)
            taken.append(Shot(f"photos/{setup}-target-{number}.jpg", "", "target", setup, check))
        flat = dt.datetime.combine(days[0], clock) + dt.timedelta(minutes=4)
        taken.append(Shot(f"photos/{setup}-flat.jpg", "", "flat", setup, flat))
    return taken


@functools.cache
def _study(seed: int) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    return study.draw_study(seed)


@functools.lru_cache(maxsize=4)
def surface(pot: str, seed: int = study.SEED) -> Surface:
    """Fire one pot of the study: as it came out."""
    pots, _, truth = (table.set_index(table.columns[0], drop=False) for table in _study(seed))
    row, true = pots.loc[pot], truth.loc[pot]
    wire = row["copper wire [cm]"]
    piece = Piece(
        form=true["form"],
        height_cm=float(row["height [cm]"]),
        diameter_cm=float(row["diameter [cm]"]),
        lab=(true["L*"], true["a*"], true["b*"]),
        copper=not pd.isna(row["copper sulphate [g]"]),
        wire_cm=0.0 if pd.isna(wire) else float(wire),
        cracked=row["state"] == "cracked",
    )
    return make_surface(generator_for(f"surface of {pot}", seed), piece)


def render(shot: Shot, seed: int = study.SEED) -> Scene:
    """Render one photograph, with its truth."""
    own = stream(shot.photo, seed)
    if shot.view == "flat":
        return render_flat(own, setup=shot.setup)
    if shot.view == "target":
        return render_target(own, setup=shot.setup)
    turn = TURNED.get(shot.photo.removeprefix("photos/").removesuffix(".jpg"), 0.0)
    view = float(shot.view[:-1]) if shot.view.endswith("°") else shot.view
    shown = surface(shot.pot, seed)
    if shot.after == "wax":
        shown = waxed(shown)
    return render_scene(own, setup=shot.setup, view=view, surface=shown, turn=turn)


def jpeg(scene: Scene, shot: Shot, said: Mapping[int, object] = MappingProxyType({})) -> bytes:
    """Encode a photograph: upright, with the time it was taken, and nothing about who made the camera.

    What else the camera says of the exposure is given by the numbers of its Exif tags.
    """
    exif = Image.Exif()
    exif[0x0112] = 1
    exif.get_ifd(0x8769).update({0x9003: shot.taken.strftime("%Y:%m:%d %H:%M:%S"), **said})
    file = io.BytesIO()
    Image.fromarray(scene.srgb).save(
        file, "JPEG", quality=QUALITY, subsampling="4:2:0", optimize=True, exif=exif
    )
    return file.getvalue()


def files() -> Iterator[tuple[str, bytes]]:
    """Make every file of the book, by its path in it."""
    for name, text in tables().items():
        yield name, text.encode()
    corners, pots = [], {}
    for shot in shots():
        scene = render(shot)
        yield shot.photo, jpeg(scene, shot)
        if shot.view != "flat":
            corners.append(corner_truth(shot, scene))
        if shot.pot and shot.pot not in pots:
            pots[shot.pot] = view_truth(shot.pot)
    yield "truth/views.csv", as_csv(pd.concat(pots.values())).encode()
    yield "truth/waxed.csv", as_csv(pd.concat(view_truth(pot, after="wax") for pot in WAXED)).encode()
    yield "truth/corners.csv", as_csv(pd.DataFrame(corners, columns=CORNER_COLUMNS)).encode()


def tables(seed: int = study.SEED) -> dict[str, str]:
    """Write out every table and log that needs no rendering, by its path in the book."""
    pots, firings, truth = _study(seed)
    peaks = truth.groupby("firing")["peak [degC]"].first()
    files = {
        "pots.csv": as_csv(pots),
        "firings.csv": as_csv(firings),
        "photos.csv": as_csv(photos_table(shots())),
        "setups.csv": as_csv(setups_table(list(CHECK_DAYS))),
        "shelf.csv": as_csv(_shelf()),
        TARGET_TABLE: as_csv(target_table()),
        "truth/true-model.csv": as_csv(_true_model()),
        "truth/pots.csv": as_csv(truth.round(3)),
    }
    starts = {
        name: dt.time(10, 40) if number % 2 else dt.time(14, 5) for number, name in enumerate(peaks.index, 1)
    }
    for firing in firings.itertuples():
        rng = generator_for(firing.readings, seed)
        curve = logs.fire(rng, peaks[firing.firing], gusts=1.8 if firing.wind == "breezy" else 1.0)
        start = dt.datetime.combine(dt.date.fromisoformat(firing.date), starts[firing.firing])
        files[firing.readings] = _log(firing.firing, rng, curve, start)
    return files


def _shelf() -> pd.DataFrame:
    """Make up what the studio has in stock, what its spoon holds, and what it paid."""
    return pd.DataFrame(
        [
            ("sugar", 900, 4.1, 1000, 1.60, "coins"),
            ("copper sulphate", 150, 6.2, 250, 4.80, "coins"),
            ("seaweed", 400, None, 500, 6.00, "coins"),
            ("sawdust", 5000, None, None, None, ""),
        ],
        columns=["material", "in stock [g]", "spoon [g]", "packet [g]", "price", "currency"],
    )


def _log(firing: str, rng: np.random.Generator, curve: logs.Curve, start: dt.datetime) -> str:
    match firing:
        case "f2":
            return logs.dated_log(rng, curve.every(10), start)
        case "f3":
            return logs.minutes_log(rng, curve.every(6))
        case "f5":
            return logs.dated_log(rng, curve.every(10), start, unit="degF")
        case "f6":
            return logs.paper_log(rng, curve, start)
        case _:
            return logs.elapsed_log(rng, curve.every(5))


def view_truth(pot: str, seed: int = study.SEED, after: str = "") -> pd.DataFrame:
    """Say what a perfect measurement of a pot would give, as it came out or after ``wax``.

    Returns
    -------
    DataFrame
        For the views front, back and both: the area-weighted mean and the dark share over the central band,
        and, headed ``side``, over the whole visible side.
    """
    made = waxed(surface(pot, seed)) if after == "wax" else surface(pot, seed)
    rows = []
    for view in ("front", "back", "both"):
        band, dark = made.means(view)
        side, side_dark = made.means(view, 90)
        rows.append([pot, view, *band, dark, *side, side_dark])
    measures = ["L*", "a*", "b*", "dark share"]
    return pd.DataFrame(
        rows, columns=["pot", "view", *measures, *(f"side {name}" for name in measures)]
    ).round(3)


def corner_truth(shot: Shot, scene: Scene) -> list[str | float]:
    """Make one row of the table of true corner patch centres, x right and y down."""
    return [shot.photo, *scene.corners.round(2).ravel().tolist()]


CORNER_COLUMNS = ["photo"] + [
    f"{patch} {axis}" for patch in ("brown", "bluish green", "black", "white") for axis in ("x", "y")
]


def as_csv(table: pd.DataFrame) -> str:
    """Write a table as the book's files have it."""
    return table.to_csv(index=False, lineterminator="\n")


def photos_table(taken: Sequence[Shot]) -> pd.DataFrame:
    """List photographs as the book's table does; without ``after`` where nothing was done to any pot."""
    rows = [
        (shot.photo, shot.pot, shot.view, shot.after, shot.setup, f"{shot.taken:%Y-%m-%d %H:%M}")
        for shot in taken
    ]
    table = pd.DataFrame(rows, columns=["photo", "pot", "view", "after", "setup", "taken"])
    if not any(shot.after for shot in taken):
        table = table.drop(columns="after")
    return table.assign(**{"target corners": "", "pot outline": ""})


def setups_table(names: Sequence[str]) -> pd.DataFrame:
    """List setups, each with the studio's target and a flat field of its own."""
    return pd.DataFrame(
        {"setup": names, "target": TARGET_TABLE, "flat": [f"photos/{name}-flat.jpg" for name in names]}
    )


def target_table() -> pd.DataFrame:
    """Give the target's own values under D50."""
    names, reflectance = spectra.patches()
    lab = spectra.reflectance_to_lab(reflectance).round(3)
    return pd.DataFrame(
        {
            "row": np.repeat([1, 2, 3, 4], 6),
            "column": np.tile(np.arange(1, 7), 4),
            "patch": names,
            "L*": lab[:, 0],
            "a*": lab[:, 1],
            "b*": lab[:, 2],
            "illuminant": "D50",
            "observer": "2°",
        }
    )


def _true_model() -> pd.DataFrame:
    def unit(term: str) -> str:
        if term in study.SPREADS:
            return "standard deviation"
        return f"per {term.partition('[')[2].rstrip(']').removesuffix('s')}" if "[" in term else "difference"

    rows = [
        (outcome, term, "mean" if term == "intercept" else unit(term), value)
        for outcome, terms in study.TRUE_MODEL.items()
        for term, value in terms.items()
    ]
    return pd.DataFrame(rows, columns=["outcome", "term", "unit", "value"])
