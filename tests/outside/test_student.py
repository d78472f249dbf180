# SPDX-License-Identifier: MIT
"""Student's factor against the GUM's table and a second library."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import t as student

from api.process.distributions import student_probability, student_quantile


@pytest.mark.parametrize(
    ("probability", "degrees", "factor"),
    # JCGM 100:2008, table G.2: from memory.
    [
        (0.95, 1, 12.71), (0.95, 2, 4.30), (0.95, 5, 2.57), (0.95, 10, 2.23), (0.95, 16, 2.12),
        (0.95, 20, 2.09), (0.95, 30, 2.04), (0.95, 100, 1.984), (0.99, 16, 2.92),
        (0.9545, 5, 2.65), (0.9545, 10, 2.28), (0.9545, 20, 2.13), (0.9545, 100, 2.025),
    ],
)  # fmt: skip
def test_factors_are_those_of_the_table(probability: float, degrees: int, factor: float) -> None:
    digits = 0.0005 if factor in (1.984, 2.025) else 0.005

    assert student_quantile(probability, degrees) == pytest.approx(factor, abs=digits)


@given(st.floats(0.0, 60.0), st.integers(1, 300))
def test_probabilities_are_those_of_a_second_library(value: float, degrees: int) -> None:
    expected = 2.0 * student.cdf(value, degrees) - 1.0  # SciPy

    assert student_probability(value, degrees) == pytest.approx(expected, abs=1e-10)
