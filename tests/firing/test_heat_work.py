"""Heat work against its closed form, quadrature, and what it must do to any curve."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.constants import R
from scipy.integrate import quad

from sagglab.firing.between import Curve
from sagglab.firing.heat_work import Q_KJ_PER_MOL, QS_KJ_PER_MOL, heat_work_minutes


def curve(*points):
    return Curve(*(np.array(values, float) for values in zip(*points, strict=True)))


def rate(celsius, q, held=750.0):
    """(1/T) exp(−Q/RT), over its value at the temperature held."""
    kelvin, at = celsius + 273.15, held + 273.15
    return at / kelvin * np.exp(-q * 1000 / R * (1 / kelvin - 1 / at))


def by_quadrature(points, q):
    total = 0.0
    for (start, cold), (end, hot) in zip(points[:-1], points[1:], strict=True):
        slope = (hot - cold) / (end - start)
        value, _ = quad(
            lambda t, s=start, c=cold, m=slope: rate(c + m * (t - s), q),
            start,
            end,
            epsabs=0,
            epsrel=1e-12,
            limit=200,
        )
        total += value
    return total


def test_the_assumed_energy_is_among_those_shown():
    assert Q_KJ_PER_MOL in QS_KJ_PER_MOL


@pytest.mark.parametrize("celsius", [20.0, 600.0, 750.0, 995.0])
def test_a_constant_hold_in_closed_form(celsius):
    expected = [40 * rate(celsius, q) for q in QS_KJ_PER_MOL]
    np.testing.assert_allclose(heat_work_minutes(curve((0, celsius), (40, celsius))), expected, rtol=1e-12)


def test_a_hold_at_the_temperature_told_in_is_its_own_length():
    held = heat_work_minutes(curve((10, 995), (35, 995)), held_at_C=995)
    np.testing.assert_allclose(held, 25, rtol=1e-13)


@pytest.mark.parametrize(
    "points",
    [
        ((0, 20), (40, 750)),
        ((0, 750), (40, 20)),
        ((0, 700), (1, 720)),
        ((0, 748), (1, 750)),
        ((0, 750), (1, 750.001)),
        ((0, 20), (7, 317.5), (20, 548), (25, 548), (40, 729), (69, 482)),
        ((0, -40), (10, 1390)),
    ],
)
def test_ramps_by_quadrature(points):
    expected = [by_quadrature(points, q) for q in QS_KJ_PER_MOL]
    np.testing.assert_allclose(heat_work_minutes(curve(*points)), expected, rtol=1e-9)


def test_pieces_just_short_and_just_long_agree_with_quadrature():
    # Either side of where exponential integrals take over from the four-point rule.
    for hot in np.linspace(702, 730, 30):
        points = ((0, 700), (5, hot))
        expected = [by_quadrature(points, q) for q in QS_KJ_PER_MOL]
        np.testing.assert_allclose(heat_work_minutes(curve(*points)), expected, rtol=1e-9)


def test_a_long_record_is_cut_without_a_seam():
    minutes = np.linspace(0, 40, 50_001)
    many = heat_work_minutes(Curve(minutes, 20 + 730 * minutes / 40))
    np.testing.assert_allclose(many, heat_work_minutes(curve((0, 20), (40, 750))), rtol=1e-9)


def test_any_energies_may_be_asked_for():
    odd = heat_work_minutes(curve((0, 20), (40, 750)), [511.0, 90.5, 300.0])
    expected = [by_quadrature(((0, 20), (40, 750)), q) for q in (511.0, 90.5, 300.0)]
    np.testing.assert_allclose(odd, expected, rtol=1e-9)


@given(
    st.lists(st.tuples(st.floats(0.1, 60), st.floats(0, 1390), st.floats(0, 5)), min_size=2, max_size=12),
)
def test_a_hotter_curve_did_more(steps):
    minutes = np.cumsum([step for step, _, _ in steps])
    cold = np.array([celsius for _, celsius, _ in steps])
    hot = cold + [more for _, _, more in steps]
    low, high = (heat_work_minutes(Curve(minutes, celsius)) for celsius in (cold, hot))
    assert (low <= high * (1 + 1e-9)).all()


@given(st.floats(20, 700), st.floats(701, 1300), st.floats(0.01, 0.99))
def test_a_vertex_on_a_straight_line_changes_nothing(cold, hot, share):
    whole = heat_work_minutes(curve((0, cold), (60, hot)))
    cut = heat_work_minutes(curve((0, cold), (60 * share, cold + share * (hot - cold)), (60, hot)))
    np.testing.assert_allclose(cut, whole, rtol=1e-9)
