"""Charts of setups: what is drawn is what the tables say, and nothing covers anything else."""

from itertools import combinations

import matplotlib as mpl
import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from matplotlib.patches import FancyArrowPatch, Rectangle

from sagglab import charts
from sagglab.charts.alt import alt_text
from sagglab.charts.dots import OUTSIDE
from sagglab.charts.right_edge import name_ends
from sagglab.charts.swatches import Swatch
from sagglab.colour import AXES, lab_to_srgb
from sagglab.errors import ModelError, SetupError, UnknownNameError
from sagglab.setups.agreement import agreement
from sagglab.setups.control import FIRST
from sagglab.setups.drift import check_drift
from sagglab.setups.limits import Limits
from sagglab.setups.over_time import MONTH, changes_over_time
from sagglab.setups.pairs import pair_patches, pair_pots

LONG_SETUPS = (
    "the old phone that fell into the slip bucket, on the window sill",
    "a camera borrowed from the neighbour, under two lamps with $paper$",
)
LONG_POTS = "the tall bottle with $two$ handles from the second shelf {}"

DAY = pd.Timestamp("2026-05-03 10:00")
CAMERA = {
    **{name: "" for name in ("camera", "lens", "white balance", "flash")},
    **{name: 1.0 for name in ("exposure time [s]", "f-number", "ISO speed")},
}


def pots(
    count, apart=(1.5, -0.5, 2.5), scatter=0.3, name="p{}", setups=("phone", "camera"), views=("front",)
):
    """Pairs of pots whose colours lie a given way apart in two setups."""
    rng = np.random.default_rng(7)
    true = [45, 10, 12] + rng.normal(0, [14, 6, 8], (count, 3))
    tables = []
    for setup, shift in zip(setups, ([0, 0, 0], apart), strict=True):
        keys = [(name.format(k), view) for k in range(count) for view in views]
        lab = np.repeat(true, len(views), axis=0) + shift + rng.normal(0, scatter, (len(keys), 3))
        table = pd.DataFrame(keys, columns=["pot", "view"]).assign(setup=setup, taken=DAY)
        table["photo"] = [f"{setup} {pot} {view}" for pot, view in keys]
        tables.append(table.assign(**dict(zip(AXES, lab.T, strict=True))))
    return pair_pots(*tables)


def target(setup, rows, columns, apart=0.0):
    """One photograph of a target of so many patches; each patch is off by a multiple of `apart` in b*."""
    rng = np.random.default_rng(11)
    places = [(row, column) for row in range(1, rows + 1) for column in range(1, columns + 1)]
    lab = np.column_stack([rng.uniform(25, 80, len(places)), rng.uniform(-15, 15, (len(places), 2))])
    lab[:, 2] += apart * np.arange(len(places))
    table = pd.DataFrame(places, columns=["row", "column"]).assign(
        pot="", setup=setup, taken=DAY, photo=setup
    )
    table["patch"] = [f"patch {row}.{column}" for row, column in places]
    return table.assign(**dict(zip(AXES, lab.T, strict=True)))


def target_pair(rows, columns, apart=0.02):
    one, other = target("phone", rows, columns), target("camera", rows, columns, apart)
    return pair_patches(one, other), pd.concat([one, other])


@pytest.fixture(scope="module")
def drift():
    """Twelve days of a setup whose pictures are bluer by 4 in the file from the ninth on."""
    rng = np.random.default_rng(5)
    parts = []
    for day in range(12):
        lab = np.array([[90.0, 0, 0], [60, 0, 0], [30, 0, 0], [50, 40, 20], [45, -30, 25]])
        table = pd.DataFrame(lab, columns=[f"{axis} of target" for axis in AXES])
        in_file = lab + rng.normal(0, 0.2, 3) + [0, 0, -4.0 * (day >= 8)]
        after = lab + rng.normal(0, 0.1, 3)
        for axis, file, read in zip(AXES, in_file.T, after.T, strict=True):
            table[f"{axis} in file"], table[axis] = file, read
        table["patch"], table["row"], table["column"] = list("abcde"), 1, np.arange(1, 6)
        taken = DAY + pd.Timedelta(days=7 * day)
        parts.append(
            table.assign(photo=f"t{day}", pot="", view="", setup="phone", taken=taken, doubt="", **CAMERA)
        )
    return check_drift(pd.concat(parts, ignore_index=True), "phone")


def again(count, days=(0, 12, 40, 75), views=("front", "back"), name="p{}"):
    """Photographs of pots on several days: a* of every other falls by 0.9 per month."""
    rng = np.random.default_rng(3)
    rows = []
    for k in range(count):
        lab = [45, 10, 12] + rng.normal(0, [8, 4, 4])
        for view in views:
            side = lab + rng.normal(0, 1, 3)
            for day in days:
                read = side + np.array([0, -0.9 * (k % 2), 0]) * day / MONTH + rng.normal(0, 0.15, 3)
                taken = DAY + pd.Timedelta(days=day)
                rows.append([name.format(k), view, "phone", taken, f"{k} {view} {day}", *read])
    return pd.DataFrame(rows, columns=["pot", "view", "setup", "taken", "photo", *AXES])


NO_DRIFT = pd.DataFrame(
    {"coordinate": AXES, "per month": [0.0, 0.1, 0.0], "low": -0.1, "high": [0.1, 0.3, 0.1], "df": 20}
)


def assert_whole(axes):
    """Check that no words of a figure lie over others, and that none is cut off."""
    figure = axes[0].get_figure(root=True)
    figure.canvas.draw()
    texts = [figure._suptitle, figure._supxlabel]
    for ax in axes:
        texts += [*ax.texts, ax._left_title, ax.xaxis.label, ax.yaxis.label]
        for axis in (ax.xaxis, ax.yaxis):
            low, high = sorted(axis.get_view_interval())
            texts += [tick.label1 for tick in axis.get_major_ticks() if low <= tick.get_loc() <= high]
    boxes = [
        (text.get_text(), mpl.text.Text.get_window_extent(text))
        for text in texts
        if text is not None and text.get_visible() and text.get_text()
    ]
    for text, box in boxes:
        assert figure.bbox.padded(0.5).contains(*box.min), text
        assert figure.bbox.padded(0.5).contains(*box.max), text
    for (one, box), (other, second) in combinations(boxes, 2):
        assert not box.padded(-0.5).overlaps(second.padded(-0.5)), f"'{one}' lies over '{other}'"


def dots(ax):
    """Gather the dots drawn: where, and in which colour."""
    places = np.concatenate([group.get_offsets() for group in ax.collections if len(group.get_offsets()) > 0])
    colours = np.concatenate(
        [group.get_facecolors()[:, :3] for group in ax.collections if len(group.get_offsets())]
    )
    return places, colours


def drawn_across(ax, heights):
    """Tell whether there is a level line at each height."""
    drawn = [line.get_ydata()[0] for line in ax.lines if np.ptp(line.get_ydata()) == 0]
    return all(np.isclose(drawn, height).any() for height in heights)


class TestAgreement:
    def test_dots_are_differences_over_means_in_the_measured_colours(self):
        pairs = pots(6)
        panels = charts.agreement_chart(pairs, agreement(pairs))
        mean = (pairs.lab("first") + pairs.lab("second")) / 2
        for ax, name, k in zip(panels[:3], ("ΔL*", "Δa*", "Δb*"), range(3), strict=True):
            places = np.concatenate([g.get_offsets() for g in ax.collections if g.get_sizes().size])
            np.testing.assert_allclose(
                places[np.argsort(places[:, 0])],
                np.column_stack([mean[:, k], pairs.table[name]])[np.argsort(mean[:, k])],
            )
        colours = next(g for g in panels[0].collections if g.get_sizes().size).get_facecolors()[:, :3]
        np.testing.assert_allclose(colours, lab_to_srgb(mean)[0])

    def test_bias_limits_and_their_intervals_are_drawn_and_told(self, texts):
        pairs = pots(8)
        result = agreement(pairs)
        for ax, name in zip(charts.agreement_chart(pairs, result), ("ΔL*", "Δa*", "Δb*", "ΔC*"), strict=True):
            row = result.table.set_index("coordinate").loc[name]
            assert drawn_across(ax, [0, row["bias"], row["lower limit"], row["upper limit"]])
            bars = [sorted(line.get_ydata()) for line in ax.lines if len(set(line.get_xdata())) == 1]
            for limit in ("lower limit", "upper limit"):
                ends = np.clip(row[[f"{limit} low", f"{limit} high"]].to_numpy(dtype=float), *ax.get_ylim())
                assert any(len(bar) == 2 and np.allclose(bar, ends) for bar in bars)
            said = " ".join(texts(ax)).replace("−", "-")
            digits = len(said.split("bias ")[1].split()[0].partition(".")[2])
            for value in row[["bias", "lower limit", "upper limit"]]:
                assert f"{value:+.{digits}f}" in said

    @pytest.mark.parametrize(("p", "drawn"), [(0.04, True), (0.06, False)])
    def test_a_trend_is_drawn_only_where_it_is_clear(self, p, drawn):
        pairs = pots(6)
        result = agreement(pairs)
        result.table["p trend Holm"] = p
        ax = charts.agreement_chart(pairs, result)[0]
        row = result.table.iloc[0]
        sloping = [line for line in ax.lines if np.ptp(line.get_ydata()) and np.ptp(line.get_xdata())]
        # The thin lines to the names slope, too, and begin at the right edge.
        trend = [line for line in sloping if line.get_linewidth() > 1]
        assert len(trend) == drawn
        if drawn:
            slope = np.diff(trend[0].get_ydata()) / np.diff(trend[0].get_xdata())
            assert slope == pytest.approx(row["trend"])
        assert ("trend" in ax.get_title(loc="left")) == drawn

    def test_all_panels_have_one_scale_and_say_which_way(self):
        pairs = pots(6)
        panels = charts.agreement_chart(pairs, agreement(pairs))
        assert len({ax.get_ylim() for ax in panels}) == 1
        assert panels[0].figure.get_suptitle() == "camera less phone, 6 pots, after calibration"
        assert [("darker" in ax.get_ylabel(), "bluer" in ax.get_ylabel()) for ax in panels[:3:2]] == [
            (True, False),
            (False, True),
        ]

    def test_an_interval_that_goes_on_ends_in_an_arrow(self):
        pairs = pots(3, scatter=1.0)
        result = agreement(pairs)
        marks = set()
        for ax in charts.agreement_chart(pairs, result):
            marks |= {line.get_marker() for line in ax.lines if line.get_marker() in "v^_"}
        assert {"v", "^"} <= marks

    @pytest.mark.parametrize(
        "pairs",
        [
            pots(3),
            pots(40, views=("front", "back")),
            pots(6, name=LONG_POTS, setups=LONG_SETUPS),
            pots(4, (0, 0, 0), scatter=0.0),
            target_pair(4, 6)[0],
            target_pair(10, 14)[0],
        ],
        ids=["three pots", "forty pots", "long names", "the very same", "24 patches", "140 patches"],
    )
    def test_it_can_be_read(self, pairs):
        assert_whole(charts.agreement_chart(pairs, agreement(pairs)))

    def test_the_words_of_each_panel_tell_all_biases_and_limits(self):
        pairs = pots(8)
        found = agreement(pairs)
        panels = charts.agreement_chart(pairs, found)
        (words,) = {alt_text(ax) for ax in panels}
        row = found.table.set_index("coordinate").loc["ΔL*"]
        limits = [f"{row[name]:+.2f}".replace("-", "−") for name in ("bias", "lower limit", "upper limit")]
        assert f"ΔL*: bias {limits[0]} (" in words
        assert f"95 of 100 differences from {limits[1]} to {limits[2]}" in words
        assert "camera less phone, 8 pots, after calibration" in words

    def test_what_is_no_agreement_is_refused(self):
        with pytest.raises(ModelError, match="takes the result of agreement, not DataFrame"):
            charts.agreement_chart(pots(3), pd.DataFrame())


def arrows(ax):
    return [patch for patch in ax.patches if isinstance(patch, FancyArrowPatch)]


def rings(ax):
    return sum(len(line.get_xdata()) for line in ax.lines if line.get_markerfacecolor() == "none")


class TestArrows:
    def test_arrows_go_from_the_first_setup_to_the_second(self):
        pairs = pots(6)
        drawn = [np.concatenate(arrow._posA_posB) for arrow in arrows(charts.arrow_chart(pairs))]
        expected = np.hstack([pairs.lab("first")[:, 1:], pairs.lab("second")[:, 1:]])
        np.testing.assert_allclose(drawn, expected)

    def test_starts_have_the_colour_of_the_first_setup_and_axes_are_equal(self):
        pairs = pots(6)
        ax = charts.arrow_chart(pairs)
        places, colours = dots(ax)
        np.testing.assert_allclose(places, pairs.lab("first")[:, 1:])
        np.testing.assert_allclose(colours, lab_to_srgb(pairs.lab("first"))[0])
        ax.figure.canvas.draw()
        assert ax.get_aspect() == 1
        assert ax.get_xlim()[0] < 0 < ax.get_xlim()[1]

    def test_tiny_arrows_are_drawn_longer_and_it_is_said_so(self):
        pairs = pots(6, (0, 0, 0), scatter=0.02)
        ax = charts.arrow_chart(pairs)
        times = int(ax.get_xlabel().split("arrows drawn ")[1].split()[0])
        assert times > 1
        assert arrows(ax)
        for arrow in arrows(ax):
            start, tip = np.array(arrow._posA_posB)
            k = int(np.argmin(np.hypot(*(pairs.lab("first")[:, 1:] - start).T)))
            np.testing.assert_allclose(
                tip - start, times * pairs.table.loc[k, ["Δa*", "Δb*"]].to_numpy(dtype=float)
            )
        assert len(arrows(ax)) + rings(ax) == 6
        assert "arrows drawn" not in charts.arrow_chart(pots(6)).get_xlabel()

    def test_what_does_not_move_is_a_ring_without_a_name(self):
        ax = charts.arrow_chart(pots(4, (0, 0, 0), scatter=0.0))
        assert rings(ax) == 4
        assert not arrows(ax)
        assert not ax.texts

    def test_the_longest_are_named_with_their_view_where_there_are_several(self, texts):
        pairs = pots(9, scatter=1.0)
        length = np.hypot(pairs.table["Δa*"], pairs.table["Δb*"])
        assert set(texts(charts.arrow_chart(pairs))) == set(pairs.table["item"][length.nlargest(5).index])
        both = texts(charts.arrow_chart(pots(3, scatter=1.0, views=("front", "back"))))
        assert all(name.endswith((" front", " back")) for name in both)

    def test_a_colour_that_the_display_cannot_show_is_told(self):
        pairs = pots(3)
        pairs.table.loc[0, ["L* first", "a* first", "b* first"]] = [50.0, 110.0, 90.0]
        assert OUTSIDE in charts.arrow_chart(pairs).get_xlabel()
        assert OUTSIDE not in charts.arrow_chart(pots(3)).get_xlabel()

    @pytest.mark.parametrize(
        "pairs",
        [
            pots(2),
            pots(40, views=("front", "back")),
            pots(6, name=LONG_POTS, setups=LONG_SETUPS),
            target_pair(4, 6)[0],
            target_pair(10, 14)[0],
        ],
        ids=["two pots", "forty pots", "long names", "24 patches", "140 patches"],
    )
    def test_it_can_be_read(self, pairs):
        assert_whole([charts.arrow_chart(pairs)])

    def test_its_words_tell_the_mean_shift_and_the_longest(self):
        pairs = pots(6)
        words = alt_text(charts.arrow_chart(pairs))
        moved = pairs.table[["Δa*", "Δb*"]]
        mean = [f"{value:+.1f}".replace("-", "−") for value in moved.mean()]
        assert f"mean Δa* {mean[0]}, Δb* {mean[1]}; the longest are" in words
        length = np.hypot(*moved.to_numpy().T)
        assert f"{pairs.table['item'].iloc[length.argmax()]} {length.max():.1f}, " in words

    def test_it_draws_into_axes_that_are_given(self):
        ax = plt.figure(layout="constrained").add_subplot()
        assert charts.arrow_chart(pots(3), ax) is ax


def squares(ax):
    return [patch for patch in ax.patches if isinstance(patch, Swatch)]


class TestTargetLayout:
    def test_each_patch_lies_at_its_place_in_both_colours(self, texts):
        pairs, patches = target_pair(4, 6)
        ax = charts.target_layout_chart(pairs, patches)
        assert len(squares(ax)) == 48
        first, second = (lab_to_srgb(pairs.lab(which))[0] for which in ("first", "second"))
        np.testing.assert_allclose([square.get_facecolor()[:3] for square in squares(ax)[::2]], first)
        np.testing.assert_allclose([square.get_facecolor()[:3] for square in squares(ax)[1::2]], second)
        written = {text.get_position(): text.get_text() for text in ax.texts}
        for k, apart in enumerate(pairs.table["ΔE00"]):
            assert written[(k % 6 + 1, k // 6 + 1)] == f"{apart:.1f}"
        assert ax.yaxis_inverted()

    def test_weight_and_frame_tell_the_limits_without_colour(self):
        pairs, patches = target_pair(4, 6, 0.2)
        ax = charts.target_layout_chart(pairs, patches, Limits(0.8, 1.8))
        apart = pairs.table["ΔE00"]
        assert [text.get_fontweight() for text in ax.texts] == [
            "normal" if e < 0.8 else "bold" for e in apart
        ]
        frames = [patch for patch in ax.patches if type(patch) is Rectangle]
        centres = {tuple(np.round(frame.get_center()).astype(int)) for frame in frames}
        assert centres == {(k % 6 + 1, k // 6 + 1) for k, e in enumerate(apart) if e > 1.8}
        assert 0 < len(frames) < 24
        assert f"framed: {len(frames)} beyond 1.8" in ax.get_xlabel().replace("\n", " ")

    def test_numbers_are_white_on_dark_and_black_on_light(self):
        pairs, patches = target_pair(4, 6)
        ax = charts.target_layout_chart(pairs, patches)
        inks = [text.get_color() for text in ax.texts]
        assert inks == ["white" if lightness < 55 else "black" for lightness in pairs.table["L* second"]]

    def test_a_patch_that_one_setup_does_not_show_is_an_empty_square(self):
        pairs, patches = target_pair(4, 6)
        some = pair_patches(target("phone", 4, 6), target("camera", 4, 6).drop(index=3))
        ax = charts.target_layout_chart(some, patches)
        assert len(ax.texts) == 23
        assert sum(square.get_facecolor()[3] == 0 for square in squares(ax)) == 1

    @pytest.mark.parametrize("size", [(4, 6), (10, 14), (2, 3)])
    def test_numbers_stay_within_their_patches(self, size):
        pairs, patches = target_pair(*size)
        for ax in (None, plt.subplots(figsize=(3.4, 3), layout="constrained")[1]):
            ax = charts.target_layout_chart(pairs, patches, ax=ax)
            ax.figure.canvas.draw()
            for inner, text in zip(squares(ax)[1::2], ax.texts, strict=True):
                room = inner.get_window_extent().padded(0.5)
                assert room.contains(*text.get_window_extent().min)
                assert room.contains(*text.get_window_extent().max)

    def test_it_can_be_read(self):
        one, other = (target(name, 4, 6, apart) for name, apart in zip(LONG_SETUPS, (0, 0.1), strict=True))
        assert_whole([charts.target_layout_chart(pair_patches(one, other), pd.concat([one, other]))])
        assert_whole([charts.target_layout_chart(*target_pair(10, 14))])

    def test_its_words_tell_the_least_and_the_most(self):
        pairs, patches = target_pair(4, 6, 0.2)
        words = alt_text(charts.target_layout_chart(pairs, patches))
        apart = pairs.table.set_index("item")["ΔE00"]
        assert (
            f"mean {apart.mean():.1f}, from {apart.min():.1f} ({apart.idxmin()}) to {apart.max():.1f}"
            in words
        )
        assert "Around: phone; inside: camera." in words

    def test_pots_and_lost_patches_are_refused(self):
        pairs, patches = target_pair(2, 3)
        with pytest.raises(SetupError, match="pots do not lie in a target"):
            charts.target_layout_chart(pots(3), patches)
        with pytest.raises(SetupError, match=r"not one place of one patch for: patch 1\.1"):
            charts.target_layout_chart(pairs, patches[patches["patch"] != "patch 1.1"])
        moved = patches.assign(column=np.arange(len(patches)))
        with pytest.raises(SetupError, match="not one place of one patch"):
            charts.target_layout_chart(pairs, moved)


def diamonds(ax):
    return [int(x) for line in ax.lines if line.get_marker() == "D" for x in line.get_xdata()]


class TestControl:
    def series(self, drift, coordinate, colours="in the file"):
        table = drift.table
        return table[(table["coordinate"] == coordinate) & (table["colours"] == colours)].reset_index(
            drop=True
        )

    def test_values_weighted_means_and_limits_are_those_of_the_table(self, drift):
        above, below = charts.control_chart(drift, "b*")
        rows = self.series(drift, "b*")
        drawn = [np.asarray(line.get_ydata(), dtype=float) for line in above.lines]
        for name in ("value", "weighted", "lower limit", "upper limit", "centre"):
            assert any(len(y) == 12 and np.allclose(y, rows[name]) for y in drawn), name
        ranges = [np.asarray(line.get_ydata(), dtype=float) for line in below.lines]
        for name in ("moving range", "moving range limit"):
            assert any(len(y) == 12 and np.allclose(y, rows[name], equal_nan=True) for y in ranges), name

    def test_days_that_are_out_are_diamonds_and_the_first_is_dated(self, drift, texts):
        rows = self.series(drift, "b*")
        out = [k + 1 for k in rows.index if rows.loc[k, "out"]]
        above, below = charts.control_chart(drift, "b*")
        assert out
        assert diamonds(above) == out
        assert diamonds(below) == [k + 1 for k in rows.index if "jump" in rows.loc[k, "out"]]
        assert f"{rows.loc[out[0] - 1, 'taken']:%Y-%m-%d}" in texts(above)
        assert not diamonds(charts.control_chart(drift, "b*", "after calibration")[0])

    def test_the_days_that_the_centre_is_from_are_marked(self, drift, texts):
        above, _ = charts.control_chart(drift, "L*")
        assert "centre from these" in texts(above)
        spans = [patch.get_extents().transformed(above.transData.inverted()) for patch in above.patches]
        assert spans[0].x1 == pytest.approx(FIRST + 0.5)

    @pytest.mark.parametrize("coordinate", ["L*", "a*", "b*", "ΔE00"])
    def test_it_can_be_read(self, drift, coordinate):
        assert_whole(charts.control_chart(drift, coordinate))

    def test_their_words_tell_the_days_and_since_when_it_is_beyond(self, drift):
        rows = self.series(drift, "b*")
        first = rows[rows["out"] != ""].iloc[0]
        said = f"{(rows['out'] != '').sum()} days beyond a limit, the first {first['taken']:%Y-%m-%d} ("
        above, below = charts.control_chart(drift, "b*")
        assert said in alt_text(above) == alt_text(below)
        value = f"{rows['value'].iloc[-1]:.2f}".replace("-", "−")
        assert "12 days from 2026-05-03 to 2026-07-19: " in alt_text(above)
        assert f"{value} at last" in alt_text(above)
        assert "no day beyond a limit" in alt_text(charts.control_chart(drift, "b*", "after calibration")[0])
        (words,) = {alt_text(ax) for ax in charts.drift_chart(drift)}
        assert "b* in the file: " in words and said in words and "L* in the file:" not in words

    def test_unknown_series_are_refused(self, drift):
        with pytest.raises(
            UnknownNameError, match=r"coordinate 'hue': it is unknown. Give one of L\*, a\*, b\*"
        ):
            charts.control_chart(drift, "hue")
        with pytest.raises(UnknownNameError, match="colours 'raw'"):
            charts.control_chart(drift, "b*", "raw")
        with pytest.raises(ModelError, match="takes the result of check_drift"):
            charts.drift_chart(drift.table)

    def test_all_series_stand_side_by_side_on_one_scale(self, drift):
        panels = charts.drift_chart(drift)
        assert len(panels) == 8
        for left, right in zip(panels[::2], panels[1::2], strict=True):
            assert left.get_ylim() == right.get_ylim()
        for ax, (coordinate, colours) in zip(
            panels,
            [(c, w) for c in ("L*", "a*", "b*", "ΔE00") for w in ("in the file", "after calibration")],
            strict=True,
        ):
            rows = self.series(drift, coordinate, colours)
            assert diamonds(ax) == [k + 1 for k in rows.index if rows.loc[k, "out"]]
        assert_whole(panels)


class TestOverTime:
    def test_lines_have_the_rates_and_the_sure_ones_are_solid(self):
        measures = again(6)
        changes = changes_over_time(measures, drift_per_month=NO_DRIFT)
        ax = charts.over_time_chart(changes, measures)
        rows = changes.table[changes.table["coordinate"] == "a*"].set_index("pot")
        lines = [line for line in ax.lines if line.get_xdata()[0] == 0]
        drawn = [(line.get_ydata()[1] - line.get_ydata()[0]) / 75 * MONTH for line in lines]
        np.testing.assert_allclose(drawn, rows["per month"])
        assert [line.get_linestyle() == "-" for line in lines] == rows["distinguishable"].tolist()
        assert 0 < rows["distinguishable"].sum() < 6

    def test_dots_are_photographs_with_drift_and_sides_taken_out(self):
        measures = again(1)
        changes = changes_over_time(measures, drift_per_month=NO_DRIFT)
        places, colours = dots(charts.over_time_chart(changes, measures))
        days = (measures["taken"] - DAY).dt.days.to_numpy()
        np.testing.assert_array_equal(places[:, 0], days)
        free = measures["a*"] - 0.1 * days / MONTH
        # With the same days for every side, a side's mean is what it differs in.
        expected = free - free.groupby(measures["view"]).transform("mean") + free.mean()
        np.testing.assert_allclose(places[:, 1], expected)
        np.testing.assert_allclose(colours, lab_to_srgb(measures[list(AXES)].to_numpy())[0])

    def test_photographs_of_other_setups_and_without_a_date_are_left_out(self):
        measures = again(3)
        changes = changes_over_time(measures, drift_per_month=NO_DRIFT)
        other = measures.assign(setup="camera")
        undated = measures.head(1).assign(taken=pd.NaT)
        more = pd.concat([measures, other, undated], ignore_index=True)
        places = [dots(charts.over_time_chart(changes, table))[0] for table in (measures, more)]
        np.testing.assert_allclose(*places)

    def test_pots_are_named_with_their_rate_the_surest_where_there_is_no_room_for_all(self, texts):
        measures = again(40)
        changes = changes_over_time(measures, drift_per_month=NO_DRIFT)
        ax = charts.over_time_chart(changes, measures)
        named = {text.split()[0] for text in texts(ax)}
        rows = changes.table[changes.table["coordinate"] == "a*"].set_index("pot")
        assert set(rows.index[rows["distinguishable"]]) <= named
        assert f"{40 - len(named)} pots unnamed" in ax.get_xlabel()
        assert_whole([ax])

    @pytest.mark.parametrize(("count", "name"), [(2, "p{}"), (6, LONG_POTS)])
    def test_it_can_be_read(self, count, name):
        measures = again(count, name=name)
        for coordinate in ("L*", "C*ab"):
            assert_whole([charts.over_time_chart(changes_over_time(measures), measures, coordinate)])

    def test_its_words_tell_each_rate_with_its_interval(self):
        measures = again(6)
        changes = changes_over_time(measures, drift_per_month=NO_DRIFT)
        words = alt_text(charts.over_time_chart(changes, measures))
        row = changes.table.set_index(["pot", "coordinate"]).loc[("p1", "a*")]
        rate, low, high = (f"{row[name]:+.2f}".replace("-", "−") for name in ("per month", "low", "high"))
        assert f"p1 {rate} ({low} to {high})" in words
        assert "Sure of 3 pots of 6" in words

    def test_it_says_whether_drift_is_taken_out(self):
        measures = again(2)
        known = charts.over_time_chart(changes_over_time(measures, drift_per_month=NO_DRIFT), measures)
        assert "its own drift taken out" in known.get_title(loc="left").replace("\n", " ")
        unknown = charts.over_time_chart(changes_over_time(measures), measures)
        assert "its own drift not known" in unknown.get_title(loc="left").replace("\n", " ")

    def test_an_unknown_coordinate_is_refused(self):
        measures = again(2)
        with pytest.raises(UnknownNameError, match="coordinate 'hue'"):
            charts.over_time_chart(changes_over_time(measures), measures, "hue")


class TestRightEdge:
    def test_names_stand_in_a_column_in_the_order_of_their_ends(self, texts, assert_readable):
        ax = plt.subplots(layout="constrained")[1]
        ax.set(xlim=(0, 10), ylim=(0, 10))
        assert name_ends(ax, ["one", "two", "three"], [(10, 5), (10, 5.01), (10, 4.99)]) == 3
        boxes = texts(ax)
        assert boxes["two"].y0 > boxes["one"].y1 > boxes["one"].y0 > boxes["three"].y1
        assert min(box.x0 for box in boxes.values()) > ax.transData.transform((10, 0))[0]
        assert_readable(ax)

    def test_what_has_no_room_goes_unnamed_the_last_first(self, texts, assert_readable):
        ax = plt.subplots(figsize=(4, 2), layout="constrained")[1]
        ax.set(xlim=(0, 10), ylim=(0, 10))
        written = name_ends(ax, [f"pot {k}" for k in range(50)], [(10, 5)] * 50)
        assert 3 < written < 20
        assert set(texts(ax)) == {f"pot {k}" for k in range(written)}
        assert_readable(ax)


def test_no_name_is_read_as_mathematics_and_no_setting_stays_behind():
    before = dict(mpl.rcParams)
    pairs = pots(4, name="$a_b$ {}", setups=("$x^2$", "$y$"))
    ax = charts.arrow_chart(pairs)
    panels = charts.agreement_chart(pairs, agreement(pairs))
    for figure in (ax.figure, panels[0].figure):
        figure.canvas.draw()
        named = [text for text in figure.findobj(mpl.text.Text) if "$" in text.get_text()]
        assert named
        assert not any(text.get_parse_math() for text in named)
    assert dict(mpl.rcParams) == before
