"""Colour against published values and general-purpose reference libraries."""

from pathlib import Path

import colour
import numpy as np
import pandas as pd
import pytest
import skimage.color

from sagglab.colour import (
    SRGB_TO_XYZ,
    WHITE_D50,
    WHITE_D65,
    adaptation,
    delta_e_2000,
    lab_to_lch,
    lab_to_srgb,
    lab_to_xyz,
    linear_to_srgb,
    srgb_to_linear,
    srgb_to_xyz,
    xyz_to_lab,
)
from sagglab.targets import read_target

# Sharma, Wu & Dalal, Color Res. Appl. 30 (2005), table 1; figures as colour-science's own tests carry them.
PAIRS = pd.read_csv(Path(__file__).with_name("ciede2000.csv"))
rng = np.random.default_rng(20260418)
COLOURS = rng.uniform([5, -60, -60], [95, 60, 60], size=(500, 3))
XYZ = lab_to_xyz(COLOURS)


@pytest.mark.parametrize("pair", PAIRS.index + 1)
def test_ciede2000_pairs_to_four_decimals(pair):
    row = PAIRS.loc[pair - 1]
    found = delta_e_2000(row[["L1", "a1", "b1"]].to_numpy(), row[["L2", "a2", "b2"]].to_numpy())
    if pair == 14:
        # The hues are exactly opposite: their mean is either of two, and rounding settles which.
        assert round(float(found), 4) in (4.7461, 4.8045)
    else:
        assert found == pytest.approx(row["difference"], abs=5.1e-5)


def test_ciede2000_agrees_with_a_second_implementation():
    other = rng.uniform([5, -60, -60], [95, 60, 60], size=(500, 3))
    expected = colour.delta_E(COLOURS, other, method="CIE 2000")
    np.testing.assert_allclose(delta_e_2000(COLOURS, other), expected, atol=1e-9)


def test_xyz_to_lab_agrees_with_colour_science():
    white = colour.XYZ_to_xy(WHITE_D50)
    np.testing.assert_allclose(xyz_to_lab(XYZ), colour.XYZ_to_Lab(XYZ, white), atol=1e-6)


def test_xyz_to_lab_agrees_with_scikit_image_given_the_same_white():
    # scikit-image's white is its own, to ten decimals: it is read off what it makes of L* 100.
    white = skimage.color.lab2xyz(np.array([[100.0, 0, 0]]), illuminant="D50")[0]
    # Its straight part, for the darkest, has constants rounded to three decimals (off by 0.0003): left out.
    cubic = (white * 0.009 < XYZ).all(axis=1)
    assert cubic.sum() > 400
    expected = skimage.color.xyz2lab(XYZ[cubic], illuminant="D50")
    np.testing.assert_allclose(xyz_to_lab(XYZ[cubic], white), expected, atol=1e-6)


def test_lab_to_xyz_is_the_inverse_of_xyz_to_lab():
    np.testing.assert_allclose(xyz_to_lab(lab_to_xyz(COLOURS)), COLOURS, atol=1e-9)


def test_lab_to_xyz_agrees_with_colour_science():
    dark = rng.uniform([0, -2, -2], [8, 2, 2], size=(100, 3))
    colours = np.concatenate([COLOURS, dark])
    expected = colour.Lab_to_XYZ(colours, colour.XYZ_to_xy(WHITE_D50))
    np.testing.assert_allclose(lab_to_xyz(colours), expected, atol=1e-6)


def test_dark_colours_go_through_the_straight_part():
    dark = np.array([[0.001, 0.001, 0.001]])
    np.testing.assert_allclose(
        xyz_to_lab(dark), colour.XYZ_to_Lab(dark, colour.XYZ_to_xy(WHITE_D50)), atol=1e-6
    )


def test_lch_agrees_with_colour_science():
    np.testing.assert_allclose(lab_to_lch(COLOURS), colour.models.Lab_to_LCHab(COLOURS), atol=1e-9)


def test_srgb_matrix_and_transfer():
    # IEC 61966-2-1 prints the matrix to four decimals, and colour-science takes it as printed.
    assert (colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ == SRGB_TO_XYZ).all()
    values = np.linspace(0, 1, 300)
    np.testing.assert_allclose(srgb_to_linear(values), colour.models.eotf_sRGB(values), atol=1e-9)
    np.testing.assert_allclose(linear_to_srgb(values), colour.models.eotf_inverse_sRGB(values), atol=1e-9)


def test_bradford_d65_to_d50():
    # ICC practice, five decimals, for D65 95.047/100/108.883 and D50 96.42/100/82.491 or nearly so.
    published = [
        [1.04793, 0.02295, -0.05019],
        [0.02963, 0.99043, -0.01707],
        [-0.00924, 0.01506, 0.75187],
    ]
    d65, d50 = (
        colour.xy_to_XYZ(colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"][name])
        for name in ("D65", "D50")
    )
    np.testing.assert_allclose(adaptation(d65, d50), published, atol=1e-5)


@pytest.mark.parametrize("light", ["A", "D55", "D65", "FL11"])
def test_bradford_agrees_with_colour_science(light):
    white = colour.xy_to_XYZ(colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"][light])
    for pair in ((white, WHITE_D50), (WHITE_D50, white)):
        expected = colour.adaptation.matrix_chromatic_adaptation_VonKries(*pair, transform="Bradford")
        np.testing.assert_allclose(adaptation(*pair), expected, atol=1e-6)


def test_srgb_to_lab_adapts_the_white():
    # The trap: scikit-image's rgb2lab(illuminant="D50") does not adapt, and makes white a* -2.4, b* -19.4.
    np.testing.assert_allclose(xyz_to_lab(srgb_to_xyz([1, 1, 1])), [100, 0, 0], atol=0.01)


def test_srgb_to_xyz_agrees_with_colour_science():
    srgb = rng.uniform(size=(200, 3))
    # The white is that which the printed matrix makes of 1, 1, 1, so that grey stays grey.
    own_white = colour.XYZ_to_xy(SRGB_TO_XYZ.sum(axis=1))
    srgb_space = colour.RGB_COLOURSPACES["sRGB"].copy()
    srgb_space.whitepoint = own_white
    expected = colour.RGB_to_XYZ(
        srgb, srgb_space, colour.XYZ_to_xy(WHITE_D50), "Bradford", apply_cctf_decoding=True
    )
    np.testing.assert_allclose(srgb_to_xyz(srgb), expected, atol=1e-6)
    # From the white of CIE 15 it would differ by that white's rounding alone.
    d65 = colour.sRGB_to_XYZ(srgb) @ adaptation(WHITE_D65, WHITE_D50).T
    np.testing.assert_allclose(srgb_to_xyz(srgb), d65, atol=2e-4)


def test_display_p3_agrees_with_colour_science():
    # Phones write it: primaries of DCI-P3, white D65, transfer of sRGB. The matrix is colour-science's, where
    # the library takes that of each photograph's profile; transfer and adaptation are the library's own.
    space = colour.RGB_COLOURSPACES["Display P3"]
    encoded = rng.uniform(size=(200, 3))
    expected = colour.RGB_to_XYZ(
        encoded, space, colour.XYZ_to_xy(WHITE_D50), "Bradford", apply_cctf_decoding=True
    )
    to_d50 = adaptation(colour.xy_to_XYZ(space.whitepoint), WHITE_D50) @ space.matrix_RGB_to_XYZ
    np.testing.assert_allclose(srgb_to_linear(encoded) @ to_d50.T, expected, atol=1e-6)


def test_display_colours_come_back():
    srgb = rng.uniform(size=(200, 3))
    shown, outside = lab_to_srgb(xyz_to_lab(srgb_to_xyz(srgb)))
    np.testing.assert_allclose(shown, srgb, atol=1e-6)
    assert not outside.any()


def test_display_colours_outside_the_gamut_are_said_to_be():
    _, outside = lab_to_srgb([[60, 90, 60], [50, 0, 0]])
    assert outside.tolist() == [True, False]


@pytest.mark.parametrize(
    ("ours", "theirs"),
    [
        ("24-patch-before-2014-11", "ColorChecker24 - Before November 2014"),
        ("24-patch-from-2014-11", "ColorChecker24 - After November 2014"),
    ],
)
def test_built_in_targets_are_the_published_ones(ours, theirs):
    published = colour.CCS_COLOURCHECKERS[theirs]
    lab = [
        colour.XYZ_to_Lab(colour.xyY_to_XYZ(value), published.illuminant) for value in published.data.values()
    ]
    # colour-science keeps them as xyY, made from the published CIELAB, which comes back to rounding.
    np.testing.assert_allclose(read_target(ours).lab.reshape(-1, 3), lab, atol=1e-9)


@pytest.mark.parametrize("ours", ["24-patch-before-2014-11", "24-patch-from-2014-11"])
def test_patches_of_built_in_targets_have_the_published_names_in_order(ours):
    # colour-science 0.4.7 adds a density to the neutral ones: 'neutral 8 (.23 D)', 'white 9.5 (.05 D)'.
    published = colour.CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"].data
    assert all(full.startswith(name) for name, full in zip(read_target(ours).patches, published, strict=True))


def test_the_two_published_targets_differ_as_stated():
    before, since = (read_target(f"24-patch-{when}-2014-11").lab for when in ("before", "from"))
    differences = delta_e_2000(before, since)
    assert differences.mean() == pytest.approx(0.85, abs=0.005)
    assert differences.max() == pytest.approx(1.95, abs=0.005)


@pytest.mark.parametrize(
    ("L", "light", "rise"), [(50, 1.05, 1.1), (50, 1.10, 2.1), (15, 1.05, 0.5), (15, 1.10, 1.0)]
)
def test_more_light_reads_lighter_by_as_much_as_cielab_says(L, light, rise):
    # Computed with colour-science 0.4.7, printed to one decimal.
    found = xyz_to_lab(lab_to_xyz([L, 0, 0]) * light)[0] - L
    assert found == pytest.approx(rise, abs=0.05)


@pytest.mark.parametrize("L", [50, 27, 15])
def test_veiling_glare_of_one_percent_of_white(L):
    # 1.17, 2.65 and 4.67 with colour-science 0.4.7: dark pots are limited by glare.
    white = colour.XYZ_to_xy(WHITE_D50)
    veiled = colour.Lab_to_XYZ([L, 0, 0], white) + 0.01 * colour.xy_to_XYZ(white)
    expected = colour.XYZ_to_Lab(veiled, white)[0]
    found = xyz_to_lab(lab_to_xyz([L, 0, 0]) + 0.01 * WHITE_D50)[0]
    assert found == pytest.approx(expected, abs=1e-6)
    assert found - L == pytest.approx({50: 1.17, 27: 2.65, 15: 4.67}[L], abs=0.005)


def test_whites():
    # CIE 15, 2 degree observer.
    assert WHITE_D50.tolist() == [0.9642, 1.0, 0.8251]
    assert WHITE_D65.tolist() == [0.9504, 1.0, 1.0888]


def test_one_colour_against_many_is_each_pair():
    # Shapes broadcast: (3,) against (3, 3), where the rows of one could be taken for channels.
    one, many = np.array([40.0, 8, 9]), np.array([[38.0, 8, 9], [40, 9, 9], [40, 8, 12]])
    each = [float(delta_e_2000(one, other)) for other in many]
    np.testing.assert_allclose(delta_e_2000(one, many), each, rtol=1e-12)
    np.testing.assert_allclose(delta_e_2000(many, one), each, rtol=1e-12)
