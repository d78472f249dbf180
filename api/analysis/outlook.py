# SPDX-License-Identifier: MIT
"""What is about to happen in a batch and when, from readings up to a moment only."""

from __future__ import annotations

import math
import threading
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from api import views
from api.analysis.chilling import ChillAhead, chill_ahead
from api.analysis.gather import PlacedCurve
from api.analysis.holds import judge_holds
from api.analysis.outlook_lessons import Lessons, milk_mass, pot_known
from api.analysis.whole import Scene, scene_of
from api.kitchen import Kitchen
from api.process.cooling_forecast import Forecast
from api.process.hold_spec import HoldResult, HoldSpec
from api.process.hold_time import Band
from api.process.outlook import Course, Expected, course_of, time_to_boil, time_to_target
from api.process.outlook_hold import HoldAhead, hold_ahead
from api.process.quantities import NotShown
from api.records.batches import Batch
from api.times import format_ms, format_s
from api.watch.targets import Watched, watched_targets

SAME_FOR_MS = 1_000
_MOST_KEPT = 64
# One answer waits for no more than so many earlier batches; the rest is learnt at the next.
_LEARNT_AT_ONCE = 1
# After these the milk is not boiled any more.
_PAST_BOIL = ("boil", "addition", "set", "ladle", "press", "unmould", "chill", "end")
_CHILL_METHOD = "two terms of conduction, fitted since the surroundings changed"

Json = dict[str, Any]


class Outlooks:
    """Gives the outlook of batches; remembers what earlier batches taught, and the last answers."""

    def __init__(self) -> None:
        self._lessons = Lessons()
        self._kept: dict[str, tuple[tuple[int, int], int, Json]] = {}
        self._lock = threading.Lock()

    def of(self, kitchen: Kitchen, batch_id: str, at_ms: int | None = None) -> Json:
        """Return "at", "target", "boil", "hold", "chill" of a batch as JSON.

        Args:
            kitchen: The open kitchen.
            batch_id: The batch.
            at_ms: From when one looks, None for now [ms since 1970 UTC]; no reading, mark or
                weighing after it is used.

        Raises:
            UnknownRecordError: There is no such batch.
            ProcessError: A hold or its readings make no sense.
            UnitError: A unit of the recipe is of the wrong kind.
        """
        batch = kitchen.journal.batch(batch_id)
        if at_ms is not None:
            return self._found(kitchen, batch, at_ms, _LEARNT_AT_ONCE)
        now_ms = kitchen.now_ms()
        records = (batch.last_number, kitchen.journal.chains.head("kitchen")[0])
        with self._lock:
            kept = self._kept.get(batch_id)
        if kept is not None and kept[0] == records and 0 <= now_ms - kept[1] < SAME_FOR_MS:
            return kept[2]
        found = self._found(kitchen, batch, now_ms, _LEARNT_AT_ONCE)
        with self._lock:
            self._kept.pop(batch_id, None)
            self._kept[batch_id] = (records, now_ms, found)
            while len(self._kept) > _MOST_KEPT:
                del self._kept[next(iter(self._kept))]
        return found

    def _found(self, kitchen: Kitchen, batch: Batch, at_ms: int, new_at_most: int) -> Json:
        past = _as_it_was(batch, at_ms)
        if past.ended_ms is not None:
            over = views.not_shown("the batch has ended")
            parts: Json = dict.fromkeys(("target", "boil", "hold", "chill"), over)
            return {"batch": batch.id, "at": format_ms(at_ms), **parts}
        scene = replace(scene_of(kitchen, past, until_ms=at_ms + 1), now_ms=at_ms)
        milk = milk_mass(past)
        taught = self._lessons.of_pot(kitchen, batch, milk, new_at_most=new_at_most)
        course: Course | NotShown
        if isinstance(scene.milk, NotShown):
            course = scene.milk
        else:
            known = pot_known(scene, milk, taught)
            course = course_of(scene.milk.curve, known, at_ms / 1000.0)
        return {
            "batch": batch.id,
            "at": format_ms(at_ms),
            "target": _target(past, course),
            "boil": _boil(past, course),
            "hold": _hold(scene, course),
            "chill": _chill(scene),
        }


def _as_it_was(batch: Batch, at_ms: int) -> Batch:
    """Return a batch with only those marks, weighings and observations that were made by then."""
    return replace(
        batch,
        state=batch.state if batch.open or _ended_by(batch, at_ms) else "running",
        events=tuple(one for one in batch.events if one.at_ms <= at_ms),
        bindings=tuple(one for one in batch.bindings if (one.from_ms or 0) <= at_ms),
        weighings=tuple(one for one in batch.weighings if one.at_ms <= at_ms),
        observations=tuple(one for one in batch.observations if one.at_ms <= at_ms),
    )


def _ended_by(batch: Batch, at_ms: int) -> bool:
    return batch.ended_ms is not None and batch.ended_ms <= at_ms


def _passed(batch: Batch, kinds: Sequence[str]) -> str | None:
    """Return the first of these marks that has been made, None if none was."""
    return next((kind for kind in kinds if batch.first_ms(kind) is not None), None)


# --- target and boil ---------------------------------------------------------------------------


def _target(batch: Batch, course: Course | NotShown) -> Json:
    """Return when the target that matters next will be reached; its value even where it isn't."""
    watched = [one for one in watched_targets(batch) if not one.silenced(batch)]
    if not watched:
        every = watched_targets(batch)
        return views.not_shown("what the target was for is marked" if every else "no target is set")
    said = [(one, _to_target(one, course)) for one in watched]
    chosen, found = next((pair for pair in said if isinstance(pair[1], Expected)), said[0])
    about = {
        "kind": chosen.target.kind,
        "value_degc": chosen.target.value_degc,
        "approach": _approach(chosen),
    }
    return {**_json(found), **about}


def _approach(watched: Watched) -> str | None:
    approach = watched.target.approach
    return "falling" if approach is None and not watched.rising_acts else approach


def _to_target(watched: Watched, course: Course | NotShown) -> Expected | NotShown:
    if isinstance(course, NotShown):
        return course
    return time_to_target(course, watched.target.value_degc, _approach(watched))


def _boil(batch: Batch, course: Course | NotShown) -> Json:
    if (kind := _passed(batch, _PAST_BOIL)) is not None:
        return views.not_shown(f"{kind} is marked")
    return _json(course if isinstance(course, NotShown) else time_to_boil(course))


# --- hold and chill ----------------------------------------------------------------------------


def _hold(scene: Scene, course: Course | NotShown) -> Json:
    """Return the end of the hold that is running, and whether its band is left before."""
    if isinstance(scene.milk, NotShown):
        return views.not_shown(scene.milk.why)
    judged = judge_holds(
        scene.batch, scene.milk, now_s=scene.now_ms / 1000.0, boiling=scene.boiling
    )
    if not judged:
        return views.not_shown("the recipe has no hold")
    found = [_hold_ahead(scene, scene.milk, one, course) for one in judged]
    chosen = next((one for one in found if isinstance(one, HoldAhead)), found[0])
    if isinstance(chosen, NotShown):
        return views.not_shown(chosen.why)
    leaves = None
    if chosen.leaves is not None:
        leaves = {**_json(chosen.leaves), "edge_degc": chosen.edge_degc}
    return {**_json(chosen.kept), "hold": chosen.hold, "leaves": leaves}


def _hold_ahead(
    scene: Scene,
    placed: PlacedCurve,
    judged: tuple[HoldSpec, HoldResult | NotShown],
    course: Course | NotShown,
) -> HoldAhead | NotShown:
    spec, result = judged
    if isinstance(result, NotShown):
        return result
    low = spec.low_degc
    if spec.below_boiling_k is not None:
        low = scene.boiling.value - spec.below_boiling_k
    band = Band(low, spec.high_degc)
    return hold_ahead(placed.curve, (spec, result), band, course, scene.now_ms / 1000.0)


def _chill(scene: Scene) -> Json:
    found = chill_ahead(scene)
    if isinstance(found, NotShown):
        return views.not_shown(found.why)
    about = {"name": found.name, "to_degc": found.to_degc, "due_at": format_s(found.due_s)}
    return {**_json(_chill_expected(found)), **about}


def _chill_expected(found: ChillAhead) -> Expected | NotShown:
    told: Forecast | NotShown = found.found
    if isinstance(told, NotShown):
        return told
    if not math.isfinite(told.latest_s):
        return NotShown(f"nothing says yet that the core will come down to {found.to_degc:g} degC")
    return Expected(told.at_s, told.earliest_s, told.latest_s, _CHILL_METHOD, ("block core",))


def _json(found: Expected | NotShown) -> Json:
    if isinstance(found, NotShown):
        return views.not_shown(found.why)
    return {
        "at": format_s(found.at_s),
        "earliest": format_s(found.earliest_s),
        "latest": format_s(found.latest_s),
        "method": found.method,
        "from": list(dict.fromkeys(found.sources)),
    }
