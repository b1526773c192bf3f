"""Tolerance classes of sensors: how they are written, and what is refused."""

import numpy as np
import pytest

from sagglab.errors import SagglabError, UnknownNameError
from sagglab.firing.sensor import tolerance_C


@pytest.mark.parametrize(
    "written", [2, "2", " 2 ", "2.0", 2.0, "class 2", "Class 2", "K 2", "K2", "k class 2"]
)
def test_one_class_is_written_many_ways(written):
    assert tolerance_C(750, written) == 5.625


@pytest.mark.parametrize(
    "written", ["type K, class 2", "type n class 2", "N 2", "Type K 2", "K, 2", np.int64(2), "n2"]
)
def test_the_type_may_stand_in_front(written):
    assert tolerance_C(750, written) == 5.625


@pytest.mark.parametrize("written", ["Standard", "K standard", "N Standard", "class standard"])
def test_named_classes(written):
    assert tolerance_C(100, written) == 2.2


def test_noble_types_have_their_own_limits():
    assert tolerance_C(1000, "S 2") == tolerance_C(1000, "R 2") == 2.5 < tolerance_C(1000, "2")


@pytest.mark.parametrize(
    "written", ["", "3", "J 1", "12", "1 2", "K", "S", "type K", "good", "-1", "22", "K 2 1", "2.5", None]
)
def test_an_unknown_class_is_refused_with_the_choices(written):
    with pytest.raises(UnknownNameError) as caught:
        tolerance_C(750, written)
    assert isinstance(caught.value, SagglabError)
    assert str(caught.value) == (
        f"sensor class '{written}': it is unknown. Give one of 1, 2, special, standard, with the type "
        "K, N, R or S in front where it is known, as in 'K 2'."
    )


def test_the_limits_hold_to_either_side_of_zero_and_for_arrays():
    np.testing.assert_allclose(tolerance_C([[-400.0, 0.0], [400.0, 800.0]], 1), [[1.6, 1.5], [1.6, 3.2]])


@pytest.mark.parametrize(
    "sensor_class", ["1", "2", "special", "standard", "S 1", "S 2", "R special", "R standard"]
)
def test_the_limits_never_shrink_as_it_gets_hotter(sensor_class):
    # The bounds' curves stay in order, and a chord of the tolerance lies above it.
    limits = tolerance_C(np.linspace(0, 1400, 1401), sensor_class)
    assert (np.diff(limits) >= 0).all()
    assert (np.diff(limits, n=2) >= -1e-12).all()
