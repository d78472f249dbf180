# SPDX-License-Identifier: MIT
"""The corrected temperatures of one series over a span, as the watch judges them live.

Reads the store; knows nothing of batches. Calibrated, with the probe's lag undone from earlier
readings only where a dip check gave its time constant; where too few readings lie behind a point
the calibrated value stands, which a slow probe only tells later.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from api.corrections import Corrections
from api.process.curves import Curve, Floats
from api.process.lag import FEWEST_POINTS, LONGEST_WINDOW_S, unlagged_live
from api.reading_curves import curve_of, mended_times
from collector.readings import Reading
from collector.store.protocol import ClockStep, ReadingStore
from collector.units import kind_of

# What lies behind the newest reading: the window of its correction and a few readings more.
_SHORTEST_WINDOW_S = 10.0
_MORE_READINGS = FEWEST_POINTS + 4


@dataclass(frozen=True, slots=True)
class Recent:
    """Corrected temperatures, oldest first.

    Attributes:
        time_s: [s since 1970 UTC], shape (n,).
        value_degc: [degC], shape (n,).
        arrived_s: When each arrived [s since 1970 UTC], shape (n,).
        is_news: True where the reading has only just arrived, shape (n,).
        reach_s: How far back readings are needed to correct a later one [s].
        sources: The series and the corrections used.
    """

    time_s: Floats
    value_degc: Floats
    arrived_s: Floats
    is_news: NDArray[np.bool_]
    reach_s: float
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Reader:
    """Reads corrected temperatures out of the store.

    Attributes:
        store: The readings.
        corrections: Of all instruments.
        steps: Clock steps, to mend arrival times by.
    """

    store: ReadingStore
    corrections: Corrections
    steps: Sequence[ClockStep]

    def read(
        self, series: str, window_ms: tuple[int, int], news: Sequence[Reading], from_s: float | None
    ) -> Recent | None:
        """Return the corrected temperatures of a series.

        Args:
            series: Its name.
            window_ms: From when to when it belongs to the batch [ms since 1970 UTC].
            news: Its readings that have just arrived.
            from_s: Leave out what lies before it; None for the whole window [s since 1970 UTC].

        Returns:
            None if the series measures no temperature.
        """
        moved_ms = max((abs(step.step_ms) for step in self.steps), default=0)
        from_ms, to_ms = window_ms[0] - moved_ms, min(window_ms[1] + moved_ms, 2**62)
        if from_s is not None:
            from_ms = max(from_ms, int(from_s * 1000.0) - moved_ms)
        stretch = self.store.stretch(series, from_ms, to_ms)
        if kind_of(stretch.unit) != "temperature":
            return None
        curve, correction = curve_of(stretch, self.corrections, steps=self.steps)
        curve = curve.between(window_ms[0] / 1000.0, window_ms[1] / 1000.0)
        value = curve.value
        if curve.time_constant_s is not None and len(curve):
            undone = unlagged_live(curve).value
            value = np.where(np.isnan(undone), value, undone)
        times_ms = mended_times(stretch, self.steps)
        order = np.argsort(times_ms, kind="stable")
        wanted_ms = np.rint(curve.time_s * 1000.0).astype(np.int64)
        place = order[np.searchsorted(times_ms, wanted_ms, sorter=order)]
        fresh = np.isin(stretch.time_ms, [reading.time_ms for reading in news])
        return Recent(
            time_s=curve.time_s,
            value_degc=value,
            arrived_s=stretch.arrival_ms[place] / 1000.0,
            is_news=fresh[place],
            reach_s=_reach_s(curve),
            sources=(f"series {series}", *correction.sources),
        )


def _reach_s(curve: Curve) -> float:
    """Return how far back readings are needed to correct the next one of a curve [s]."""
    interval_s = curve.usual_interval_s
    tau_s = curve.time_constant_s
    window_s = 0.0
    if tau_s is not None:
        window_s = min(max(tau_s, _SHORTEST_WINDOW_S), LONGEST_WINDOW_S)
    if np.isnan(interval_s):
        return LONGEST_WINDOW_S
    return window_s + _MORE_READINGS * interval_s
