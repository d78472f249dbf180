# SPDX-License-Identifier: MIT
"""One physical button at a pot marks the next expected step of the pot's open batch.

Follows the arrivals from a cursor that is kept, so that a press while no server ran is marked after
the start, at its own time. The id of a mark follows from the press: it is made once. A button never
undoes, and never ends a batch.
"""

from __future__ import annotations

import functools
import logging
import time
import uuid
from collections.abc import Mapping
from typing import Any

from api import views
from api.hands_free.presses import Meaning, Rise, rises
from api.kitchen import Kitchen
from api.records.batches import Batch
from api.times import format_ms
from api.watch.finding import Finding
from api.watch.notice_book import NoticeBook
from api.watch.post import Post
from api.watch.threads import Pace, keep_looking
from api.watch.wording import Words
from collector.errors import RecordError
from collector.readings import Reading
from dashboards.steps import label, marks_of

_log = logging.getLogger(__name__)

POLL_S = 0.05
CURSOR = "buttons"
_AFTER_FAULT_S = 1.0
_SAVE_EVERY_S = 1.0
# A kitchen without buttons is looked at less often, and its cursor only kept from lagging.
_IDLE_POLL_S, _IDLE_SAVE_S = 0.5, 60.0
_CHUNK = 5_000
_LOOK_BACK_MS = 86_400_000
_TOLD_ONCE_MS = 600_000
_SPACE = uuid.UUID("5f0c3b0e-2a7e-4a07-9a53-0d3f6d0b7c11")


class Buttons:
    """The buttons of one kitchen, as the list of pots names them."""

    def __init__(self, kitchen: Kitchen, post: Post) -> None:
        self._kitchen = kitchen
        self._post = post
        self._notices = NoticeBook(kitchen.journal)
        self._at = self._saved = -1  # not known yet
        self._saved_s = 0.0
        self._pots: dict[str, str] = {}
        self._pots_at = -1
        self._last_press_ms: dict[str, int] = {}

    async def run(self) -> None:
        """Follow the buttons until cancelled."""
        # A press waits in the store: after a fault it is looked for again.
        complain = functools.partial(_log.exception, "the buttons could not be looked at")
        await keep_looking(self.look, Pace("buttons", self._pause_s, _AFTER_FAULT_S, complain))

    def _pause_s(self) -> float:
        return POLL_S if self._pots else _IDLE_POLL_S

    def look(self) -> None:
        """Mark what has been pressed since the last look."""
        store = self._kitchen.readings
        last = store.last_arrival()
        if self._at < 0:
            # A kitchen that never had buttons begins now, and not with its history.
            self._saved = store.cursor(CURSOR)
            self._at = self._saved or last
            self._saved_s = time.monotonic()
        if last < self._at:  # the file was replaced by an older one
            self._at = last
        pressed, buttons = False, self._pots_by_button()
        while self._at < last:
            arrived = store.since(self._at, _CHUNK) if buttons else []
            pressed = self._take([item.reading for item in arrived]) or pressed
            self._at = arrived[-1].arrival if arrived else last
        if pressed or self._is_due(bool(buttons)):
            self._save()

    def _is_due(self, has_buttons: bool) -> bool:
        """Tell whether the cursor is to be kept: at once where there was none."""
        if self._saved == 0:
            return has_buttons
        due_s = _SAVE_EVERY_S if has_buttons else _IDLE_SAVE_S
        return time.monotonic() - self._saved_s >= due_s

    def _save(self) -> None:
        if self._saved != self._at:
            self._kitchen.readings.set_cursor(CURSOR, self._at)
            self._saved = self._at
        self._saved_s = time.monotonic()

    def _take(self, arrived: list[Reading]) -> bool:
        """Act on what buttons among these readings say; return whether there were any."""
        pots = self._pots_by_button()
        news: dict[str, list[Reading]] = {}
        for reading in arrived:
            if reading.series in pots:
                news.setdefault(reading.series, []).append(reading)
        for series, readings in news.items():
            readings.sort(key=lambda one: one.time_ms)
            before = self._value_before(series, readings[0].time_ms)
            found, last = rises(readings, before, self._last_press_ms.get(series))
            for rise in found:
                self._act(series, pots[series], rise)
            if last is not None:
                self._last_press_ms[series] = last
        return bool(news)

    def _pots_by_button(self) -> Mapping[str, str]:
        length, _ = self._kitchen.journal.chains.head("kitchen")
        if length != self._pots_at:
            pots = self._kitchen.journal.latest_by("pot", "name")
            self._pots = {
                str(entry.body["button"]): name
                for name, entry in pots.items()
                if entry.body.get("button")
            }
            self._pots_at = length
        return self._pots

    def _value_before(self, series: str, time_ms: int) -> float | None:
        """Return the value of a button before a time, None if it said nothing for a day."""
        stretch = self._kitchen.readings.stretch(series, time_ms - _LOOK_BACK_MS, time_ms)
        known = [v for v in stretch.value.tolist() if v == v]
        return float(known[-1]) if known else None

    # --- one press -------------------------------------------------------------------------

    def _act(self, series: str, pot: str, rise: Rise) -> None:
        if rise.meaning is Meaning.BOUNCE:
            return
        batch = batch_at(self._kitchen, pot)
        if batch is None:
            _log.warning("a button was pressed at a pot without an open batch: %s", pot)
            return
        if rise.meaning is Meaning.PRESS:
            why = self._mark(series, batch, rise)
        else:
            why = _WHY[rise.meaning]
        if why:
            self._tell(series, pot, batch, rise, why)

    def _mark(self, series: str, batch: Batch, rise: Rise) -> str:
        """Mark the next expected step; return why nothing was marked, "" if it was."""
        made = str(uuid.uuid5(_SPACE, f"{series}/{rise.at_ms}"))
        if self._kitchen.journal.chains.find(made) is not None:
            return ""
        kind = marks_of(views.batch(batch)).expected
        if kind is None:
            return "no mark is expected now"
        if kind == "end":
            return "the end of a batch is marked by touch"
        at = format_ms(rise.at_ms)
        body: dict[str, Any] = {
            "kind": kind,
            "at": at,
            "by": "button",
            "series": series,
            "said": {"series": series, "at": at},
        }
        try:
            self._kitchen.journal.record(batch.id, "event", body, record_id=made)
        except RecordError as error:  # a clock that is far off
            return f"{error.what} {error.do}"
        return ""

    def _tell(self, series: str, pot: str, batch: Batch, rise: Rise, why: str) -> None:
        expected = marks_of(views.batch(batch)).expected
        missing = f" Next is {label(expected)}." if expected else ""
        words = Words(
            f"{pot}: a press marked nothing",
            f"The button of {pot} was pressed, and nothing was marked: {why}.{missing}",
            "medium",
        )
        cause = f"{batch.id}/button/{series}/{rise.meaning}/{rise.at_ms // _TOLD_ONCE_MS}"
        finding = Finding(
            batch.id, cause, "button", rise.at_ms / 1000.0, words, (f"series {series}",), False
        )
        self._notices.tell(finding, self._post.wake)


_WHY = {
    Meaning.AGAIN: "it came within 3 s of the press before it",
    Meaning.LATE: "it arrived more than 5 min late",
    Meaning.REPEAT: "it may be the repeat of an earlier press",
}


def batch_at(kitchen: Kitchen, pot: str) -> Batch | None:
    """Return the batch that a pot is busy with: one under way, else one that is to begin.

    Args:
        kitchen: The open kitchen.
        pot: Its name in the list of pots.
    """
    here = [b for b in kitchen.journal.batches(state="open") if b.body.get("pot") == pot]
    under_way = [b for b in here if b.state in ("running", "chilling")]
    found = under_way or [b for b in here if b.state == "soaking"] or here
    return found[0] if found else None
