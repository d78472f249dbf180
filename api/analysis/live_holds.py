# SPDX-License-Identifier: MIT
"""The verdicts so far of open batches, for screens that ask again and again.

The same calculations as the record's. Where the curve places a pour is the costly part and hardly
moves once readings from after the pour are there, so it is kept for a while.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass
from typing import Any

from api import views
from api.analysis.addition import addition_section
from api.analysis.balance import weighings_of
from api.analysis.gather import PlacedCurve
from api.analysis.holds import holds_json, judge_holds
from api.analysis.whole import Scene, scene_of
from api.kitchen import Kitchen
from api.records.batches import Batch
from api.times import format_ms

SAME_FOR_MS = 2_000
POUR_KEPT_FOR_MS = 60_000
POUR_SETTLED_AFTER_MS = 600_000
_MOST_KEPT = 64


@dataclass(frozen=True, slots=True)
class _Kept:
    """What was found for one batch.

    Attributes:
        records: Running numbers of the last record of the batch and of the kitchen.
        at_ms: When it was computed [ms since 1970 UTC].
        pour_at_ms: When the pour was placed [ms since 1970 UTC].
        pour: Its start and end, None if the curve places none [s since 1970 UTC].
        found: The answer.
    """

    records: tuple[int, int]
    at_ms: int
    pour_at_ms: int
    pour: tuple[float, float] | None
    found: dict[str, Any]


class LiveHolds:
    """Judges the holds of open batches, and remembers for a moment what it found."""

    def __init__(self) -> None:
        self._kept: dict[str, _Kept] = {}
        self._lock = threading.Lock()

    def of(self, kitchen: Kitchen, batch: Batch) -> dict[str, Any]:
        """Return "holds", "boiling_point" and "computed_at", as the analysis gives them.

        Args:
            kitchen: The open kitchen.
            batch: A batch as it stands now.

        Raises:
            ProcessError: A hold or its readings make no sense.
            UnitError: A unit of the recipe is of the wrong kind.
        """
        now_ms = kitchen.now_ms()
        # Checks and corrections stand in the kitchen's own chain.
        records = (batch.last_number, kitchen.journal.chains.head("kitchen")[0])
        with self._lock:
            kept = self._kept.get(batch.id)
        if kept is not None and kept.records != records:
            kept = None
        if kept is not None and 0 <= now_ms - kept.at_ms < SAME_FOR_MS:
            return kept.found
        fresh = _judged(kitchen, batch, records, kept)
        with self._lock:
            self._kept.pop(batch.id, None)
            self._kept[batch.id] = fresh
            if len(self._kept) > _MOST_KEPT:
                del self._kept[next(iter(self._kept))]
        return fresh.found


def _judged(kitchen: Kitchen, batch: Batch, records: tuple[int, int], kept: _Kept | None) -> _Kept:
    scene = scene_of(kitchen, batch)
    pour, pour_at_ms = _pour(scene, kept)
    judged = judge_holds(
        batch, scene.milk, now_s=scene.now_ms / 1000.0, boiling=scene.boiling, pour=pour
    )
    sources = scene.milk.sources if isinstance(scene.milk, PlacedCurve) else ()
    found = {
        "holds": holds_json(judged, sources),
        "boiling_point": views.quantity(scene.boiling),
        "computed_at": format_ms(scene.now_ms),
    }
    return _Kept(records, kitchen.now_ms(), pour_at_ms, pour, found)


def _pour(scene: Scene, kept: _Kept | None) -> tuple[tuple[float, float] | None, int]:
    """Return where the curve places the pour, and when that was found out."""
    marks = scene.batch.events_of("addition")
    if not marks:
        return None, scene.now_ms
    if kept is not None:
        settled = kept.pour_at_ms - marks[-1].at_ms > POUR_SETTLED_AFTER_MS
        if settled or 0 <= scene.now_ms - kept.pour_at_ms < POUR_KEPT_FOR_MS:
            return kept.pour, kept.pour_at_ms
    return addition_section(scene, weighings_of(scene.batch)).first_pour, scene.now_ms
