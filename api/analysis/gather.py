# SPDX-License-Identifier: MIT
"""The readings that belong to a place of a batch, as one curve.

A calculation uses only readings that are bound to its place. A binding ends where it was said to,
at ladling or the end for the batch's own thermometer and scale, or when another open batch binds
the series.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from api.corrections import Corrections
from api.kitchen import Kitchen
from api.process.curves import Curve
from api.process.quantities import NotShown
from api.reading_curves import curve_of, mended_times
from api.records.batches import Batch, Binding
from api.times import format_ms
from collector.store.protocol import ClockStep, Stretch

# The batch's own thermometer is often reading before the batch is made: its readings count back
# to the last silence, but no further than this.
REACH_BACK_MS = 3_600_000
SILENCE_MS = 600_000
OPEN_END_MS = 2**62


@dataclass(frozen=True, slots=True)
class PlacedCurve:
    """The usable readings at one place of a batch.

    Attributes:
        curve: Calibrated [degC or kg].
        series: The series that it came from.
        sources: Series and corrections, for the origin of results.
        unmended: Times of clock steps that could not be mended [s since 1970 UTC].
    """

    curve: Curve
    series: str
    sources: tuple[str, ...]
    unmended: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Gatherer:
    """What is needed to gather the readings of any batch, read once."""

    kitchen: Kitchen
    corrections: Corrections
    steps: Sequence[ClockStep]

    @classmethod
    def of(cls, kitchen: Kitchen) -> Gatherer:
        """Return a gatherer over what is recorded now."""
        return cls(kitchen, Corrections(kitchen.journal), kitchen.readings.clock_steps())

    def curve(
        self, batch: Batch, place: str, *, until_ms: int | None = None
    ) -> PlacedCurve | NotShown:
        """Return the readings at a place of a batch, from the series that has most of them.

        Args:
            batch: The batch.
            place: "milk", "block_core" …
            until_ms: Only readings before this time [ms since 1970 UTC].

        Returns:
            The curve, or why there is none.
        """
        found = self.curves(batch, place, until_ms=until_ms)
        if isinstance(found, NotShown):
            return found
        return max(found, key=lambda one: len(one.curve))

    def curves(
        self, batch: Batch, place: str, *, until_ms: int | None = None
    ) -> list[PlacedCurve] | NotShown:
        """Return the readings at a place, a curve for each series that gave some.

        Args:
            batch: The batch.
            place: "milk", "block_core" …
            until_ms: Only readings before this time [ms since 1970 UTC].

        Returns:
            At least one curve, or why there is none.
        """
        bound = [b for b in batch.bindings if b.place == place]
        if not bound:
            what = "scale" if place.startswith("under") else "probe"
            return NotShown(f"no {what} is bound to {place.replace('_', ' ')}")
        every = [self._bound(batch, binding, until_ms) for binding in bound]
        usable = [one for one in every if len(one.curve)]
        if not usable:
            return NotShown(f"series {every[-1].series} gave no usable reading in this batch")
        return usable

    def window(self, batch: Batch, binding: Binding) -> tuple[int, int]:
        """Return from when to when a binding holds [ms since 1970 UTC], the end not included."""
        from_ms = binding.from_ms
        to_ms = binding.to_ms if binding.to_ms is not None else OPEN_END_MS
        if from_ms is None:
            from_ms = batch.started_ms - REACH_BACK_MS
        for other, other_binding in self._others(batch, binding.series):
            other_from = other_binding.from_ms or other.started_ms
            other_to = other_binding.to_ms or other.ended_ms
            if other_from > batch.started_ms:
                to_ms = min(to_ms, other_from)
            elif other_to is not None and binding.from_ms is None:
                from_ms = max(from_ms, min(other_to, batch.started_ms))
        return from_ms, max(from_ms, to_ms)

    def mended_digest(self, series: str, from_ms: int, to_ms: int) -> str:
        """Return the SHA-256 of the times of a series as mended, "" while no clock was set.

        Args:
            series: Its name.
            from_ms: [ms since 1970 UTC]
            to_ms: [ms since 1970 UTC], not included.
        """
        if all(step.step_ms == 0 for step in self.steps):
            return ""
        times = mended_times(self.kitchen.readings.stretch(series, from_ms, to_ms), self.steps)
        return hashlib.sha256(times.astype("<i8").tobytes()).hexdigest()

    def _others(self, batch: Batch, series: str) -> list[tuple[Batch, Binding]]:
        return [
            (other, binding)
            for other in self.kitchen.journal.batches(limit=100)
            if other.id != batch.id
            for binding in other.bindings
            if binding.series == series
        ]

    def _bound(self, batch: Batch, binding: Binding, until_ms: int | None) -> PlacedCurve:
        from_ms, to_ms = self.window(batch, binding)
        if until_ms is not None:
            to_ms = min(to_ms, until_ms)
        moved_ms = max((abs(step.step_ms) for step in self.steps), default=0)
        stretch = self.kitchen.readings.stretch(
            binding.series, from_ms - moved_ms, min(to_ms + moved_ms, OPEN_END_MS)
        )
        curve, correction = curve_of(stretch, self.corrections, steps=self.steps)
        curve = curve.between(from_ms / 1000.0, to_ms / 1000.0)
        if binding.from_ms is None:
            curve = since_silence(curve, batch.started_ms / 1000.0)
        return PlacedCurve(
            curve,
            binding.series,
            (f"series {binding.series}", *correction.sources),
            _unmended(stretch, self.steps),
        )


def since_silence(curve: Curve, start_s: float) -> Curve:
    """Leave out what lies before the last long silence that ended before the batch began."""
    breaks = np.flatnonzero(np.diff(curve.time_s) * 1000.0 >= SILENCE_MS) + 1
    before = [int(i) for i in breaks if curve.time_s[i] <= start_s]
    return curve.between(float(curve.time_s[before[-1]]), float("inf")) if before else curve


def _unmended(stretch: Stretch, steps: Sequence[ClockStep]) -> tuple[float, ...]:
    """Return the clock steps after which the mended times of a stretch still don't increase."""
    moved = [step for step in steps if step.step_ms != 0]
    if not moved or not stretch.from_arrival.any():
        return ()
    times = mended_times(stretch, steps)
    if np.all(np.diff(times) > 0):
        return ()
    return tuple(step.at_ms / 1000.0 for step in moved)


def said_time(time_s: float) -> str:
    """Return a time [s since 1970 UTC] as RFC 3339, for evidence."""
    return format_ms(time_s * 1000.0)
