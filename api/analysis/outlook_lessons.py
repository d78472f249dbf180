# SPDX-License-Identifier: MIT
"""What earlier batches of a pot taught, learnt once for each and kept."""

from __future__ import annotations

import threading
from collections.abc import Sequence

from api.analysis.addition import room_temperature
from api.analysis.balance import weighings_of
from api.analysis.gather import PlacedCurve
from api.analysis.whole import Scene, scene_of
from api.kitchen import Kitchen
from api.process.outlook_beliefs import PotKnown, Taught
from api.process.outlook_taught import Lesson, lessons_of, taught_by
from api.process.quantities import Quantity
from api.process.weighings import combine_weighings
from api.records.batches import Batch

# The latest batches of a pot tell of it best; older ones had another hob, perhaps another lid.
MOST_BATCHES = 6
_MOST_KEPT = 200


class Lessons:
    """Remembers what each closed batch taught."""

    def __init__(self) -> None:
        self._kept: dict[tuple[str, int, int], Sequence[Lesson]] = {}
        self._lock = threading.Lock()

    def of_pot(
        self, kitchen: Kitchen, batch: Batch, milk: Quantity | None, *, new_at_most: int
    ) -> Taught | None:
        """Return what earlier batches of a batch's pot teach of it.

        Args:
            kitchen: The open kitchen.
            batch: The batch.
            milk: Mass in its pot, None if nobody weighed it [kg].
            new_at_most: So many batches that were not learnt from yet are learnt from now.
        """
        pot = batch.body.get("pot")
        if not pot:
            return None
        earlier = [
            one
            for one in kitchen.journal.batches(state="closed", limit=50)
            if one.body.get("pot") == pot and one.started_ms < batch.started_ms
        ]
        # Checks and corrections stand in the kitchen's own chain.
        corrected = len(kitchen.journal.kitchen("check")) if earlier else 0
        found: list[Lesson] = []
        batches = 0
        for one in earlier[:MOST_BATCHES]:
            key = (one.id, one.last_number, corrected)
            with self._lock:
                lessons = self._kept.get(key)
            if lessons is None:
                if not new_at_most:
                    continue
                new_at_most -= 1
                lessons = learnt_from(kitchen, one)
                self._keep(key, lessons)
            found += lessons
            batches += bool(lessons)
        return taught_by(found, milk.value if milk is not None else None, batches)

    def _keep(self, key: tuple[str, int, int], lessons: Sequence[Lesson]) -> None:
        with self._lock:
            self._kept[key] = lessons
            while len(self._kept) > _MOST_KEPT:
                del self._kept[next(iter(self._kept))]


def pot_known(scene: Scene, milk: Quantity | None, taught: Taught | None) -> PotKnown:
    """Return what is known of a batch's pot beside its curve.

    Args:
        scene: What is gathered for the analysis.
        milk: Mass in the pot, None if nobody weighed it [kg].
        taught: By earlier batches.
    """
    covers = scene.batch.events_of("cover")
    return PotKnown(
        boiling=scene.boiling,
        room=room_temperature(scene),
        milk=milk,
        covered=True if covers else None,
        taught=taught,
    )


def milk_mass(batch: Batch) -> Quantity | None:
    """Return the mass of the milk as it was weighed [kg], None if nobody did."""
    weighings = [one for one in weighings_of(batch) if one.stream in ("milk", "raw_milk")]
    for stream in ("milk", "raw_milk"):
        parts = [one for one in weighings if one.stream == stream]
        if not parts:
            continue
        together = combine_weighings(parts)
        mass_kg, variance = float(together.mass_kg[0]), float(together.covariance_kg2[0, 0])
        if mass_kg > 0.0:
            sources = tuple(f"weighing {one}" for one in together.ids[0])
            return Quantity(mass_kg, "kg", variance**0.5, "weighed", sources)
    return None


def learnt_from(kitchen: Kitchen, batch: Batch) -> Sequence[Lesson]:
    """Return what one closed batch taught.

    Args:
        kitchen: The open kitchen.
        batch: The batch.
    """
    scene = scene_of(kitchen, batch)
    if not isinstance(scene.milk, PlacedCurve):
        return ()
    added_ms = batch.first_ms("addition")
    # The lid goes on after the addition: what happened before is what an open pot teaches.
    known = PotKnown(scene.boiling, room_temperature(scene), milk_mass(batch))
    until_s = added_ms / 1000.0 if added_ms is not None else None
    curve = scene.milk.curve if until_s is None else scene.milk.curve.between(0.0, until_s)
    return tuple(lessons_of(curve, known, until_s))
