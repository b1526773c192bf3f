"""A second batch book: a studio replaces its phone by a camera with a polariser, and goes on photographing.

Three things are planted: what gloss adds to the phone's pots, the day on which the camera's white balance was
left to itself, and what the pots change from month to month.
"""

from __future__ import annotations

import datetime as dt
import functools
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pandas as pd
from PIL.TiffImagePlugin import IFDRational

from generator import book, camera, spectra, study
from generator.book import Shot
from generator.camera import Setup
from generator.scene import Scene, render_flat, render_scene, render_target
from generator.surface import REFLECTANCE, Piece, Surface, make_surface
from sagglab.colour import AXES, xyz_to_lab

SEED = 7

#: Gloss that the polariser takes away, as a share of the perfect white's light.
VEIL = 0.011

SETUPS = {
    "phone": replace(camera.SETUPS["phone"], veil=VEIL),
    "camera": camera.SETUPS["camera"],
}

#: What an automatic white balance makes of the camera's light: yellower, and a little darker.
AUTOMATIC = replace(SETUPS["camera"], exposure=0.92, balance=(0.998, 1.0, 1.0005))

#: Exposure and white balance are not quite the same in any two photographs: standard deviations, as shares.
#: The camera's layers overlap, and its matrix makes some five times as much of a channel's share as the
#: phone's: in both, greys of one file scatter by about 0.2 in a* and b*.
EXPOSURE_SD, BALANCE_SD = 0.004, {"phone": 0.002, "camera": 0.0004}

FIRINGS = {"f1": dt.date(2026, 8, 15), "f2": dt.date(2026, 8, 22)}
POTS = tuple(f"q{number:02d}" for number in range(1, 9))
TWICE = ("q02", "q05", "q07")
AGAIN = ("q01", "q02", "q03", "q05", "q06", "q08")

#: Days of the phone's targets; its pots were photographed on the last.
PHONE_DAYS = tuple(dt.date(2026, 9, 5) - dt.timedelta(days=days) for days in (21, 14, 7, 0))
FIRST_DAY = dt.date(2026, 9, 6)
#: Days of the camera's targets, counted from its first; pots were photographed again on three of them.
CAMERA_DAYS = tuple(
    FIRST_DAY + dt.timedelta(days=days) for days in (0, 8, 17, 29, 36, 44, 53, 61, 71, 79, 91, 99, 108, 118)
)
AGAIN_DAYS = (CAMERA_DAYS[3], CAMERA_DAYS[7], CAMERA_DAYS[10])
DRIFTED = CAMERA_DAYS[8]

#: Days of a month: a twelfth of the Julian year.
MONTH = 365.25 / 12
#: What a pot changes in a month, from the camera's first day on: with copper sulphate, and without.
PER_MONTH = {True: {"L*": 0.5, "a*": -1.2, "b*": 0.0}, False: {"L*": 0.0, "a*": -0.1, "b*": 0.0}}

#: What a camera says, by number of the Exif tag: exposure time, f-number, sensitivity, white balance, lens.
_EXPOSURE, _APERTURE, _ISO, _BALANCE, _LENS = 0x829A, 0x829D, 0x8827, 0xA403, 0xA434
_AUTOMATIC, _FIXED = 0, 1
SAID = {
    "phone": {
        _EXPOSURE: IFDRational(1, 60),
        _APERTURE: IFDRational(9, 5),
        _ISO: 64,
        _BALANCE: _AUTOMATIC,
        _LENS: "5 mm",
    },
    "camera": {
        _EXPOSURE: IFDRational(1, 15),
        _APERTURE: IFDRational(8, 1),
        _ISO: 100,
        _BALANCE: _FIXED,
        _LENS: "50 mm",
    },
}


def shots() -> list[Shot]:
    """List every photograph of the book, in the order of the table."""
    taken = []

    def photograph(setup: str, pots: tuple[str, ...], day: dt.date) -> None:
        # A pot that is photographed twice in a day was taken away and put back.
        clock = dt.datetime.combine(day, dt.time(10, 12) if setup == "phone" else dt.time(14, 20))
        for pot in pots:
            number = sum(shot.pot == pot and shot.setup == setup for shot in taken) + 1
            taken.append(Shot(f"photos/{setup}-{pot}-{number}.jpg", pot, "front", setup, clock))
            clock += dt.timedelta(minutes=3)

    photograph("phone", POTS + TWICE, PHONE_DAYS[-1])
    photograph("camera", POTS + TWICE, FIRST_DAY)
    for day in AGAIN_DAYS:
        photograph("camera", AGAIN, day)
    for setup, days in (("phone", PHONE_DAYS), ("camera", CAMERA_DAYS)):
        time = dt.time(9, 58) if setup == "phone" else dt.time(14, 5)
        for number, day in enumerate(days, start=1):
            check = dt.datetime.combine(day, time)
            taken.append(Shot(f"photos/{setup}-target-{number:02d}.jpg", "", "target", setup, check))
        flat = dt.datetime.combine(days[0], time) + dt.timedelta(minutes=4)
        taken.append(Shot(f"photos/{setup}-flat.jpg", "", "flat", setup, flat))
    return taken


@functools.lru_cache(maxsize=4)
def draw_pots(seed: int = SEED) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Draw the eight pots: their table, and their true colours when they came out.

    Each firing holds every pair of sugar and copper sulphate once. Colours follow the other book's true
    model at 750 °C, with its scatter of firings and pots.

    Returns
    -------
    pots : DataFrame
        As in the batch book.
    truth : DataFrame
        ``form``, and the mean L*, a*, b* of both central bands; index as `pots`.
    """
    rng = book.generator_for("pots of two cameras", seed)
    number = np.arange(len(POTS))
    sugar, copper, firing = number // 2 % 2, number % 2, number // 4
    forms = rng.permutation(np.repeat(list(study.FORMS), 2))
    size = np.array([study.FORMS[form] for form in forms])
    amount = {"sugar [g]": (sugar, 4), "copper sulphate [g]": (copper, 3)}
    pots = pd.DataFrame(
        {
            "pot": POTS,
            "firing": np.array(list(FIRINGS))[firing],
            "clay": "smooth white",
            "slip [coats]": 2,
            "ferric chloride [coats]": 1 + (sugar + copper + firing) % 2,
            **{
                name: pd.array(np.where(had, grams, 0), dtype="Int64")
                for name, (had, grams) in amount.items()
            },
            "sawdust [g]": 30,
            "height [cm]": np.round(size[:, 0] + rng.uniform(-0.4, 0.0, len(POTS)), 1),
            "diameter [cm]": np.round(size[:, 1] + rng.uniform(-0.3, 0.3, len(POTS)), 1),
            "state": "whole",
            "notes": forms,
        }
    )
    recipes = pots.assign(**{"seaweed [g]": pd.NA, "peak [degC]": study.BASE_PEAK_C})
    truth = pd.DataFrame({"form": forms}, index=pots.index)
    for axis in AXES:
        spread = study.TRUE_MODEL[axis]
        of_firing = rng.normal(0, spread["firing"], len(FIRINGS))[firing]
        truth[axis] = study.true_mean(axis, recipes) + of_firing + rng.normal(0, spread["pot"], len(POTS))
    return pots.assign(**{name: pots[name].replace(0, pd.NA) for name in amount}), truth


@functools.lru_cache(maxsize=16)
def surface(pot: str, day: dt.date, seed: int = SEED) -> Surface:
    """Give one pot as it was on a day: the same mottle, its colours changed since the camera's first day."""
    pots, truth = (table.loc[POTS.index(pot)] for table in draw_pots(seed))
    copper = not pd.isna(pots["copper sulphate [g]"])
    months = max((day - FIRST_DAY).days, 0) / MONTH
    piece = Piece(
        form=truth["form"],
        height_cm=float(pots["height [cm]"]),
        diameter_cm=float(pots["diameter [cm]"]),
        lab=tuple(float(truth[axis] + PER_MONTH[copper][axis] * months) for axis in AXES),
        copper=copper,
    )
    return make_surface(book.generator_for(f"surface of {pot}", seed), piece)


def setup_of(shot: Shot, seed: int = SEED) -> Setup:
    """Give the setup as it was for one photograph."""
    setup = AUTOMATIC if is_automatic(shot) else SETUPS[shot.setup]
    exposure, *balance = book.generator_for(f"light of {shot.photo}", seed).standard_normal(4)
    return replace(
        setup,
        exposure=setup.exposure * (1 + EXPOSURE_SD * exposure),
        balance=tuple(
            factor * (1 + BALANCE_SD[shot.setup] * off)
            for factor, off in zip(setup.balance, balance, strict=True)
        ),
    )


def is_automatic(shot: Shot) -> bool:
    """Whether the camera's white balance had been left to itself."""
    return shot.setup == "camera" and shot.taken.date() >= DRIFTED


def render(shot: Shot, seed: int = SEED) -> Scene:
    """Render one photograph, with its truth."""
    own, setup = book.stream(shot.photo, seed), setup_of(shot, seed)
    if shot.view == "flat":
        return render_flat(own, setup=setup)
    if shot.view == "target":
        return render_target(own, setup=setup)
    return render_scene(own, setup=setup, view=shot.view, surface=surface(shot.pot, shot.taken.date(), seed))


def jpeg(scene: Scene, shot: Shot) -> bytes:
    """Encode a photograph, with what the camera said of it."""
    said = SAID[shot.setup] | ({_BALANCE: _AUTOMATIC} if is_automatic(shot) else {})
    return book.jpeg(scene, shot, said)


def files() -> Iterator[tuple[str, bytes]]:
    """Make every file of the book, by its path in it."""
    for name, text in tables().items():
        yield name, text.encode()
    for shot in shots():
        yield shot.photo, jpeg(render(shot), shot)
    for name, table in truth_tables().items():
        yield name, book.as_csv(table.round(3)).encode()


def tables(seed: int = SEED) -> dict[str, str]:
    """Write out every table of the book itself, by its path."""
    firings = pd.DataFrame(
        {
            "firing": list(FIRINGS),
            "date": [day.isoformat() for day in FIRINGS.values()],
            "kiln": "small gas kiln",
            "fuel": "propane",
            "target peak [degC]": 750,
        }
    )
    return {
        "pots.csv": book.as_csv(draw_pots(seed)[0]),
        "firings.csv": book.as_csv(firings),
        "photos.csv": book.as_csv(book.photos_table(shots())),
        "setups.csv": book.as_csv(book.setups_table(list(SETUPS))),
        book.TARGET_TABLE: book.as_csv(book.target_table()),
    }


def truth_tables(seed: int = SEED) -> dict[str, pd.DataFrame]:
    """Say what is true of the book, by the path of each table.

    Returns
    -------
    dict of str to DataFrame
        ``truth/views.csv``: the area-weighted mean L*, a*, b* of each pot's central band, in front, by setup
        and date, the phone's with the veil of gloss. ``truth/bias.csv``: by how much the camera sees the
        eight pots otherwise than the phone, in the mean. ``truth/drift.csv``: from when on the camera's
        white balance was automatic. ``truth/changes.csv``: what the pots changed in a month, as planted for
        both bands together, and in the front band (least squares over its dates).
    """
    views = view_truth(seed)
    first = views.drop_duplicates(["pot", "setup"]).set_index(["setup", "pot"])[list(AXES)]
    bias = (first.loc["camera"] - first.loc["phone"]).mean()
    drift = pd.DataFrame({"setup": ["camera"], "from": [DRIFTED], "what": ["automatic white balance"]})
    return {
        "truth/views.csv": views,
        "truth/bias.csv": bias.rename("camera less phone").rename_axis("coordinate").reset_index(),
        "truth/drift.csv": drift,
        "truth/changes.csv": _changes(views[views["setup"] == "camera"], seed),
    }


def view_truth(seed: int = SEED) -> pd.DataFrame:
    """Say what a perfect measurement of each pot's front would give, by setup and date."""
    rows = []
    known = {(shot.pot, shot.setup, shot.taken.date()): None for shot in shots() if shot.pot}
    for pot, setup, day in known:
        made = surface(pot, day, seed)
        if SETUPS[setup].veil:
            made = veiled(made, SETUPS[setup].veil)
        rows.append([pot, setup, day, *made.means("front")[0]])
    return pd.DataFrame(rows, columns=["pot", "setup", "date", *AXES])


def veiled(made: Surface, veil: float) -> Surface:
    """Give a surface as it looks under a veil of gloss."""
    xyz = spectra.reflectance_to_xyz(REFLECTANCE + veil)
    lab = xyz_to_lab(made.shares.reshape(-1, len(xyz)) @ xyz, spectra.white_xyz())
    return replace(made, lab=lab.reshape(made.lab.shape).astype(np.float32))


def _changes(views: pd.DataFrame, seed: int) -> pd.DataFrame:
    copper = draw_pots(seed)[0].set_index("pot")["copper sulphate [g]"]
    rows = []
    for pot in AGAIN:
        seen = views[views["pot"] == pot]
        months = np.array([(day - FIRST_DAY).days for day in seen["date"]]) / MONTH
        for axis in AXES:
            planted = PER_MONTH[not pd.isna(copper[pot])][axis]
            rows.append([pot, copper[pot], axis, planted, np.polyfit(months, seen[axis], 1)[0]])
    return pd.DataFrame(
        rows, columns=["pot", "copper sulphate [g]", "coordinate", "per month", "front per month"]
    )
