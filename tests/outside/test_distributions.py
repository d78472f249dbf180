# SPDX-License-Identifier: MIT
"""Quantiles against a second library and the printed tables."""

from __future__ import annotations

import pytest
from scipy import stats

from api.process.distributions import chi_square_quantile, chi_square_survival, normal_quantile


@pytest.mark.parametrize("degrees", [1, 2, 3, 4, 5, 6, 7, 10, 15, 40])
@pytest.mark.parametrize("probability", [0.01, 0.5, 0.9, 0.95, 0.99, 0.9999])
def test_chi_square_agrees_with_scipy(degrees: int, probability: float) -> None:
    expected = stats.chi2.ppf(probability, degrees)  # SciPy, computed

    assert chi_square_quantile(probability, degrees) == pytest.approx(expected, rel=1e-9)
    assert chi_square_survival(expected, degrees) == pytest.approx(1 - probability, rel=1e-9)


@pytest.mark.parametrize("statistic", [0.0, 1e-12, 0.3, 4.0, 61.3, 300.0])
@pytest.mark.parametrize("degrees", [1, 2, 5, 8])
def test_the_tail_of_chi_square_agrees_with_scipy(statistic: float, degrees: int) -> None:
    expected = stats.chi2.sf(statistic, degrees)  # SciPy, computed

    assert chi_square_survival(statistic, degrees) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("probability", [1e-9, 0.01, 0.3, 0.5, 0.975, 0.99573, 1 - 1e-9])
def test_the_normal_quantile_agrees_with_scipy(probability: float) -> None:
    expected = stats.norm.ppf(probability)  # SciPy, computed

    assert normal_quantile(probability) == pytest.approx(expected, rel=1e-9, abs=1e-12)


def test_upper_five_per_cent_points_are_those_of_the_tables() -> None:
    # 95 % points of chi-square as every printed table has them, three decimals; from memory,
    # the same by SciPy.
    printed = {1: 3.841, 2: 5.991, 3: 7.815, 4: 9.488, 5: 11.070, 6: 12.592}

    for degrees, value in printed.items():
        assert chi_square_quantile(0.95, degrees) == pytest.approx(value, abs=0.0005)
