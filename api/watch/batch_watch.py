# SPDX-License-Identifier: MIT
"""Judges one open batch as its readings arrive: targets reached, holds complete.

Holds what was found so far in memory; all of it follows again from the store and the records, so
that a restart changes nothing. Imports the watch's own pure parts and the reader.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from api.holds import holds_of
from api.process.hold_spec import HoldResult, HoldSpec
from api.process.quantities import NotShown
from api.records.batches import Batch
from api.watch.crossing import Crossing, Direction, Pursuit
from api.watch.finding import Finding
from api.watch.holding import HoldWatch
from api.watch.recent import Reader, Recent
from api.watch.targets import Watched, target_cause, watched_targets
from api.watch.wording import Telling, hold_words, target_words
from collector.readings import Reading

OLD_S = 900.0

JudgeHolds = Callable[[Batch, int], Sequence[tuple[HoldSpec, HoldResult | NotShown]]]


@dataclass(frozen=True, slots=True)
class Placed:
    """A series that reads the milk of a batch.

    Attributes:
        binding_id: The record that bound it.
        series: Its name.
        window_ms: From when to when it belongs to the batch [ms since 1970 UTC].
    """

    binding_id: str
    series: str
    window_ms: tuple[int, int]


@dataclass(frozen=True, slots=True)
class _Reached:
    watched: Watched
    crossing: Crossing
    arrived_s: float
    sources: tuple[str, ...]


@dataclass(slots=True)
class _Line:
    """One series on its way to every target of the batch."""

    placed: Placed
    pursuits: list[Pursuit]
    last_s: float | None = None
    reach_s: float = 0.0


@dataclass(slots=True)
class BatchWatch:
    """One open batch.

    Attributes:
        batch: As it stands.
        zone: The kitchen's time zone.
    """

    batch: Batch
    zone: str
    _placed: tuple[Placed, ...] = ()
    _reader: Reader | None = None
    _targets: list[Watched] = field(default_factory=list)
    _holds: list[HoldWatch] = field(default_factory=list)
    _lines: list[_Line] = field(default_factory=list)
    _untold: list[_Reached] = field(default_factory=list)

    @property
    def series(self) -> set[str]:
        """The series that it listens to."""
        return {placed.series for placed in self._placed}

    def refresh(self, batch: Batch, placed: Sequence[Placed], reader: Reader) -> None:
        """Take what has changed in the records.

        Args:
            batch: As it stands now.
            placed: The series at its milk.
            reader: With the corrections as they stand now.

        Raises:
            CurdwrightError: Its recipe can't be understood.
        """
        first = self._reader is None
        if first:
            self._targets = watched_targets(batch)
            self._holds = [HoldWatch(n, spec) for n, spec in enumerate(holds_of(batch.recipe))]
        elif batch.events != self.batch.events or batch.bindings != self.batch.bindings:
            for hold in self._holds:
                hold.reopen()
        if self._reader is not reader or tuple(placed) != self._placed:
            self._lines = [_Line(one, self._pursuits()) for one in placed]
        self.batch, self._placed, self._reader = batch, tuple(placed), reader

    def judge(
        self, news: Mapping[str, Sequence[Reading]], now_s: float, judge_holds: JudgeHolds
    ) -> list[Finding]:
        """Return what the readings that have just arrived show for the first time.

        Args:
            news: The readings of each series that have just arrived.
            now_s: The wall clock [s since 1970 UTC].
            judge_holds: Judges the holds of a batch on its readings up to a time [ms since 1970
                UTC], that time included.
        """
        seen = [
            (line, recent)
            for line in self._lines
            if line.placed.series in news
            and (recent := self._read(line, news[line.placed.series])) is not None
        ]
        if not seen:
            return []
        last_s = max(float(recent.time_s[recent.is_news].max()) for _, recent in seen)
        self._judge_holds(last_s, judge_holds)
        for line, recent in seen:
            self._untold += self._follow(line, recent)
        telling = Telling(str(self.batch.body.get("pot") or self.batch.name), now_s, self.zone)
        return [*self._complete(seen[0][1], telling), *self._told(last_s, telling)]

    def _pursuits(self) -> list[Pursuit]:
        return [Pursuit(w.target.value_degc, w.target.approach) for w in self._targets]

    def _read(self, line: _Line, news: Sequence[Reading]) -> Recent | None:
        """Read what is new of a line; from the start if it isn't all later than what was seen."""
        assert self._reader is not None
        placed = line.placed
        if line.last_s is not None and min(r.time_ms for r in news) / 1000.0 > line.last_s:
            from_s = line.last_s - line.reach_s
            recent = self._reader.read(placed.series, placed.window_ms, news, from_s)
            if recent is None or not recent.is_news.any():
                return None
            if float(recent.time_s[recent.is_news].min()) > line.last_s:
                line.reach_s = recent.reach_s
                return recent
        recent = self._reader.read(placed.series, placed.window_ms, news, None)
        if recent is None or not recent.is_news.any():
            return None
        line.last_s, line.pursuits = None, self._pursuits()
        line.reach_s = recent.reach_s
        for hold in self._holds:
            hold.reopen()
        return recent

    def _judge_holds(self, last_s: float, judge_holds: JudgeHolds) -> None:
        if not any(hold.due(last_s) for hold in self._holds):
            return
        judged = judge_holds(self.batch, round(last_s * 1000.0))
        for hold, (_, result) in zip(self._holds, judged, strict=True):
            if hold.due(last_s):
                hold.take(result, last_s)

    def _follow(self, line: _Line, recent: Recent) -> list[_Reached]:
        start = 0
        if line.last_s is not None:
            start = int((recent.time_s <= line.last_s).sum())
        times, values = recent.time_s.tolist(), recent.value_degc.tolist()
        news = recent.is_news.tolist()
        begun_s = self.batch.said_start_ms / 1000.0
        found: list[_Reached] = []
        for watched, pursuit in zip(self._targets, line.pursuits, strict=True):
            armed_s = self._reached_s(watched.target.after)
            for i in range(start, len(times)):
                fresh = news[i] or (i > 0 and news[i - 1])
                counts = fresh or times[i] >= begun_s  # the pot's earlier use is not this batch's
                crossing = pursuit.step(times[i], values[i], armed_s if counts else None)
                # What only earlier readings show was judged when they arrived.
                if crossing and (fresh or crossing.already):
                    arrived_s = float(recent.arrived_s[i])
                    found.append(_Reached(watched, crossing, arrived_s, recent.sources))
        line.last_s = times[-1]
        return found

    def _reached_s(self, names: Sequence[str]) -> float | None:
        """Return when all holds of these names were complete; None if one isn't."""
        moments = [hold.reached_s for hold in self._holds if hold.spec.name in names]
        if any(moment is None for moment in moments):
            return None
        return max((m for m in moments if m is not None), default=-math.inf)

    def _complete(self, recent: Recent, telling: Telling) -> list[Finding]:
        found: list[Finding] = []
        for hold in self._holds:
            if hold.reached_s is None or hold.told:
                continue
            hold.told = True
            shown = int((recent.time_s < hold.reached_s - 1e-6).sum())
            arrived_s = float(recent.arrived_s[min(shown, len(recent.arrived_s) - 1)])
            found.append(
                Finding(
                    self.batch.id,
                    f"{self.batch.id}/hold {hold.number}/{hold.spec.name[:80]}",
                    "hold",
                    hold.reached_s,
                    hold_words(hold.spec, hold.reached_s, telling),
                    recent.sources,
                    arrived_s - hold.reached_s > OLD_S,
                )
            )
        return found

    def _told(self, last_s: float, telling: Telling) -> list[Finding]:
        """Return what was reached and isn't silenced; what is waits a while for an undone mark."""
        found: list[Finding] = []
        waiting: list[_Reached] = []
        for reached in self._untold:
            if not reached.watched.silenced(self.batch):
                found.append(self._target_finding(reached, telling))
            elif last_s - reached.crossing.at_s <= OLD_S:
                waiting.append(reached)
        self._untold = waiting
        return found

    def _target_finding(self, reached: _Reached, telling: Telling) -> Finding:
        watched, crossing = reached.watched, reached.crossing
        words = target_words(watched, crossing, telling, ready=self._ready(watched, crossing))
        return Finding(
            self.batch.id,
            target_cause(self.batch.id, watched, crossing.direction),
            "target",
            crossing.at_s,
            words,
            reached.sources,
            reached.arrived_s - crossing.at_s > OLD_S,
        )

    def _ready(self, watched: Watched, crossing: Crossing) -> bool:
        """Tell whether the recipe asks for the coagulant at this crossing."""
        if watched.act_after is None:
            return False
        met_s = self._reached_s(watched.act_after)
        if met_s is None or crossing.at_s < met_s:
            return False
        return crossing.direction is Direction.FALLING or watched.rising_acts
