# SPDX-License-Identifier: MIT
"""Wired sounders and lamps: on while an alarm is unacknowledged, off when none is.

A state and no message: what it has to be is read from the records again after every start, and told
again at intervals, so that a lost byte, a pulled plug or a kill leaves no sounder wrong for long.
"""

from __future__ import annotations

import asyncio
import functools
import logging
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

from api.kitchen import Kitchen
from api.records.chain import KITCHEN
from api.times import format_ms, parse_ms
from api.watch.alarm_book import AlarmBook
from api.watch.alarm_fold import FOLDED_KINDS, Folded, KeptAlarm
from api.watch.alarm_state import State
from api.watch.limit_kinds import PRIORITIES
from api.watch.message import Outcome
from api.watch.sounder_line import Line, line_of
from api.watch.threads import finish
from collector.config_notices import Sounder
from collector.errors import UnknownRecordError
from collector.log import say

_log = logging.getLogger(__name__)

BEAT_S = 0.1
_AFTER_FAULT_S = 2.0
_TRIED_AGAIN_S = 1.0
_TEST_S = 1.0
_MOST_ENTRIES = 1000
PREFIX = "sounder:"
SOUNDING = frozenset({State.UNACKNOWLEDGED, State.RETURNED})


@dataclass(slots=True)
class _Told:
    """What one sounder was last told.

    Attributes:
        on: What it took; None if nothing yet.
        at_s: When it was last tried, by a clock that is never set [s].
        proven_at: When it last took something, RFC 3339.
        answer: How the last try ended.
    """

    on: bool | None = None
    at_s: float = float("-inf")
    proven_at: str | None = None
    answer: str = ""


class Sounders:
    """The sounders and lamps of one kitchen."""

    def __init__(self, kitchen: Kitchen) -> None:
        self._kitchen = kitchen
        self._lines: dict[str, tuple[Sounder, Line, threading.Lock]] = {
            one.name: (one, line_of(one), threading.Lock()) for one in kitchen.config.sounder
        }
        self._told = {name: _Told() for name in self._lines}
        self._folded: Folded | None = None
        self._number = -1
        self._open: frozenset[str] = frozenset()

    async def run(self) -> None:
        """Keep them in their state until cancelled; without any there is nothing to do."""
        if not self._lines:
            return
        with ThreadPoolExecutor(1, "sounders") as reader:
            loops = [
                asyncio.create_task(self._again(reader, self.look)),
                *(asyncio.create_task(self._each(name)) for name in self._lines),
            ]
            try:
                await asyncio.gather(*loops)
            finally:
                for loop in loops:
                    loop.cancel()
                await asyncio.gather(*loops, return_exceptions=True)

    async def _each(self, name: str) -> None:
        """Keep one sounder in its state; it has a thread of its own, and holds up no other."""
        _, line, lock = self._lines[name]
        with ThreadPoolExecutor(1, "sounder") as teller:
            try:
                await self._again(teller, functools.partial(self._keep, name))
            finally:
                with lock:
                    line.close()

    async def _again(self, executor: ThreadPoolExecutor, call: Callable[[], None]) -> None:
        while True:
            pause_s = BEAT_S
            try:
                await finish(executor, call)
            except Exception:  # one that is forgotten tells nobody so: whatever it is, it goes on
                _log.exception("the sounders stumbled")
                self._folded, pause_s = None, _AFTER_FAULT_S
            await asyncio.sleep(pause_s)

    def look(self) -> None:
        """Take up what was recorded of alarms since the last look."""
        chains = self._kitchen.journal.chains
        last, folded = chains.last_number(), self._folded
        if folded is not None and last == self._number:
            return
        if folded is None:
            folded, self._number = AlarmBook(self._kitchen.journal).folded(), last
        while new := chains.since(self._number, _MOST_ENTRIES):
            self._number = new[-1].number
            folded.take(entry for entry in new if entry.kind in FOLDED_KINDS)
        folded.calls.clear()
        folded.changes.clear()
        found = self._kitchen.journal.batch_ids(state="open")
        self._open, self._folded = frozenset({*found, KITCHEN}), folded

    def wanted(self, sounder: Sounder) -> bool:
        """Tell whether a sounder has to be on."""
        folded = self._folded
        if folded is None:
            return False
        return any(self._calls(alarm, sounder) for alarm in list(folded.alarms.values()))

    def _calls(self, alarm: KeptAlarm, sounder: Sounder) -> bool:
        if alarm.status.state not in SOUNDING or alarm.chain not in self._open:
            return False
        if PRIORITIES.index(alarm.priority) < PRIORITIES.index(sounder.least_priority):
            return False
        if not sounder.longest_min or not alarm.told_at:
            return True
        told_ms = parse_ms(alarm.told_at)
        return self._kitchen.now_ms() - told_ms < sounder.longest_min * 60_000

    def _is_due(self, name: str) -> bool:
        sounder, told = self._lines[name][0], self._told[name]
        passed_s = time.monotonic() - told.at_s
        if told.on is not self.wanted(sounder):
            return not told.answer or told.on is not None or passed_s >= _TRIED_AGAIN_S
        return passed_s >= sounder.repeat_s

    def _keep(self, name: str) -> None:
        """Tell one sounder what it has to be, if that is due, and record it when it is a change."""
        if self._folded is None or not self._is_due(name):
            return
        sounder, told = self._lines[name][0], self._told[name]
        on = self.wanted(sounder)
        was, said_before = told.on, told.answer
        outcome = self._tell(name, on=on)
        if outcome.taken:
            told.on = on
        elif told.on is not None or said_before != outcome.answer:
            say(_log, "a sounder was not told", level=logging.ERROR, sounder=name,
                answer=outcome.answer)  # fmt: skip
            told.on = None
        if outcome.taken and was is not on and (on or was is not None):
            said = {"sounder": name, "told": "on" if on else "off", "answer": outcome.answer}
            self._kitchen.journal.keep("sounder", said)

    def _tell(self, name: str, *, on: bool) -> Outcome:
        sounder, line, lock = self._lines[name]
        told = self._told[name]
        with lock:
            outcome = line.tell(sounder.on_bytes if on else sounder.off_bytes)
        told.at_s, told.answer = time.monotonic(), outcome.answer
        now = format_ms(self._kitchen.now_ms())
        told.proven_at = now if outcome.taken else None
        return outcome

    def test(self, route_id: str) -> Outcome:
        """Switch a sounder on for a second; it is then told what it has to be.

        Args:
            route_id: As it stands in the list of routes.

        Raises:
            UnknownRecordError: There is no such sounder.
        """
        name = route_id.removeprefix(PREFIX)
        if name not in self._lines:
            raise UnknownRecordError(
                f"There is no sounder {name!r}.", do="Look at GET /v1/notices/routes."
            )
        outcome = self._tell(name, on=True)
        if outcome.taken:
            time.sleep(_TEST_S)
            outcome = self._tell(name, on=self.wanted(self._lines[name][0]))
        said = {"sounder": name, "taken": outcome.taken, "answer": outcome.answer}
        self._kitchen.journal.keep("sounder_test", said)
        return outcome

    def listed(self) -> list[dict[str, object]]:
        """Return the sounders as they stand in the list of routes."""
        return [
            {
                "id": f"{PREFIX}{name}",
                "name": name,
                "address": line.where,
                "proven_at": self._told[name].proven_at,
                "waiting": 0,
                "alive_every_min": None,
                "tell_stop": False,
                "alive_at": None,
                "alive_answer": "",
                "gone": "",
            }
            for name, (_, line, _) in self._lines.items()
        ]
