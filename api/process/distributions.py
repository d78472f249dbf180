# SPDX-License-Identifier: MIT
"""The quantiles that the tests of a mass balance are compared with.

Pure: the standard library only. Closed forms exist because degrees of freedom are whole numbers.
"""

from __future__ import annotations

import math
from statistics import NormalDist

from collector.errors import ProcessError

_STANDARD = NormalDist()


def normal_quantile(probability: float) -> float:
    """Return the value that a standard normal variable stays below with this probability.

    Args:
        probability: Between 0 and 1, both excluded [-].

    Returns:
        The quantile [-].

    Raises:
        ProcessError: The probability lies outside 0 … 1.

    Source:
        Wichura 1988, algorithm AS 241, in the standard library; good to 16 digits.

    Example:
        >>> normal_quantile(0.975)
        1.959964
    """
    _check_probability(probability)
    return _STANDARD.inv_cdf(probability)


def chi_square_survival(statistic: float, degrees: int) -> float:
    """Return the probability that chi-square exceeds a value.

    Even degrees give a finite sum of a Poisson distribution, odd ones the same with half steps
    and the complementary error function to begin with.

    Args:
        statistic: The value, at least 0 [-].
        degrees: Degrees of freedom, at least 1 [-].

    Returns:
        Probability of a larger value by chance alone [-].

    Raises:
        ProcessError: The value is negative or not a number, or there are no degrees.

    Source:
        Abramowitz and Stegun 1964, 26.4.4 and 26.4.5 (from memory); agrees with SciPy (tested).

    Example:
        >>> chi_square_survival(3.841459, 1)
        0.0500000
    """
    if degrees < 1 or not statistic >= 0.0:
        raise ProcessError(
            f"Chi-square of {statistic:g} with {degrees} degrees of freedom makes no sense.",
            where="global test",
            do="Give a value of at least 0 and at least 1 degree.",
        )
    half = statistic / 2.0
    if math.isinf(half):
        return 0.0
    if degrees % 2 == 0:
        total, term, step = 0.0, math.exp(-half), 0.0
    else:
        total, step = math.erfc(math.sqrt(half)), 0.5
        term = math.exp(-half) * math.sqrt(half) * 2.0 / math.sqrt(math.pi)
    for _ in range(degrees // 2):
        total += term
        step += 1.0
        term *= half / step
    return min(total, 1.0)


def chi_square_quantile(probability: float, degrees: int) -> float:
    """Return the value that chi-square stays below with this probability.

    Args:
        probability: Between 0 and 1, both excluded [-].
        degrees: Degrees of freedom, at least 1 [-].

    Returns:
        The quantile [-].

    Raises:
        ProcessError: The probability lies outside 0 … 1, or there are no degrees.

    Source:
        Definition; the survival function halved until the last digit.

    Example:
        >>> [round(chi_square_quantile(0.95, m), 3) for m in (1, 2, 3, 4)]
        [3.841, 5.991, 7.815, 9.488]
    """
    _check_probability(probability)
    beyond = 1.0 - probability
    low, high = 0.0, float(max(degrees, 1))
    while chi_square_survival(high, degrees) > beyond:
        low, high = high, 2.0 * high
    while True:
        middle = 0.5 * (low + high)
        if not low < middle < high:
            return middle
        if chi_square_survival(middle, degrees) > beyond:
            low = middle
        else:
            high = middle


def _check_probability(probability: float) -> None:
    if not 0.0 < probability < 1.0:
        raise ProcessError(
            f"A probability of {probability:g} has no quantile.",
            where="statistical test",
            do="Give a number between 0 and 1, both excluded.",
        )
