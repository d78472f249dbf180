# SPDX-License-Identifier: MIT
"""What a seal holds of a batch's readings, and whether they are still what was sealed.

A reading is sealed as it was first said: another value that comes later for its time makes it
suspect and stands in the table of conflicts, and so changes no seal. Imports the store's shapes
and the ground; reads the store.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol

from api.times import format_ms
from collector.readings import Quality, Reading, TimeSource
from collector.store.protocol import ClockStep
from collector.store.writing import CONFLICT


class SealedStore(Protocol):
    """What is asked of the readings file."""

    def said(self, series: str, from_ms: int, to_ms: int) -> list[Reading]:
        """Return the readings of a series with from <= time < to."""
        ...

    def conflicts(self, series: str, from_ms: int, to_ms: int) -> list[Reading]:
        """Return those whose time was taken already, in the order in which they came."""
        ...

    def clock_steps(self) -> list[ClockStep]:
        """Return every clock step, in the order in which they were recorded."""
        ...


@dataclass(frozen=True, slots=True)
class Window:
    """Readings of one series over a span.

    Attributes:
        readings: By time.
        conflicts: Others for a time that was taken, in the order in which they came.
    """

    readings: Sequence[Reading]
    conflicts: Sequence[Reading]

    @classmethod
    def of(cls, store: SealedStore, series: str, from_ms: int, to_ms: int) -> Window:
        """Return the window with from <= time < to [ms since 1970 UTC]."""
        return cls(store.said(series, from_ms, to_ms), store.conflicts(series, from_ms, to_ms))

    def first_to_come(self, count: int, conflicts: int) -> Window:
        """Return what had come when there were so many readings and conflicts."""
        came = sorted(self.readings, key=lambda one: (one.arrival_ms, one.time_ms))[:count]
        return Window(sorted(came, key=lambda one: one.time_ms), self.conflicts[:conflicts])

    def digest(self) -> dict[str, Any]:
        """Return count, first, last and SHA-256 of the readings, and the same of the conflicts.

        Each reading is hashed as the line "time_ms value unit quality source arrival_ms reason":
        the value in the shortest decimal form that gives it back, "-" where there is none; the
        source is who set the time.
        """
        times = [one.time_ms for one in self.readings]
        return {
            "count": len(times),
            "first": format_ms(times[0]) if times else None,
            "last": format_ms(times[-1]) if times else None,
            "sha256": _digest(_line(_as_first_said(one)) for one in self.readings),
            "conflicts": len(self.conflicts),
            "conflicts_sha256": _digest(_line(one) for one in self.conflicts),
        }

    def disagreements(self) -> list[str]:
        """Return where readings and conflicts tell different stories, [] if nowhere."""
        conflicting = {one.time_ms for one in self.conflicts}
        marked = {one.time_ms for one in self.readings if one.reason == CONFLICT}
        good = {one.time_ms for one in self.readings if one.quality is Quality.GOOD}
        alone = len(marked - conflicting)
        unmarked = len(conflicting & good)
        found = []
        if alone:
            found.append(f"{alone} readings are marked as in conflict with none")
        if unmarked:
            found.append(f"{unmarked} readings in conflict with another are marked as good")
        return found


def clock_digest(steps: Sequence[ClockStep]) -> dict[str, Any]:
    """Return count and SHA-256 of the steps of the clock."""
    lines = (f"{step.boot} {step.run} {step.at_ms} {step.step_ms}" for step in steps)
    return {"count": len(steps), "sha256": _digest(lines)}


def _as_first_said(reading: Reading) -> Reading:
    """A good reading is given this one reason when another comes for its time; undo that."""
    if reading.reason != CONFLICT:
        return reading
    return replace(reading, quality=Quality.GOOD, reason="")


def _line(reading: Reading) -> str:
    value, unit = ("-", "-") if reading.value is None else (repr(reading.value), reading.unit)
    source = "instrument" if reading.time_source is TimeSource.INSTRUMENT else "arrival"
    how = f"{reading.quality.word} {source} {reading.arrival_ms} {reading.reason}"
    return f"{reading.time_ms} {value} {unit} {how}"


def _digest(lines: Iterable[str]) -> str:
    digest = hashlib.sha256()
    for line in lines:
        digest.update(f"{line}\n".encode())
    return digest.hexdigest()
