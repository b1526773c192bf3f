"""Terms and fits of the colour regression against colour-science, a library written by others, and NumPy."""

import colour
import numpy as np
import pytest
from colour.characterisation import matrix_augmented_Cheung2004, polynomial_expansion_Finlayson2015

from sagglab.colour import lab_to_xyz, xyz_to_lab
from sagglab.photo.regression import Patches, fit_regression, terms

RGB = np.random.default_rng(1).uniform(0.01, 1, (40, 3))
#: Colours of 24 patches, and light that a camera might show of them; no linear map leads back exactly.
XYZ = lab_to_xyz(np.random.default_rng(2).uniform([20, -40, -40], [90, 40, 40], (24, 3)))
SHOWN = np.clip(
    XYZ @ np.linalg.inv(np.array([[0.45, 0.22, 0.01], [0.37, 0.72, 0.09], [0.14, 0.06, 0.72]])), 0.01, 1
)
ROOTS = ["root-polynomial of degree 2", "root-polynomial of degree 3"]


def in_any_order(values):
    """Columns sorted by what they are at the first rows."""
    return values[:, np.lexsort(values[::-1])]


@pytest.mark.parametrize(("method", "degree"), [(ROOTS[0], 2), (ROOTS[1], 3)])
def test_root_polynomial_terms(method, degree):
    """Source: colour-science 0.4.7, `polynomial_expansion_Finlayson2015`, root-polynomials."""
    expected = polynomial_expansion_Finlayson2015(RGB, degree, root_polynomial_expansion=True)
    found = terms(method, RGB)
    assert found.shape == expected.shape
    np.testing.assert_allclose(in_any_order(found), in_any_order(expected), rtol=0, atol=1e-12)


def test_polynomial_terms():
    """Source: colour-science 0.4.7, `polynomial_expansion_Finlayson2015`, plain polynomials."""
    expected = polynomial_expansion_Finlayson2015(RGB, 2, root_polynomial_expansion=False)
    found = terms("polynomial of degree 2", RGB)
    assert found.shape == expected.shape
    np.testing.assert_allclose(in_any_order(found), in_any_order(expected), rtol=0, atol=1e-12)


@pytest.mark.parametrize("method", ["linear", *ROOTS])
@pytest.mark.parametrize("share", [0.1, 0.5, 2.0])
def test_exposure_invariance(method, share):
    """Root-polynomials of k times the light are k times theirs (Finlayson, Mackiewicz & Hurlbert 2015)."""
    np.testing.assert_allclose(terms(method, share * RGB), share * terms(method, RGB), rtol=1e-12)
    regression = fit_regression(SHOWN, Patches.of(xyz_to_lab(XYZ)), np.ones(24), method, 10.0).regression
    np.testing.assert_allclose(regression(share * RGB), share * regression(RGB), rtol=1e-12, atol=1e-14)


def test_polynomials_have_no_such_invariance():
    assert not np.allclose(terms("polynomial of degree 2", 2 * RGB), 2 * terms("polynomial of degree 2", RGB))


@pytest.mark.parametrize(
    ("method", "degree", "root"),
    [("linear", 1, False), (ROOTS[0], 2, True), (ROOTS[1], 3, True), ("polynomial of degree 2", 2, False)],
)
def test_matrix_of_an_exact_map(method, degree, root):
    """Where the patches follow a map of the method exactly, any weighting of the patches must find that map.

    Source: colour-science 0.4.7, `matrix_colour_correction_Finlayson2015`: plain least squares, in XYZ. Its
    answer is compared in what it predicts, since its terms stand in another order.
    """
    shown = np.random.default_rng(3).uniform(0.05, 0.9, (60, 3))
    change = np.random.default_rng(4).normal(0, 0.03, (3 + terms(method, shown).shape[1] - 3, 3))
    change[:3] += [[0.45, 0.22, 0.01], [0.37, 0.72, 0.09], [0.14, 0.06, 0.72]]
    xyz = terms(method, shown) @ change
    assert xyz.min() > 0.005
    theirs = colour.characterisation.matrix_colour_correction_Finlayson2015(shown, xyz, degree, root)
    expanded = polynomial_expansion_Finlayson2015(RGB, degree, root_polynomial_expansion=root)
    ours = fit_regression(shown, Patches.of(xyz_to_lab(xyz)), np.ones(60), method, 0.0).regression
    np.testing.assert_allclose(ours(RGB), expanded @ theirs.T, atol=1e-5)


@pytest.mark.parametrize(
    ("method", "degree", "root"),
    [("linear", 1, False), (ROOTS[0], 2, True), ("polynomial of degree 2", 2, False)],
)
def test_least_squares(method, degree, root):
    """With as much worth to X, Y and Z in every patch it is least squares in XYZ, where no map is exact.

    Sources: NumPy's `lstsq` on colour-science's terms, and colour-science's own
    `matrix_colour_correction_Finlayson2015`, all the same.
    """
    patches = Patches.of(xyz_to_lab(XYZ))
    plain = Patches(patches.lab, patches.xyz, np.broadcast_to(np.eye(3) * 100, (24, 3, 3)))
    ours = fit_regression(SHOWN, plain, np.ones(24), method, 0.0).regression
    expanded = polynomial_expansion_Finlayson2015(SHOWN, degree, root_polynomial_expansion=root)
    by_numpy = np.linalg.lstsq(expanded, plain.xyz)[0]
    theirs = colour.characterisation.matrix_colour_correction_Finlayson2015(SHOWN, plain.xyz, degree, root)
    expected = polynomial_expansion_Finlayson2015(RGB, degree, root_polynomial_expansion=root) @ by_numpy
    np.testing.assert_allclose(theirs.T, by_numpy, atol=1e-9)
    np.testing.assert_allclose(ours(RGB), expected, atol=1e-7)


def test_weighted_least_squares():
    """Every row of the system times the root of its weight, the slopes included. Source: NumPy's `lstsq`."""
    patches, weights = Patches.of(xyz_to_lab(XYZ)), np.random.default_rng(5).uniform(0.1, 2, 24)
    design = terms(ROOTS[0], SHOWN)
    rows = np.einsum("pt,plx->pltx", design, patches.slopes).reshape(72, -1)
    wanted = np.einsum("plx,px->pl", patches.slopes, patches.xyz).ravel()
    root = np.sqrt(np.repeat(weights, 3))
    expected = np.linalg.lstsq(rows * root[:, None], wanted * root)[0].reshape(6, 3)
    ours = fit_regression(SHOWN, patches, weights, ROOTS[0], 0.0).regression
    np.testing.assert_allclose(ours.matrix, expected, atol=1e-6)


def test_no_other_terms_of_degree_2():
    """Source: colour-science 0.4.7, `matrix_augmented_Cheung2004` of 10 terms: ours, and a constant."""
    cheung = matrix_augmented_Cheung2004(RGB, 10)
    rest = cheung[:, ~(np.abs(cheung - 1) < 1e-12).all(axis=0)]
    np.testing.assert_allclose(
        in_any_order(rest), in_any_order(terms("polynomial of degree 2", RGB)), atol=1e-12
    )
