# SPDX-License-Identifier: MIT
"""Tells open pages when what the scales offer has changed. Keeps nothing."""

from __future__ import annotations

import asyncio
import logging
from concurrent.futures import ThreadPoolExecutor

from api.hands_free.offers import offer_json, offers_of
from api.kitchen import Kitchen
from api.live.broadcast import Broadcast
from api.watch.threads import finish

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
        with ThreadPoolExecutor(1, "offers") as executor:
            while True:
                pause_s = EVERY_S
                try:
                    if self._broadcast.has_listeners:
                        for batch_id, offers in await finish(executor, self.look):
                            self._broadcast.tell(
                                "offer", {"batch": batch_id, "offers": offers}, chain=batch_id
                            )
                except Exception:  # a page asks anew with its next refresh anyway
                    _log.exception("the scales could not be looked at for offers")
                    pause_s = _AFTER_FAULT_S
                await asyncio.sleep(pause_s)

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
