# SPDX-License-Identifier: MIT
"""The band in which several batches ran: lowest, middle and highest at each point of an axis.

For pictures and comparison, not for a verdict. Pure: numpy and what is pure only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from api.process.alignment import Aligned
from api.process.curves import Floats
from api.process.quantities import NotShown

FEWEST = 2
POINTS = 240
_GAP_INTERVALS = 3.0
_GAP_AT_LEAST_S = 30.0


@dataclass(frozen=True, slots=True)
class BatchBand:
    """Where the curves of several batches lay.

    Attributes:
        x: Points of the common axis [x_unit], shape (n,), rising.
        low: Lowest of the curves there [degC], shape (n,).
        middle: Their median [degC], shape (n,).
        high: Highest [degC], shape (n,).
        batches: How many curves had a value there [-], shape (n,).
        x_unit: "s" or "s/kg".
        of: How many curves there are in all [-].
    """

    x: Floats
    low: Floats
    middle: Floats
    high: Floats
    batches: Floats
    x_unit: str
    of: int


def batch_band(curves: Sequence[Aligned]) -> BatchBand | NotShown:
    """Return the lowest, the median and the highest of several curves, point by point.

    A point counts where at least two of the curves, and at least half of them, have a value; a
    stretch without readings gives none. Lowest and highest are taken as they are: with the few
    batches of a kitchen a quantile would be an invention.

    Args:
        curves: On one common axis [degC].

    Returns:
        The band [degC], or why there is none.

    Source:
        Definition.

    Example:
        >>> x = np.array([0.0, 10.0, 20.0])
        >>> pair = [Aligned(x, x + lift, "s", 0.0) for lift in (20.0, 24.0)]
        >>> band = batch_band(pair)
        >>> float(band.low[0]), float(band.high[0]), band.of
        (20.0, 24.0, 2)
    """
    usable = [one for one in curves if one.x.size > 1]
    if len(usable) < FEWEST:
        return NotShown(f"{len(usable)} curve is too few for a band: {FEWEST} are needed.")
    x = np.linspace(
        min(float(one.x[0]) for one in usable), max(float(one.x[-1]) for one in usable), POINTS
    )
    values = np.array([_along(one, x) for one in usable])
    counts = np.sum(np.isfinite(values), axis=0)
    kept = counts >= max(FEWEST, (len(usable) + 1) // 2)
    if not kept.any():
        return NotShown("The curves share no stretch of the axis.")
    values = values[:, kept]
    return BatchBand(
        x=x[kept],
        low=np.nanmin(values, axis=0),
        middle=np.nanmedian(values, axis=0),
        high=np.nanmax(values, axis=0),
        batches=counts[kept].astype(np.float64),
        x_unit=usable[0].x_unit,
        of=len(usable),
    )


def _along(one: Aligned, x: Floats) -> Floats:
    """Return a curve at other points, NaN outside of it and in its gaps."""
    found = np.interp(x, one.x, one.value, left=np.nan, right=np.nan)
    distances = np.diff(one.x)
    longest = _GAP_INTERVALS * float(np.median(distances))
    if one.x_unit == "s":
        longest = max(longest, _GAP_AT_LEAST_S)
    after = np.clip(np.searchsorted(one.x, x, side="left"), 1, one.x.size - 1)
    exact = one.x[after] == x
    found[(distances[after - 1] > longest) & ~exact] = np.nan
    return found
