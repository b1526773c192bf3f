import pytest

from sagglab.model.wording import effect_unit, words_for
from sagglab.pages.numbers import digits_for


@pytest.mark.parametrize(
    ("outcome", "less", "more"),
    [
        ("L*", "2.0 L* darker", "2.0 L* lighter"),
        ("a*", "2.0 a* greener", "2.0 a* redder"),
        ("b*", "2.0 b* bluer", "2.0 b* yellower"),
        ("C*ab", "2.0 C*ab less colourful", "2.0 C*ab more colourful"),
        ("L* median", "2.0 L* darker in the median", "2.0 L* lighter in the median"),
        ("rating", "2.0 lower in rating", "2.0 higher in rating"),
        ("shrinkage [mm]", "2.0 mm lower in shrinkage", "2.0 mm higher in shrinkage"),
        ("hue angle", "2.0 degrees lower in hue angle", "2.0 degrees higher in hue angle"),
        ("L* SD", "2.0 lower in L* SD", "2.0 higher in L* SD"),
    ],
)
def test_words_of_outcomes(outcome, less, more):
    words = words_for(outcome)
    assert (words.said(-2, 1), words.said(2, 1)) == (less, more)


def test_shares_are_said_in_percentage_points():
    assert words_for("dark share").said(0.06, 1) == "6.0 percentage points larger in dark share"
    assert words_for("dark share [%]").said(6.0, 1) == "6.0 percentage points larger in dark share"


def test_units_of_effects():
    assert effect_unit("L* median", "g") == "L* per g"
    assert effect_unit("rating", "") == "rating"
    assert effect_unit("shrinkage [mm]", "degC") == "mm per degC"
    assert effect_unit("dark share", "min") == "share per min"


def test_digits_follow_the_uncertainty():
    assert [digits_for(width) for width in (0.0123, 0.996, 1.0, 9.96, 42, 123)] == [3, 1, 1, 0, 0, -1]
    assert digits_for(float("nan")) == 2
    assert words_for("L*").said(1234, digits_for(123)) == "1230 L* lighter"
