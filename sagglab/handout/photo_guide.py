"""How to photograph fired pots, printed: where all stands, what to do in order, a ring of turn marks."""

from __future__ import annotations

from sagglab.cautions import DEFERS
from sagglab.columns import BOOK_TABLES
from sagglab.handout.content import FOOT
from sagglab.handout.paper import print_pages

#: What to do, in order of work. That pot and target stand in the same soft light, what is locked, the grey
#: sheet, the target of each day and the turns are what the measuring asks for; distances, angles, how to lock
#: and how to tell are common practice, no source.
STEPS = (
    (
        "Once for each setup: one camera, one light, one place",
        (
            "Backdrop: plain, matt, mid-grey, and unlike the pot: lighter or darker for a grey pot.",
            "Light: two equal lamps behind white cloth or paper, from about 45° left and right, as far on "
            "both sides; or one large window without sun. No flash, and no other light on.",
            "Camera: level with the middle of the pot, on a tripod or a stack of books, 1 to 1.5 m away. "
            "Zoom with the lens rather than go near.",
            "Settings: best quality, camera raw if there is any. No filter, no portrait, beauty, night or "
            "HDR mode.",
            "Lock exposure and white balance: expose so that the white patch is light, and no patch burnt "
            "out; then, on most phones, press long on the pot until the lock shows. To tell: hold "
            "something white, then something dark into the frame; nothing else may change. Lock anew after "
            "each pause.",
            "Grey sheet: plain, matt, evenly lit, in the pot's place, and large enough to fill the frame. "
            "Photograph it once.",
        ),
    ),
    (
        "Each day",
        ("Target alone: photograph it where it will stand, whole and clean, no patch shining or in shadow.",),
    ),
    (
        "Each pot",
        (
            "Set up: pot with its front (0°) to the camera, room on all sides. Target beside it, facing "
            "the camera; tilt it until no patch shines. Tag at the edge of the frame, touching neither.",
            "Photograph and turn: turn the pot alone, to the left as the camera sees it, so that what was "
            "on the right comes to the front. Front and back; or 0°, 120° and 240°, for all of it.",
            "Edit nothing: copy the files as the camera wrote them. A messenger makes them smaller and "
            "worse.",
        ),
    ),
)

#: Taken from a row of the table `photos` as it is filled in; the meanings are those of the columns.
EXAMPLE = {
    "photo": "photos/p01-120.jpg",
    "pot": "p01",
    "view": "120°",
    "setup": "phone",
    "taken": "2026-04-25 10:12",
}
#: Where the photographs that show no pot go.
NO_POT = (
    "The target alone and the grey sheet have rows, too, with the pot left blank; the grey sheet's file also "
    "goes under 'flat' in the table 'setups'."
)

#: How the ring is used. The turns are counted as `sagglab.measure_around` has them.
RING = (
    "Cut it out along the outer line. Lay it in the middle of the plate or turntable that pots will stand "
    "on, and carry the marks on to the rim in pencil. Or stand a pot on it and mark its foot.",
    "Then take it away: white paper under a pot shows in the picture.",
    "Draw a line on the table towards the camera. Turn until the mark that you want meets it.",
)
SCALE = "This is 5 cm. If yours is not, print again at actual size, 100\u00a0%."

#: Beside the camera. Common practice, no source; what wet coats do is that of the materials' hazards.
CAUTIONS = (
    "Decorative only: these pots are never for food or drink.",
    "Fired surfaces can shed soot and metal salts: gloves, and no food where they are handled or "
    "photographed. Wash hands and table after; touch the target with clean hands alone.",
    "Unfired coats: ferric chloride burns skin and eyes, stains, and eats metal, cameras too: chemical-proof "
    "gloves and goggles.",
    "Lamps get hot: keep cloth and paper off the bulb.",
    DEFERS,
)


def photo_guide(paper: str = "A4") -> bytes:
    """Print how to photograph fired pots, and a ring of turn marks to cut out.

    Parameters
    ----------
    paper : str
        ``A4`` or ``letter``.

    Returns
    -------
    bytes
        A PDF of two pages, tagged, to the accessibility standard PDF/UA-1; the same bytes each time.

    Raises
    ------
    UnknownNameError
        There is no such paper.

    Examples
    --------
    >>> photo_guide("letter")[:5]
    b'%PDF-'
    """
    return print_pages("photo-guide.typ", guide_content(), paper)


def guide_content() -> dict[str, object]:
    """Gather all words of the guide, as plain data for its layout."""
    meanings = {column.name: column.meaning for column in BOOK_TABLES["photos"]}
    return {
        "title": "Photographing fired pots",
        "steps": STEPS,
        "photos": [[name, shown, meanings[name]] for name, shown in EXAMPLE.items()],
        "no_pot": NO_POT,
        "ring": RING,
        "scale": SCALE,
        "cautions": CAUTIONS,
        "foot": FOOT,
        "above_alt": "Seen from above. The pot stands 30 to 60 cm in front of a plain backdrop, the target "
        "5 to 10 cm beside it, as far from the camera. The camera looks straight at the pot from 1 to 1.5 "
        "m. Two soft lamps stand left and right of the camera, each at 40 to 50° to its line of sight and "
        "0.8 to 1.2 m from the pot; in their place, one large window on one side, without sun.",
        "side_alt": "Seen from the side. The camera on its tripod is level with the middle of the pot. The "
        "target stands beside the pot, upright and tilted a little. The lamp is a little higher than the "
        "pot; the backdrop runs down behind the pot in a curve, and on under it.",
        "frame_alt": "What the camera sees: the pot in the middle with room on all sides, the target close "
        "beside it, and the pot's tag at the edge of the frame, away from both.",
        "ring_alt": "A ring of turn marks with a cross in its middle: 0°, front, below; 90° on the right; "
        "120°; 180°, back, above; 240°; 270° on the left.",
        "scale_alt": "A line 5 cm long with a mark at each centimetre.",
    }
