# SPDX-License-Identifier: MIT
"""Tells open pages when what the scales offer has changed. Keeps nothing."""

from __future__ import annotations

import functools
import logging

from api.hands_free.offers import offer_json, offers_of
from api.kitchen import Kitchen
from api.live.broadcast import Broadcast
from api.watch.threads import Pace, keep_looking

_log = logging.getLogger(__name__)

EVERY_S = 2.0
_AFTER_FAULT_S = 10.0
_MOST_BATCHES = 12


class OfferNews:
    """Looks at the scales of the open batches while a page listens."""

    def __init__(self, kitchen: Kitchen, broadcast: Broadcast) -> None:
        self._kitchen = kitchen
        self._broadcast = broadcast
        self._told: dict[str, list[str]] = {}
        self._arrival = -1

    async def run(self) -> None:
        """Look until cancelled."""
        complain = functools.partial(_log.exception, "the scales could not be looked at for offers")
        pace = Pace("offers", lambda: EVERY_S, _AFTER_FAULT_S, complain)
        # Without a page that listens nothing is computed; one that comes asks by itself.
        await keep_looking(
            lambda: self.look() if self._broadcast.has_listeners else [], pace, self._tell
        )

    def _tell(self, found: list[tuple[str, list[dict[str, object]]]]) -> None:
        for batch_id, offers in found:
            body = {"batch": batch_id, "offers": offers}
            self._broadcast.tell("offer", body, chain=batch_id)

    def look(self) -> list[tuple[str, list[dict[str, object]]]]:
        """Return the batches whose offers have changed since the last look, with those."""
        last = self._kitchen.readings.last_arrival()
        if last == self._arrival:
            return []
        self._arrival = last
        changed = []
        for batch in self._kitchen.journal.batches(state="open", limit=_MOST_BATCHES):
            found = offers_of(self._kitchen, batch)
            ids = [one.id for one in found]
            if ids != self._told.get(batch.id, []):
                self._told[batch.id] = ids
                changed.append((batch.id, [offer_json(one) for one in found]))
        return changed
