# SPDX-License-Identifier: MIT
"""Two ways of working against each other, with enough batches of each: the effect, its interval.

Intervals in place of stars: how large the effect is and how well it is known. Pure: imports only
the ground and what is pure.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from api.process.distributions import normal_quantile, student_quantile
from api.process.quantities import NotShown, Quantity, Result
from collector.errors import ProcessError

FEWEST = 3
CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class Effect:
    """How much the second way differs from the first.

    Attributes:
        first: Mean of the first [unit], or why it isn't shown.
        second: Mean of the second [unit], likewise.
        difference: The second less the first [unit], likewise.
        interval: Within which it lies with 95 % confidence [unit]; None without one.
        standardised: The difference by the spread of batches [-], likewise.
        standardised_interval: Likewise [-]; None without one.
        counts: How many batches of each.
    """

    first: Result
    second: Result
    difference: Result
    interval: tuple[float, float] | None
    standardised: Result
    standardised_interval: tuple[float, float] | None
    counts: tuple[int, int]


def effect_of(first: Sequence[float], second: Sequence[float], unit: str) -> Effect:
    """Return the effect of a second way of working, with its interval.

    The spread between batches says how well it is known, not the uncertainty of each batch's own
    figure. The two ways may scatter differently.

    Args:
        first: One figure for each batch of the first way [unit].
        second: Likewise for the second [unit].
        unit: Their unit.

    Returns:
        Means, difference and standardised effect [unit, -], each or why it isn't shown.

    Raises:
        ProcessError: A figure is not a finite number.

    Source:
        Welch 1947, degrees of freedom rounded down (JCGM 100:2008, G.4, from memory); Hedges
        1981, g with its small-sample factor, and the large-sample variance of Hedges and Olkin
        1985 (from memory).

    Example:
        >>> found = effect_of([2.20, 2.25, 2.18], [2.42, 2.36, 2.45], "kg/kg")
        >>> round(found.difference.value, 3), tuple(round(x, 2) for x in found.interval)
        (0.2, (0.09, 0.31))
    """
    for value in (*first, *second):
        if not math.isfinite(value):
            raise ProcessError(
                f"{value} {unit} is not a figure to average.",
                where="effect",
                do="Leave out batches that have no figure.",
            )
    counts = (len(first), len(second))
    if min(counts) < FEWEST:
        why = NotShown(
            f"{counts[0]} and {counts[1]} batches are too few: {FEWEST} of each way are needed."
        )
        return Effect(why, why, why, None, why, None, counts)
    means = [math.fsum(values) / len(values) for values in (first, second)]
    variances = [
        math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1)
        for values, mean in zip((first, second), means, strict=True)
    ]
    shares = [variance / n for variance, n in zip(variances, counts, strict=True)]
    quantities = [
        Quantity(mean, unit, math.sqrt(share), f"mean of {n} batches")
        for mean, share, n in zip(means, shares, counts, strict=True)
    ]
    u = math.sqrt(sum(shares))
    value = means[1] - means[0]
    degrees = _degrees(shares, counts)
    half = student_quantile(CONFIDENCE, degrees) * u
    method = f"second less first, Welch, {degrees} degrees of freedom"
    size, interval = _standardised(value, variances, counts)
    return Effect(
        first=quantities[0],
        second=quantities[1],
        difference=Quantity(value, "K" if unit == "degC" else unit, u, method),
        interval=(value - half, value + half),
        standardised=size,
        standardised_interval=interval,
        counts=counts,
    )


def _degrees(shares: Sequence[float], counts: tuple[int, int]) -> int:
    total = sum(shares)
    if total == 0.0:
        return sum(counts) - 2
    below = sum(share**2 / (n - 1) for share, n in zip(shares, counts, strict=True))
    return max(int(total**2 / below + 1e-9), 1)


def _standardised(
    value: float, variances: Sequence[float], counts: tuple[int, int]
) -> tuple[Result, tuple[float, float] | None]:
    degrees = sum(counts) - 2
    pooled = sum(v * (n - 1) for v, n in zip(variances, counts, strict=True)) / degrees
    if pooled == 0.0:
        return NotShown("No batch differs from another of its way: there is no spread."), None
    small_sample = 1.0 - 3.0 / (4.0 * degrees - 1.0)
    g = small_sample * value / math.sqrt(pooled)
    u = math.sqrt(sum(counts) / (counts[0] * counts[1]) + g * g / (2.0 * sum(counts)))
    half = normal_quantile(0.5 + CONFIDENCE / 2.0) * u
    found = Quantity(g, "-", u, "difference over the pooled spread between batches")
    return found, (g - half, g + half)
