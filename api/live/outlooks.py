# SPDX-License-Identifier: MIT
"""Tells open pages what is about to happen in each open batch, while readings arrive.

A task of its own beside the watch, with a thread of its own: nothing waits for it.
"""

from __future__ import annotations

import functools
import logging
import re
from dataclasses import dataclass
from typing import Any

from api.analysis.outlook import Outlooks
from api.kitchen import Kitchen
from api.live.broadcast import Broadcast
from api.records.batches import Batch
from api.times import parse_ms
from api.watch.threads import Pace, keep_looking
from collector.errors import CurdwrightError

_log = logging.getLogger(__name__)

LOOK_EVERY_S = 2.0
TELL_EVERY_MS = 10_000
MOST_BATCHES = 12
# What moves by less than this, and by less than this share of what is left, is told later.
LITTLE_MS, LITTLE_FRACTION = 3_000, 0.05
_NUMBER = re.compile(r"[0-9.]+")
_PARTS = ("target", "boil", "hold", "chill")

Json = dict[str, Any]


@dataclass(frozen=True, slots=True)
class _Told:
    """What pages were told last of one batch, and up to which reading."""

    at_ms: int
    arrival: int
    last_number: int
    found: Json


class OutlookNews:
    """Follows the open batches for pages that listen."""

    def __init__(self, kitchen: Kitchen, broadcast: Broadcast, outlooks: Outlooks) -> None:
        self._kitchen = kitchen
        self._broadcast = broadcast
        self._outlooks = outlooks
        self._told: dict[str, _Told] = {}
        self._complaints: dict[str, str] = {}

    async def run(self) -> None:
        """Follow until cancelled; without a page that listens nothing is computed."""
        complain = functools.partial(_log.exception, "the outlook could not be told")
        pace = Pace("outlooks", lambda: LOOK_EVERY_S, LOOK_EVERY_S, complain)
        await keep_looking(
            lambda: self.look() if self._broadcast.has_listeners else [], pace, self._tell
        )

    def _tell(self, found: list[tuple[str, Json]]) -> None:
        for batch_id, outlook in found:
            self._broadcast.tell("outlook", outlook, chain=batch_id)

    def look(self) -> list[tuple[str, Json]]:
        """Return the outlooks of open batches that pages should hear of now, by batch."""
        batches = self._kitchen.journal.batches(state="open", limit=MOST_BATCHES)
        self._told = {one.id: self._told[one.id] for one in batches if one.id in self._told}
        news = [(one.id, self._news(one)) for one in batches if one.bindings]
        return [(batch_id, found) for batch_id, found in news if found is not None]

    def _news(self, batch: Batch) -> Json | None:
        before = self._told.get(batch.id)
        arrival = self._kitchen.readings.last_arrival()
        if before and (before.arrival, before.last_number) == (arrival, batch.last_number):
            return None
        try:
            found = self._outlooks.of(self._kitchen, batch.id)
        except CurdwrightError as error:
            if self._complaints.get(batch.id) != str(error):
                _log.warning("the outlook of a batch can't be told: %s", error)
            self._complaints[batch.id] = str(error)
            return None
        now_ms = self._kitchen.now_ms()
        if before and now_ms - before.at_ms < TELL_EVERY_MS and not changed(before.found, found):
            return None
        self._told[batch.id] = _Told(now_ms, arrival, batch.last_number, found)
        return found


def changed(before: Json, now: Json) -> bool:
    """Tell whether an outlook differs from the one before by more than a little."""
    at_ms = parse_ms(now["at"])
    return any(_differs(before[part], now[part], at_ms) for part in _PARTS)


def _differs(before: Json, now: Json, at_ms: int) -> bool:
    if ("at" in before) != ("at" in now):
        return True
    if "at" not in now:
        return _NUMBER.sub("", before["why"]) != _NUMBER.sub("", now["why"])
    left_ms = max(parse_ms(now["at"]) - at_ms, 0)
    moved_ms = [
        abs(parse_ms(now[key]) - parse_ms(before[key])) for key in ("at", "earliest", "latest")
    ]
    return max(moved_ms) > max(LITTLE_MS, LITTLE_FRACTION * left_ms)
