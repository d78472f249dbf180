# SPDX-License-Identifier: MIT
"""Follows the readings in the order of their arrival, and tells what each open batch has reached.

It reads on from a cursor that is kept in the store, so that what was reached while no server ran
is told after the start. The cursor moves only after everything found was kept, and what is found
twice is kept once, so a kill at any moment loses nothing and doubles nothing.
"""

from __future__ import annotations

import asyncio
import logging
import sqlite3
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor

from sqlalchemy.exc import SQLAlchemyError

from api.analysis.addition import addition_section
from api.analysis.holds import judge_holds
from api.analysis.whole import scene_of
from api.holds import holds_of
from api.kitchen import Kitchen
from api.process.hold_spec import HoldResult, HoldSpec
from api.process.quantities import NotShown
from api.records.batches import Batch
from api.watch.batch_watch import BatchWatch
from api.watch.finding import Finding
from api.watch.notice_book import NoticeBook
from api.watch.picture import Picture
from api.watch.post import Post
from api.watch.threads import finish
from collector.readings import Reading

_log = logging.getLogger(__name__)

# Asking the store what the last arrival is takes some 10 us, so that it may be asked often.
POLL_S = 0.004
_PATIENCE_S = 0.2
CURSOR = "watch"
_SAVE_EVERY_S = 1.0
_AFTER_FAULT_S = 1.0
_CHUNK = 5_000
# The store's fault and not the batch's: all that was being looked at is tried again.
_STORE_FAULTS = (OSError, sqlite3.Error, SQLAlchemyError)


class Watch:
    """The watch over the open batches of one kitchen."""

    def __init__(self, kitchen: Kitchen, post: Post) -> None:
        """Take the kitchen, and the post to wake when there is something to tell."""
        self._kitchen = kitchen
        self._post = post
        self._notices = NoticeBook(kitchen.journal)
        self._batches: dict[str, BatchWatch] = {}
        self._picture: Picture | None = None
        self._at = self._saved = -1  # not known yet
        self._saved_s = 0.0
        self._complaints: dict[str, str] = {}
        self._looked_s = float("-inf")

    def looked_s(self) -> float:
        """When it last looked at the readings without a fault, by the steady clock [s]."""
        return self._looked_s

    async def run(self) -> None:
        """Watch until cancelled."""
        with ThreadPoolExecutor(1, "watch") as executor:
            try:
                while True:
                    await asyncio.sleep(await self._turn(executor))
            finally:
                await finish(executor, self._save)

    async def _turn(self, executor: ThreadPoolExecutor) -> float:
        """Look once, and return how long to pause [s]."""
        try:
            await finish(executor, self._look_when_due)
        except Exception:  # a watch that has ended tells nobody so: whatever it is, it goes on
            _log.exception("the watch stumbled")
            self._picture, self._batches = None, {}
            return _AFTER_FAULT_S
        self._looked_s = time.monotonic()
        return 0.0

    def _look_when_due(self) -> None:
        """Look as soon as something has arrived, and now and then all the same.

        It waits here and not on the event loop: a hop from the loop to this thread takes longer
        than asking the store, and would stand between a reading and its notice.
        """
        if not self.look():
            until_s = time.monotonic() + _PATIENCE_S
            while time.monotonic() < until_s:
                time.sleep(POLL_S)
                if self._kitchen.readings.last_arrival() != self._at:
                    self.look()
                    return

    def look(self) -> bool:
        """Judge what has arrived since the last look, and tell it.

        Returns:
            Whether more readings wait.
        """
        store = self._kitchen.readings
        if self._at < 0:
            self._at = self._saved = store.cursor(CURSOR)
        last = store.last_arrival()
        if last <= self._at:
            self._at = last  # lower only if the file was replaced by an older one
            if time.monotonic() - self._saved_s >= _SAVE_EVERY_S:
                self._save()
            return False
        arrived = store.since(self._at, _CHUNK)
        news: dict[str, list[Reading]] = {}
        for item in arrived:
            news.setdefault(item.reading.series, []).append(item.reading)
        self._refresh()
        told = 0
        for watch in self._batches.values():
            if watch.series & news.keys():
                for finding in self._judge(watch, news):
                    told += self._notices.tell(finding, self._post.wake)
        self._at = arrived[-1].arrival if arrived else last
        if told or time.monotonic() - self._saved_s >= _SAVE_EVERY_S:
            self._save()
        return self._at < last

    def _save(self) -> None:
        if self._saved != self._at:
            self._kitchen.readings.set_cursor(CURSOR, self._at)
            self._saved = self._at
        self._saved_s = time.monotonic()

    def _judge(self, watch: BatchWatch, news: dict[str, list[Reading]]) -> Sequence[Finding]:
        try:
            found = watch.judge(news, self._kitchen.now_ms() / 1000.0, self._judge_holds)
        except _STORE_FAULTS:
            raise
        except Exception as error:  # one batch must not silence the others
            self._complain(watch.batch, error)
            return ()
        self._complaints.pop(watch.batch.id, None)
        return found

    def _judge_holds(
        self, batch: Batch, until_ms: int
    ) -> Sequence[tuple[HoldSpec, HoldResult | NotShown]]:
        try:
            scene = scene_of(self._kitchen, batch, until_ms=until_ms + 1)
            pour = addition_section(scene, ()).first_pour if batch.events_of("addition") else None
            return judge_holds(
                batch, scene.milk, now_s=until_ms / 1000.0, boiling=scene.boiling, pour=pour
            )
        except _STORE_FAULTS:
            raise
        except Exception as error:  # its plain targets are told all the same
            self._complain(batch, error)
            return [(spec, NotShown(str(error))) for spec in holds_of(batch.recipe)]

    def _refresh(self) -> None:
        """Take what has changed in the records and the clock, if anything has."""
        if self._picture is None:
            self._picture = Picture(self._kitchen)
        if not self._picture.changed():
            return
        kept: dict[str, BatchWatch] = {}
        for batch, placed in self._picture.look():
            watch = self._batches.get(batch.id)
            zone = self._kitchen.config.kitchen.zone
            watch = watch or BatchWatch(batch, zone)
            watch.zone = zone  # it may have been set on the page since
            try:
                watch.refresh(batch, placed, self._picture.reader)
            except Exception as error:  # one batch must not silence the others
                self._complain(batch, error)
                continue
            kept[batch.id] = watch
        self._batches = kept

    def _complain(self, batch: Batch, error: Exception) -> None:
        """Log why a batch can't be watched, once for each reason."""
        reason = f"{type(error).__name__}: {error}"
        if self._complaints.get(batch.id) != reason:
            self._complaints[batch.id] = reason
            _log.error(
                "a batch can't be watched",
                extra={"fields": {"batch": batch.id, "reason": reason}},
                exc_info=error,
            )
