# SPDX-License-Identifier: MIT
"""Raises and ends alarms: a task of its own, so that nothing here holds up a target's notice.

What it knows follows from the records and the readings: a new process folds the alarms from their
entries and reads on from the last change of each, so that a kill changes nothing.
"""

from __future__ import annotations

import asyncio
import functools
import logging
import time
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor

from api.checking import boiling_point
from api.kitchen import Kitchen
from api.records.batches import Batch
from api.records.chain import KITCHEN
from api.watch.alarm_batch import BatchAlarms
from api.watch.alarm_checks import (
    Check,
    disk_checks,
    forward_checks,
    series_checks,
    silence_checks,
)
from api.watch.alarm_condition import Band, Condition
from api.watch.alarm_raising import Found, Raising, around_of
from api.watch.batch_watch import Placed
from api.watch.chill_checks import chill_checks
from api.watch.limit_follower import Change
from api.watch.limit_kinds import KINDS, PRIORITIES, higher
from api.watch.limits import shown_value
from api.watch.picture import Picture
from api.watch.post import Post
from api.watch.targets import watched_targets
from api.watch.threads import finish
from api.watch.watch import CURSOR as WATCH_CURSOR

_log = logging.getLogger(__name__)

BEAT_S = 0.2
# The targets and holds are judged first: what they find decides which limits still hold.
_FIRST_S = 1.0
_BACKLOG = 500
_PATIENCE_S = 30.0
_AFTER_FAULT_S = 2.0
MILK_KINDS = frozenset(
    {"near target", "over target", "near the edge", "left the band", "may foam over", "heat lost",
     "step limit"}
)  # fmt: skip


class AlarmWatch:
    """The alarms of one kitchen."""

    def __init__(self, kitchen: Kitchen, post: Post) -> None:
        """Take the kitchen, and the post to wake when there is something to tell."""
        self._kitchen = kitchen
        self._raising = Raising(kitchen, post.wake)
        self._picture: Picture | None = None
        self._batches: dict[str, BatchAlarms] = {}
        self._open: list[Batch] = []
        self._arrival = -1
        self._waiting_since_s: float | None = None
        self._conditions: dict[tuple[str, str], Condition] = {}
        self._due_s: dict[str, float] = {}
        self._complaints: dict[str, str] = {}
        self._slow: dict[str, tuple[float, frozenset[str], Callable[[], list[Check]]]] = {
            "series": (
                1.0,
                frozenset({"series silent", "series bad", "scale unstable"}),
                lambda: series_checks(kitchen, self._open, self._blinded()),
            ),
            "silence": (
                30.0, frozenset({"batch silent"}), lambda: silence_checks(kitchen, self._open)
            ),
            "disk": (15.0, frozenset({"disk low"}), lambda: disk_checks(kitchen)),
            "forwarder": (15.0, frozenset({"forwarder behind"}), lambda: forward_checks(kitchen)),
            "chilling": (
                15.0,
                frozenset({"chilling at risk", "chilling missed"}),
                lambda: chill_checks(kitchen, self._open),
            ),
        }  # fmt: skip

    async def run(self) -> None:
        """Watch until cancelled."""
        with ThreadPoolExecutor(1, "alarms") as executor:
            await asyncio.sleep(_FIRST_S)
            while True:
                await asyncio.sleep(await self._turn(executor))

    async def _turn(self, executor: ThreadPoolExecutor) -> float:
        """Look once, and return how long to pause [s]."""
        try:
            await finish(executor, self.look)
            await finish(executor, self.check, time.monotonic())
        except Exception:  # a watch that has ended tells nobody so: whatever it is, it goes on
            _log.exception("the alarms stumbled")
            self._picture, self._batches, self._conditions = None, {}, {}
            return _AFTER_FAULT_S
        return BEAT_S

    def look(self) -> None:
        """Judge what has arrived since the last look, and what time alone has changed."""
        told = self._raising.catch_up()
        self._refresh(told=told)
        for alarm in list(self._raising.alarms.values()):
            self._raising.time_passes(alarm, self._now_s())
        store = self._kitchen.readings
        last = store.last_arrival()
        if last == self._arrival or self._waits(last - store.cursor(WATCH_CURSOR)):
            return
        self._arrival = last
        for one in self._batches.values():
            self._guarded(one.batch, functools.partial(self._follow, one))

    def _waits(self, behind: int) -> bool:
        """Tell whether to wait for the targets and holds, which are this many readings behind.

        Not for ever: a limit that is told too often is better than one that is never told.
        """
        if behind <= _BACKLOG:
            self._waiting_since_s = None
            return False
        now_s = time.monotonic()
        self._waiting_since_s = self._waiting_since_s or now_s
        return now_s - self._waiting_since_s < _PATIENCE_S

    def check(self, steady_s: float) -> None:
        """Look at what is due on its slower beat.

        Args:
            steady_s: A clock that is never set [s].
        """
        for name, (every_s, kinds, look) in self._slow.items():
            if steady_s < self._due_s.get(name, 0.0):
                continue
            self._due_s[name] = steady_s + every_s
            try:
                found = look()
            except Exception:  # the disk's trouble must not silence the instruments' alarms
                _log.exception("a check could not be made", extra={"fields": {"check": name}})
                continue
            self._take(found, kinds)

    def _now_s(self) -> float:
        return self._kitchen.now_ms() / 1000.0

    def _refresh(self, *, told: bool) -> None:
        """Take what has changed in the records and the clock, if anything has."""
        if self._picture is None:
            self._picture = Picture(self._kitchen)
        if not self._picture.changed() and not told:
            return
        kept: dict[str, BatchAlarms] = {}
        boiling_degc = boiling_point(self._kitchen.config).value
        seen = self._picture.look()
        self._open = [batch for batch, _ in seen]
        self._raising.attend([batch.id for batch in self._open])
        for batch, placed in seen:
            one = self._batches.get(batch.id) or BatchAlarms(batch)
            kept[batch.id] = one
            now_ms = self._kitchen.now_ms()
            present = [place for place in placed if place.window_ms[1] > now_ms]

            self._guarded(batch, functools.partial(self._renew, one, batch, present, boiling_degc))
        self._batches = kept
        self._arrival = -1

    def _renew(
        self, one: BatchAlarms, batch: Batch, placed: list[Placed], boiling_degc: float
    ) -> None:
        around = around_of(self._kitchen, batch, boiling_degc)
        one.refresh(batch, placed, around, self._raising.recorded(batch.id))
        self._fit_states(one)

    def _follow(self, one: BatchAlarms) -> None:
        assert self._picture is not None
        for change in one.follow(self._picture.reader):
            self._milk_changed(one, change)

    def _milk_changed(self, one: BatchAlarms, change: Change) -> None:
        limit, batch = change.limit, one.batch
        alarm = self._raising.of(batch.id, limit.key, limit.kind)
        if not change.active:
            self._raising.ended(alarm, change.at_s, change.value)
        else:
            now = shown_value(limit, change.value)
            words = f"{_pot(batch)}: {limit.what}"
            text = f"{words}: {now}. {KINDS[limit.kind].respond}"
            self._raising.raised(
                alarm,
                Found(
                    words, text, limit.priority, change.at_s, change.value, limit.band.limit,
                    one.sources,
                ),
            )  # fmt: skip
        self._fit_states(one)

    def _fit_states(self, one: BatchAlarms) -> None:
        """Suppress the milk's alarms that the present step doesn't need, and release the others."""
        for alarm in self._raising.of_chain(one.batch.id):
            if alarm.about not in MILK_KINDS:
                continue
            limit = one.limits.get(alarm.key)
            why = "" if limit else f"not needed: {one.step}"
            for other in limit.after if limit else ():
                if self._raising.is_active(one.batch.id, other):
                    why = "another alarm tells of the same"
            self._raising.suppress(alarm, why, self._now_s())

    def _take(self, found: Iterable[Check], kinds: frozenset[str]) -> None:
        now_s = self._now_s()
        seen: set[tuple[str, str]] = set()
        for check in found:
            place = (check.chain, check.key)
            seen.add(place)
            alarm = self._raising.of(check.chain, check.key, check.kind)
            kind = KINDS[check.kind]
            band = Band(check.side, check.limit, kind.dead_band, kind.on_delay_s, kind.off_delay_s)
            if alarm.status.suppressed and alarm.status.active and band.well_inside(check.value):
                self._raising.ended(alarm, now_s, check.value)  # it ended while nobody looked
                alarm = self._raising.of(check.chain, check.key, check.kind)
            self._raising.suppress(alarm, "", now_s)
            condition = self._conditions.get(place)
            if condition is None:
                condition = Condition(band, alarm.status.active)
                self._conditions[place] = condition
            condition.band = band
            if not condition.step(now_s, check.value):
                continue
            if condition.active:
                self._raising.raised(
                    self._raising.of(check.chain, check.key, check.kind),
                    Found(
                        check.title, f"{check.text}. {kind.respond}", check.priority, now_s,
                        check.value, check.limit, check.sources,
                    ),
                )  # fmt: skip
            else:
                alarm = self._raising.of(check.chain, check.key, check.kind)
                self._raising.ended(alarm, now_s, check.value)
        self._let_go(seen, kinds, now_s)

    def _let_go(self, seen: set[tuple[str, str]], kinds: frozenset[str], now_s: float) -> None:
        """Suppress what is no longer looked at, and forget its delays."""
        chains = {KITCHEN, *(batch.id for batch in self._open)}
        for alarm in list(self._raising.alarms.values()):
            if alarm.about in kinds and alarm.chain in chains:
                place = (alarm.chain, alarm.key)
                if place not in seen:
                    self._raising.suppress(alarm, "not needed in the present step", now_s)
        for place in [p for p in self._conditions if p not in seen]:
            if self._raising.of(*place, "").about in kinds:
                del self._conditions[place]

    def _blinded(self) -> dict[str, str]:
        """Return by batch the highest priority of what its milk's series would tell."""
        found: dict[str, str] = {}
        for one in self._batches.values():
            highest = PRIORITIES[0]
            for limit in one.limits.values():
                highest = higher(highest, limit.priority)
            for watched in watched_targets(one.batch):
                if watched.act_after is not None and not watched.silenced(one.batch):
                    highest = higher(highest, "high")
            found[one.batch.id] = highest
        return found

    def _guarded(self, batch: Batch, call: Callable[[], None]) -> None:
        """Do something for one batch, whose faults must not silence the others."""
        try:
            call()
        except (OSError, MemoryError):
            raise
        except Exception as error:
            reason = f"{type(error).__name__}: {error}"
            if self._complaints.get(batch.id) != reason:
                self._complaints[batch.id] = reason
                _log.error(
                    "the alarms of a batch can't be judged",
                    extra={"fields": {"batch": batch.id, "reason": reason}},
                    exc_info=error,
                )
        else:
            self._complaints.pop(batch.id, None)


def _pot(batch: Batch) -> str:
    return str(batch.body.get("pot") or batch.name)
