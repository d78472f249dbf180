# SPDX-License-Identifier: MIT
"""Follows the readings of every batch with the detector, and records what it proposes.

A task of its own beside the watch, so that no notice ever waits for it; the interface asks it
synchronously, so that what was just posted is in the answer. What it knows follows again from the
store and the records: a restart changes nothing.
"""

from __future__ import annotations

import functools
import logging
import threading
from collections.abc import Mapping
from typing import Any

from api.analysis.gather import Gatherer
from api.closing import close_batch
from api.kitchen import Kitchen
from api.proposals.book import Fields, ProposalBook
from api.proposals.placed import Feed, Window, settings_of, windows_of
from api.proposals.standing import Standing, State, standings
from api.records.batches import Batch, Kept
from api.watch.notice_book import OWN_KINDS
from api.watch.threads import Pace, keep_looking

_log = logging.getLogger(__name__)

EVERY_S = 2.0
_AFTER_FAULT_S = 5.0
_CHUNK = 5_000
_MOST_BEHIND = 50_000
_MOST_BATCHES = 100
_MOST_FEEDS = 40
_CORRECTING = ("check", "instrument", "withdrawal")
BY_ITSELF = "by itself"
"""How a mark says that nobody was asked, as its recipe allows."""


class Proposing:
    """The detectors over the batches of one kitchen."""

    def __init__(self, kitchen: Kitchen) -> None:
        self._kitchen = kitchen
        self.book = ProposalBook(kitchen.journal)
        self._lock = threading.RLock()
        self._gatherer = Gatherer.of(kitchen)
        self._seen: tuple[int, tuple[int, ...], int] = (-1, (), 0)
        self._windows: dict[str, tuple[Window, ...]] = {}
        self._open: list[Batch] = []
        self._feeds: dict[str, Feed] = {}
        self._news: dict[str, dict[str, int]] = {}
        self._at = kitchen.readings.last_arrival()
        self._complaints: dict[str, str] = {}

    async def run(self) -> None:
        """Follow the open batches until cancelled."""
        complain = functools.partial(_log.exception, "proposals could not be looked for")
        await keep_looking(self.look, Pace("proposals", lambda: EVERY_S, _AFTER_FAULT_S, complain))

    def look(self) -> None:
        """Give the detectors of the open batches what has arrived, and record what they say."""
        with self._lock:
            self._catch_up()
            batches = list(self._open)
        for batch in batches:
            with self._lock:
                self._follow(batch)

    def of(self, batch_id: str) -> list[Standing]:
        """Return every proposal of a batch, with what has just arrived taken in.

        Raises:
            UnknownRecordError: There is no such batch.
        """
        with self._lock:
            batch = self._kitchen.journal.batch(batch_id)
            self._catch_up()
            self._follow(batch)
            return standings(self._kitchen.journal.batch(batch_id))

    def known(self, batch_id: str) -> list[Standing]:
        """Return the proposals that are recorded, for a page that needn't wait for the detector.

        A closed batch in which nothing was recorded yet is looked through first.

        Raises:
            UnknownRecordError: There is no such batch.
        """
        batch = self._kitchen.journal.batch(batch_id)
        return standings(batch) if batch.proposals or batch.open else self.of(batch_id)

    def accept(
        self, batch_id: str, number: int, said: Mapping[str, Any], more: Fields, *,
        record_id: str | None = None, who: str = "",
    ) -> tuple[Kept, bool]:  # fmt: skip
        """Make a mark of a proposal; see `ProposalBook.accept`."""
        with self._lock:
            record, new = self.book.accept(
                batch_id, number, said, more, record_id=record_id, who=who
            )
        if record.body["kind"] == "end":
            close_batch(self._kitchen, batch_id)
        return record, new

    def dismiss(
        self, batch_id: str, number: int, said: Mapping[str, Any], why: str | None, *,
        record_id: str | None = None, who: str = "",
    ) -> tuple[Kept, bool]:  # fmt: skip
        """Record that a proposal was not so; see `ProposalBook.dismiss`."""
        with self._lock:
            return self.book.dismiss(batch_id, number, said, why, record_id=record_id, who=who)

    # --- what has arrived ------------------------------------------------------------------

    def _catch_up(self) -> None:
        """Note the earliest reading of each series that has arrived since the last time."""
        store = self._kitchen.readings
        last = store.last_arrival()
        if last < self._at or last - self._at > _MOST_BEHIND:
            self._feeds, self._news, self._at = {}, {}, last
        while self._at < last:
            arrived = store.since(self._at, _CHUNK)
            if not arrived:
                self._at = last
                break
            self._at = arrived[-1].arrival
            for item in arrived:
                reading = item.reading
                for batch_id, feed in self._feeds.items():
                    if reading.series in feed.series:
                        news = self._news.setdefault(batch_id, {})
                        earliest = news.get(reading.series, reading.time_ms)
                        news[reading.series] = min(earliest, reading.time_ms)
        self._refresh()

    def _refresh(self) -> None:
        """Take what has changed in the records and the clock, if anything has."""
        journal = self._kitchen.journal
        number, steps = journal.chains.last_number(), len(self._kitchen.readings.clock_steps())
        if (number, steps) == (self._seen[0], self._seen[2]):
            return
        new = journal.chains.since(self._seen[0]) if self._seen[0] >= 0 else []
        own = bool(new) and len(new) < 1000 and all(e.kind in OWN_KINDS for e in new)
        if own and steps == self._seen[2]:
            self._seen = (number, *self._seen[1:])
            return
        correcting = tuple(entry.number for entry in journal.kitchen(*_CORRECTING))
        self._gatherer = Gatherer.of(self._kitchen)
        if (correcting, steps) != self._seen[1:]:
            self._feeds, self._news = {}, {}
        self._seen, self._windows = (number, correcting, steps), {}
        self._open = journal.batches(state="open", limit=_MOST_BATCHES)

    # --- one batch -------------------------------------------------------------------------

    def _follow(self, batch: Batch) -> None:
        try:
            self._feed(batch)
        except Exception as error:  # one batch must not silence the others, nor its own records
            reason = f"{type(error).__name__}: {error}"
            if self._complaints.get(batch.id) != reason:
                self._complaints[batch.id] = reason
                _log.error(
                    "nothing can be proposed for a batch",
                    extra={"fields": {"batch": batch.id, "reason": reason}},
                    exc_info=error,
                )
            self._feeds.pop(batch.id, None)
            return
        self._complaints.pop(batch.id, None)

    def _feed(self, batch: Batch) -> None:
        windows = self._windows.get(batch.id)
        if windows is None:
            windows = self._windows[batch.id] = windows_of(self._gatherer, batch)
        feed = self._feeds.get(batch.id)
        known = feed is not None and feed.windows == windows
        if feed is None or not known:
            settings = settings_of(self._gatherer, batch, windows, self._kitchen.now_ms())
            self._feeds.pop(batch.id, None)
            while len(self._feeds) >= _MOST_FEEDS:
                dropped = next(iter(self._feeds))
                self._feeds.pop(dropped)
                self._news.pop(dropped, None)
            feed = self._feeds[batch.id] = Feed(windows, settings)
        news = self._news.pop(batch.id, {})
        if known and not news:
            return
        found = feed.take(self._gatherer, news if known else None)
        for one in self.book.record(batch.id, found, feed.numbers):
            feed.numbers.add(one.number)
            self._accept_by_itself(batch, one)

    def _accept_by_itself(self, batch: Batch, one: Standing) -> None:
        """Make a mark of a proposal where the batch's recipe says so."""
        rule = (batch.recipe or {}).get("accept_by_itself")
        if not (batch.open and rule and one.state is State.OPEN):
            return
        body = one.record.body
        if body["kind"] in rule["kinds"] and float(body["confidence"]) >= float(rule["above"]):
            self.book.accept(batch.id, one.number, {}, {"accepted": BY_ITSELF})
