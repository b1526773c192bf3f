"""Control charts against published examples, and constants against the tables.

Both examples are those of the NIST/SEMATECH e-Handbook of Statistical Methods. Its pages could not be opened:
data and figures are as public tests that cite them have them (the data, means and limits of 6.3.2.4 one, the
means and limits of 6.3.2.2 another), and agree with memory.
"""

import pytest

from sagglab.setups.control import D2, D3, Level, Widths, exponentially_weighted, individuals

#: 6.3.2.2, flow rates of ten batches.
FLOW_RATES = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
#: 6.3.2.4, twenty values of a process with mean 50 and standard deviation 2.0539.
VALUES = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, *FLOW_RATES]
#: The same: their exponentially weighted means, λ = 0.3, to two decimals.
WEIGHTED = [
    50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
    50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
]  # fmt: skip


def test_constants_of_the_tables():
    """d₂, d₃, 3 / d₂ and D₄ for two values, as in the tables of ISO 7870-2 (from memory)."""
    assert round(D2, 3) == 1.128
    assert round(D3, 3) == 0.853
    assert round(3 / D2, 2) == 2.66
    assert round(1 + 3 * D3 / D2, 3) == 3.267


def test_individuals_and_moving_ranges():
    """NIST/SEMATECH e-Handbook, 6.3.2.2: mean 50.81, mean moving range 1.8778, limits 55.8041 and 45.8159."""
    chart = individuals(FLOW_RATES)
    row = chart.table.iloc[0]
    assert row["centre"] == pytest.approx(50.81, abs=5e-5)
    assert row["moving range centre"] == pytest.approx(1.8778, abs=5e-5)
    # The handbook divides by 1.128; unrounded, its d₂ gives limits 0.0017 nearer to the mean.
    handbook = 1.128 / D2
    assert row["upper limit"] - 50.81 == pytest.approx((55.8041 - 50.81) * handbook, abs=1e-4)
    assert 50.81 - row["lower limit"] == pytest.approx((50.81 - 45.8159) * handbook, abs=1e-4)
    assert chart.table["out"].eq("").all()  # "the process is in control"


def test_exponentially_weighted_mean():
    """NIST/SEMATECH e-Handbook, 6.3.2.4: limits 52.5884 and, cut off, 47.4115; none of the means is out."""
    chart = exponentially_weighted(VALUES, Level(50.0, 2.0539), Widths(), weight=0.3)
    assert chart.table["weighted"].round(2).tolist() == WEIGHTED
    last = chart.table.iloc[-1]
    # The handbook has the limits of many values; after twenty the share of them reached is this.
    reached = (1 - 0.7**40) ** 0.5
    assert last["weighted upper"] == pytest.approx(50 + 2.5884 * reached, abs=1e-4)
    assert last["weighted lower"] == pytest.approx(50 - 2.5885 * reached, abs=1e-4)
    assert chart.table["out"].eq("").all()
