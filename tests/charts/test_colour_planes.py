"""Maps of colours: dots at their coordinates in their colours, circles, scales, names."""

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from matplotlib.collections import PathCollection

from sagglab.charts.alt import alt_text
from sagglab.charts.colour_planes import colour_map
from sagglab.charts.dots import OUTSIDE
from sagglab.colour import lab_to_srgb
from sagglab.errors import ModelError, UnknownNameError


def dots(ax):
    parts = [part for part in ax.collections if isinstance(part, PathCollection)]
    return (
        np.concatenate([part.get_offsets() for part in parts]),
        np.concatenate([part.get_facecolors()[:, :3] for part in parts]),
    )


def test_pots_stand_at_a_and_b_in_their_own_colour(pots):
    ax = colour_map(pots)
    spots, colours = dots(ax)
    np.testing.assert_allclose(spots, pots[["a*", "b*"]])
    np.testing.assert_allclose(colours, lab_to_srgb(pots[["L*", "a*", "b*"]].to_numpy(dtype=float))[0])


def test_pots_stand_at_chroma_and_lightness(pots):
    ax = colour_map(pots, "L*C*")
    expected = np.column_stack([np.hypot(pots["a*"], pots["b*"]), pots["L*"]])
    np.testing.assert_allclose(dots(ax)[0], expected)
    assert ax.get_xlim()[0] == 0
    assert ax.get_xlabel() == "C*ab of the mean colour\n← greyer          more colourful →"
    assert ax.get_ylabel() == "L*\n← darker          lighter →"


def test_a_and_b_have_one_scale_that_holds_the_neutral_point(pots):
    ax = colour_map(pots)
    ax.figure.canvas.draw()
    origin, right, up = ax.transData.transform([(0, 0), (1, 0), (0, 1)])
    assert right[0] - origin[0] == pytest.approx(up[1] - origin[1])
    assert ax.bbox.contains(*origin)
    assert ax.get_xlabel() == "a*\n← greener          redder →"
    assert ax.get_ylabel() == "b*\n← bluer          yellower →"


def test_circles_are_of_equal_colourfulness_and_say_which(pots, texts):
    ax = colour_map(pots)
    rings = [line for line in ax.lines if len(line.get_xdata()) > 100]
    radii = []
    for ring in rings:
        radius = np.hypot(*ring.get_xydata().T)
        assert np.ptp(radius) < 1e-9
        radii.append(round(float(radius[0]), 6))
    named = {float(words.removeprefix("C*ab ")) for words in texts(ax) if words.startswith("C*ab")}
    assert named
    assert named <= set(radii)
    farthest = np.hypot(pots["a*"], pots["b*"]).max()
    assert max(radii) >= farthest > min(radii)


@pytest.mark.parametrize("plane", ["a*b*", "L*C*"])
def test_names_stand_clear_of_dots_and_one_another(pots, plane, texts, assert_readable):
    ax = colour_map(pots, plane)
    assert_readable(ax)
    tags = {words: box for words, box in texts(ax).items() if words in set(pots["pot"])}
    # Half of them at least find room; of the outermost all.
    assert len(tags) >= 18
    assert pots["pot"][np.hypot(pots["a*"], pots["b*"]).argmax()] in tags
    middles = ax.transData.transform(dots(ax)[0])
    for words, box in tags.items():
        assert not any(box.contains(*middle) for middle in middles), words


def test_many_pots_with_long_names_hold(assert_readable):
    rng = np.random.default_rng(2)
    lab = rng.normal([40, 8, 10], [8, 6, 6], (120, 3))
    names = [f"{k} of the autumn workshop, second table by the window" for k in range(120)]
    results = pd.DataFrame(lab, columns=["L*", "a*", "b*"]).assign(pot=names)
    ax = colour_map(results)
    assert len(dots(ax)[0]) == 120
    assert_readable(ax)


def test_words_tell_from_where_to_where(pots):
    said = alt_text(colour_map(pots))
    reddest = pots.loc[pots["a*"].idxmax()]
    assert f"to {reddest['a*']:.1f} ({reddest['pot']})" in said
    chroma = np.hypot(pots["a*"], pots["b*"])
    assert f"The most colourful is {pots['pot'][chroma.argmax()]} with C*ab {chroma.max():.1f}" in said


def test_pots_without_a_colour_are_left_out_and_told(pots):
    some = pots.assign(**{"b*": pots["b*"].where(pots["pot"] != "p07")})
    ax = colour_map(some)
    assert len(dots(ax)[0]) == 35
    assert ax.get_xlabel().endswith("\n1 pot left out: p07 (no b*)")
    assert ax.get_title(loc="left") == "How red and how yellow: 35 pots"


def test_a_colour_beyond_the_display_is_told(pots):
    assert OUTSIDE not in colour_map(pots).get_xlabel()
    beyond = pots.assign(**{"a*": pots["a*"].mask(pots["pot"] == "p02", 110)})
    assert OUTSIDE in colour_map(beyond).get_xlabel()


def test_one_pot_and_axes_that_are_given(pots):
    _, ax = plt.subplots()
    assert colour_map(pots[:1], ax=ax) is ax
    # Nothing to scale by: ten units at least are shown.
    assert np.ptp(ax.get_xlim()) >= 10


def test_what_cannot_be_drawn_is_refused(pots):
    with pytest.raises(UnknownNameError) as caught:
        colour_map(pots, "L*a*")
    assert str(caught.value) == "plane 'L*a*': there is no such plane. Name a*b* or L*C*."
    with pytest.raises(UnknownNameError, match="b\\*"):
        colour_map(pots.drop(columns="b*"))
    with pytest.raises(ModelError, match="no pot has all of L\\*, a\\*, b\\*. Measure the photographs"):
        colour_map(pots.assign(**{"L*": np.nan}))
