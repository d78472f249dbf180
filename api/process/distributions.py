# SPDX-License-Identifier: MIT
"""The quantiles that tests of a mass balance and intervals of a mean are taken from.

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


def student_probability(value: float, degrees: int) -> float:
    """Return the probability that Student's t lies within a distance of 0.

    Args:
        value: The distance, at least 0 [-].
        degrees: Degrees of freedom, at least 1 [-].

    Returns:
        P(|t| < value) [-].

    Raises:
        ProcessError: The distance is below 0 or not a number, or there are no degrees.

    Source:
        Abramowitz and Stegun 1964, 26.7.3 and 26.7.4 (from memory); agrees with SciPy (tested).

    Example:
        >>> student_probability(12.706, 1)
        0.9500
    """
    if degrees < 1 or not value >= 0.0:
        raise ProcessError(
            f"Student's t of {value:g} with {degrees} degrees of freedom makes no sense.",
            where="interval of a mean",
            do="Give a value of at least 0 and at least 1 degree.",
        )
    angle = math.atan2(value, math.sqrt(degrees))
    sine, cosine = math.sin(angle), math.cos(angle)
    odd = degrees % 2 == 1
    term = cosine if odd else 1.0
    total = 0.0
    for step in range(3 if odd else 2, degrees + 1, 2):
        total += term
        term *= cosine * cosine * (step - 1) / step
    if odd:
        return 2.0 / math.pi * (angle + sine * total)
    return sine * total


def student_quantile(probability: float, degrees: int) -> float:
    """Return the distance from 0 within which Student's t lies with this probability.

    Args:
        probability: Between 0 and 1, both excluded [-].
        degrees: Degrees of freedom, at least 1 [-].

    Returns:
        The two-sided factor, 2.228 for 0.95 and 10 degrees [-].

    Raises:
        ProcessError: The probability lies outside 0 … 1, or there are no degrees.

    Source:
        Definition; `student_probability` halved until the last digit.

    Example:
        >>> [round(student_quantile(0.95, n), 2) for n in (1, 5, 10, 30)]
        [12.71, 2.57, 2.23, 2.04]
    """
    _check_probability(probability)
    low, high = 0.0, 1.0
    while student_probability(high, degrees) < probability:
        low, high = high, 2.0 * high
    while True:
        middle = 0.5 * (low + high)
        if not low < middle < high:
            return middle
        if student_probability(middle, degrees) < probability:
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
