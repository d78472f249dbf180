# SPDX-License-Identifier: MIT
"""Fewer points for a picture, with the extremes kept. For pictures only: never for a verdict.

Pure: numpy only.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from api.process.curves import Floats
from collector.errors import ProcessError


def thin(time: NDArray[np.int64], value: Floats, points: int) -> NDArray[np.int64]:
    """Return which readings to draw: the lowest and highest of each of points/2 equal spans.

    First and last are always among them. NaN values are passed over: whoever calls adds what must
    be seen in any case.

    Args:
        time: Times in any one unit, not falling [ms], shape (n,).
        value: Values [any], shape (n,).
        points: How many points may be drawn, at least 4 [-].

    Returns:
        Indices into both, rising, at most points + 2 of them [-], shape (m,).

    Raises:
        ProcessError: Fewer than 4 points were asked for, or the shapes differ.

    Source:
        Minimum and maximum of each span of a picture: definition; both keep every extreme that a
        pixel column would show (Jugel et al. 2014, VLDB 7(10), from memory).

    Example:
        >>> thin(np.arange(10), np.array([0, 1, 0, 5, 0, 1, 0, -4, 0, 1.0]), 4).tolist()
        [0, 3, 5, 7, 9]
    """
    if points < 4:
        raise ProcessError(f"{points} points can't show a curve.", do="Ask for at least 4.")
    if time.shape != value.shape or time.ndim != 1:
        raise ProcessError(
            f"Times have shape {time.shape} and values {value.shape}.", do="Give one of each."
        )
    usable = np.flatnonzero(np.isfinite(value))
    if usable.size <= points:
        return usable.astype(np.int64)
    spans = points // 2
    first, last = float(time[usable[0]]), float(time[usable[-1]])
    edges = np.linspace(first, last, spans + 1)[1:-1]
    starts = np.unique(np.concatenate(([0], np.searchsorted(time[usable], edges))))
    starts = starts[starts < usable.size]
    shown = value[usable]
    chosen = [0, usable.size - 1]
    for start, end in zip(starts, [*starts[1:], usable.size], strict=True):
        chosen.append(start + int(np.argmin(shown[start:end])))
        chosen.append(start + int(np.argmax(shown[start:end])))
    return usable[np.unique(chosen)].astype(np.int64)
