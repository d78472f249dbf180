# SPDX-License-Identifier: MIT
"""One open batch with its milk, on its way along all its limits.

Reads the store through the reader of corrected temperatures; writes nothing.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

from api.records.batches import Batch
from api.watch.batch_watch import Placed
from api.watch.limit_follower import Change, MilkLine
from api.watch.limit_rules import limits_of, step_of
from api.watch.limits import Around, Limit
from api.watch.recent import Reader


@dataclass(slots=True)
class BatchAlarms:
    """One open batch.

    Attributes:
        batch: As it stands.
        limits: Those on its milk, by key.
        sources: The series and corrections that its milk was last read from.
    """

    batch: Batch
    limits: dict[str, Limit] = field(default_factory=dict)
    sources: tuple[str, ...] = ()
    _line: MilkLine = field(default_factory=MilkLine)
    _placed: Placed | None = None
    _resume_s: float | None = None

    @property
    def series(self) -> str | None:
        """The series that reads its milk now, None without one."""
        return self._placed.series if self._placed else None

    @property
    def step(self) -> str:
        """The step that was marked last, in words."""
        step = step_of(self.batch)
        return f"the step is {step[0]}" if step else "no step is marked"

    def refresh(
        self,
        batch: Batch,
        placed: Collection[Placed],
        around: Around,
        recorded: Mapping[str, tuple[bool, float]],
    ) -> None:
        """Take what has changed in the records.

        Args:
            batch: As it stands now.
            placed: The series at its milk.
            around: What else its limits depend on.
            recorded: Its alarms, as `MilkLine.renew` takes them.

        Raises:
            CurdwrightError: Its recipe can't be understood.
        """
        limits = {limit.key: limit for limit in limits_of(batch, around)}
        now_placed = max(placed, key=lambda one: one.window_ms, default=None)
        self.batch, self.limits = batch, limits
        if now_placed != self._placed:
            self._placed, self._line, self._resume_s = now_placed, MilkLine(), None
            self._line.renew(limits.values(), recorded)
            return
        again_s = self._line.renew(limits.values(), recorded)
        if again_s is not None:
            self._line.restart()
            if self._resume_s is not None:
                self._resume_s = min(self._resume_s, again_s)

    def follow(self, reader: Reader) -> list[Change]:
        """Return what the readings since the last look change.

        Args:
            reader: With the corrections as they stand now.
        """
        if self._placed is None:
            return []
        recent = reader.read(self._placed.series, self._placed.window_ms, (), self._resume_s)
        if recent is None or not len(recent.time_s):
            return []
        self.sources = recent.sources
        found: list[Change] = []
        for time_s, value in zip(recent.time_s.tolist(), recent.value_degc.tolist(), strict=True):
            found += self._line.step(time_s, value)
        self._resume_s = float(recent.time_s[-1]) - recent.reach_s
        return found
