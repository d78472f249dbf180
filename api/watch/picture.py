# SPDX-License-Identifier: MIT
"""What the records say of the open batches, read again only when they have changed.

Imports the records, the corrections and the gatherer of readings.
"""

from __future__ import annotations

import time

from api.analysis.gather import Gatherer
from api.kitchen import Kitchen
from api.records.batches import Batch
from api.watch.batch_watch import Placed
from api.watch.notice_book import OWN_KINDS
from api.watch.recent import Reader

# A database with several writers may show a record after a later one: look again now and then.
_LOOK_EVERY_S = 10.0
_MOST_BATCHES = 500
_MOST_ENTRIES = 1000
_CORRECTING = ("check", "instrument", "withdrawal")


class Picture:
    """The open batches with the series at their milk, and how to read those."""

    def __init__(self, kitchen: Kitchen) -> None:
        self._kitchen = kitchen
        self._gatherer = Gatherer.of(kitchen)
        self._reader = self._made_reader()
        self._checks = self._correcting()
        self._number = -1
        self._looked_s = 0.0

    @property
    def reader(self) -> Reader:
        """Reads corrected temperatures; another object when a correction or a clock changed."""
        return self._reader

    def changed(self) -> bool:
        """Tell whether the records or the clock have changed since the last look."""
        if self._number < 0 or time.monotonic() - self._looked_s >= _LOOK_EVERY_S:
            return True
        if len(self._kitchen.readings.clock_steps()) != len(self._gatherer.steps):
            return True
        chains = self._kitchen.journal.chains
        if chains.last_number() == self._number:
            return False
        new = chains.since(self._number, _MOST_ENTRIES)
        if len(new) == _MOST_ENTRIES or any(entry.kind not in OWN_KINDS for entry in new):
            return True
        self._number = new[-1].number if new else self._number
        return False

    def look(self) -> list[tuple[Batch, tuple[Placed, ...]]]:
        """Return the open batches as they stand, each with the series at its milk."""
        self._looked_s = time.monotonic()
        self._number = self._kitchen.journal.chains.last_number()
        checks = self._correcting()
        steps = self._kitchen.readings.clock_steps()
        if checks != self._checks or len(steps) != len(self._gatherer.steps):
            self._gatherer, self._checks = Gatherer.of(self._kitchen), checks
            self._reader = self._made_reader()
        batches = self._kitchen.journal.batches(state="open", limit=_MOST_BATCHES)
        return [(batch, self._placed(batch)) for batch in batches]

    def _placed(self, batch: Batch) -> tuple[Placed, ...]:
        return tuple(
            Placed(binding.id, binding.series, self._gatherer.window(batch, binding))
            for binding in batch.bindings
            if binding.place == "milk"
        )

    def _correcting(self) -> tuple[int, ...]:
        return tuple(entry.number for entry in self._kitchen.journal.kitchen(*_CORRECTING))

    def _made_reader(self) -> Reader:
        return Reader(self._kitchen.readings, self._gatherer.corrections, self._gatherer.steps)
