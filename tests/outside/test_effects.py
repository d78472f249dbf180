# SPDX-License-Identifier: MIT
"""Effects of a way of working against a second library, a published table, and Monte Carlo."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import ttest_ind

from api.process.effects import effect_of
from api.process.quantities import Quantity

# Student (1908), The probable error of a mean, Biometrika 6:1: hours of sleep gained by ten
# patients with two drugs, as kept in the sample data of R under "sleep" (from memory). The two
# columns taken as independent give difference 1.58, t 1.8608, 17.776 degrees of freedom, interval
# -0.2055 to 3.3655: printed in R's own help of its Welch test (from memory).
DRUG_1 = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0]
DRUG_2 = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]


def test_the_sleep_of_students_patients() -> None:
    found = effect_of(DRUG_1, DRUG_2, "h")

    assert isinstance(found.difference, Quantity)
    assert found.difference.value == pytest.approx(1.58, abs=1e-9)
    assert found.difference.value / found.difference.u == pytest.approx(1.8608, abs=5e-5)
    assert "17 degrees" in found.difference.method
    assert found.interval is not None
    # 17 in place of 17.776 degrees makes the interval 0.4 % wider: t 2.1098 for 2.1028.
    assert found.interval[0] == pytest.approx(-0.2055, abs=0.007)
    assert found.interval[1] == pytest.approx(3.3655, abs=0.007)


def test_the_interval_is_that_of_a_second_library_at_whole_degrees() -> None:
    """Equal spreads and counts give whole degrees of freedom, and the same interval: SciPy."""
    first, second = [1.0, 2.0, 3.0, 4.0], [2.5, 3.5, 4.5, 5.5]
    expected = ttest_ind(second, first, equal_var=False).confidence_interval(0.95)

    found = effect_of(first, second, "kg")

    assert found.interval == pytest.approx((expected.low, expected.high), rel=1e-9)


def test_the_standardised_effect_is_as_worked_by_hand() -> None:
    """Means 2.5 and 4.0, spread sqrt(5/3): d 1.1619, J(6) 1 - 3/23: by hand."""
    found = effect_of([1.0, 2.0, 3.0, 4.0], [2.5, 3.5, 4.5, 5.5], "kg")

    assert isinstance(found.standardised, Quantity)
    assert found.standardised.value == pytest.approx(
        (1 - 3 / 23) * 1.5 / math.sqrt(5 / 3), rel=1e-12
    )


@pytest.mark.parametrize(("counts", "spreads"), [((3, 3), (1.0, 1.0)), ((4, 9), (0.5, 2.0))])
def test_ninety_five_of_a_hundred_intervals_hold_the_truth(
    counts: tuple[int, int], spreads: tuple[float, float]
) -> None:
    """Monte Carlo, 2,000 draws: 95 % within four of their own standard errors, 2 %.

    Fewer would be wrong; a little more is what rounding the degrees of freedom down costs.
    """
    rng = np.random.default_rng(17)
    held = 0
    for _ in range(2000):
        first = rng.normal(0.0, spreads[0], counts[0])
        second = rng.normal(1.0, spreads[1], counts[1])
        interval = effect_of(first.tolist(), second.tolist(), "kg").interval
        assert interval is not None
        held += interval[0] <= 1.0 <= interval[1]

    assert 0.93 <= held / 2000 <= 0.99
