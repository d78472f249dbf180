# SPDX-License-Identifier: MIT
"""Which limits the milk of a batch has, from its recipe, its marks and the settings. Pure.

Which there are at a moment follows from the marks: one that isn't needed in the present step isn't
there, and an alarm that it raised before is suppressed by that.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from api.holds import holds_of
from api.process.hold_spec import Basis, HoldSpec
from api.records.batches import Batch
from api.watch.alarm_condition import Band, Side
from api.watch.crossing import AGAIN_K, DEAD_BAND_K, Direction
from api.watch.limit_kinds import KINDS, PRIORITIES
from api.watch.limits import Around, Limit, band_of
from api.watch.targets import Watched, target_cause, watched_targets
from collector.units import difference_to_kelvin, to_canonical

HEATING = frozenset({"heat", "simmer", "boil"})
AFTER_ADDITION = frozenset(
    {"addition", "cover", "set", "ladle", "press", "unmould", "chill", "end"}
)
# Milk that isn't heated any more loses about this much; one that is gains [K/min].
LOST_K_PER_MIN = -0.5
_NO_STEP = frozenset({"weigh", "note"})
_SAME_DEGC = 1e-9


def limits_of(batch: Batch, around: Around) -> list[Limit]:
    """Return the limits that hold for a batch in its present step.

    Args:
        batch: As it stands.
        around: What else they depend on.

    Raises:
        CurdwrightError: Its recipe can't be understood.
    """
    found: list[Limit] = []
    for watched in watched_targets(batch):
        if not watched.silenced(batch):
            found += _of_target(batch, watched, around)
    for number, spec in enumerate(holds_of(batch.recipe)):
        found += _of_hold(batch, number, spec, around)
    if not _kinds(batch) & AFTER_ADDITION:
        found.append(_foam(batch, around))
        found += _heat_lost(batch, around)
    return found + _of_step(batch)


def step_of(batch: Batch) -> tuple[str, float] | None:
    """Return the last step that was marked and when it began, None before the first."""
    steps = [e for e in batch.events if e.body["kind"] not in _NO_STEP]
    return (str(steps[-1].body["kind"]), steps[-1].at_ms / 1000.0) if steps else None


def _kinds(batch: Batch) -> set[str]:
    return {str(event.body["kind"]) for event in batch.events}


def _begun_s(batch: Batch) -> float:
    return batch.said_start_ms / 1000.0


def _of_target(batch: Batch, watched: Watched, around: Around) -> list[Limit]:
    """Return that the target is near, and that the milk is past it."""
    side = _side_beyond(batch, watched)
    armed = [around.complete(name) for name in watched.target.after]
    if side is None or any(moment is None for moment in armed):
        return []
    goal_degc, settings = watched.target.value_degc, around.settings
    margin_k = max(settings.over_target_k, watched.target.tolerance_k)
    up = side is Side.HIGH
    # Without a boil before it, the milk must have been on the near side; after one, well above.
    clear_k = AGAIN_K if not up and not watched.target.after else DEAD_BAND_K
    from_s = max([_begun_s(batch), *(m for m in armed if m is not None)])
    key = f"{watched.target.key}/{watched.said}"
    over = Limit(
        f"over target/{key}",
        "over target",
        band_of("over target", side, goal_degc + (margin_k if up else -margin_k)),
        f"{'over' if up else 'below'} the target of {watched.said}",
        from_s,
        KINDS["over target"].priority,
        watched.unit,
        enter_degc=goal_degc + (-clear_k if up else clear_k),
    )
    near = Limit(
        f"near target/{key}",
        "near target",
        band_of("near target", Side.LOW, settings.lead_s),
        f"{watched.said} is about to be reached",
        from_s,
        KINDS["near target"].priority,
        watched.unit,
        enter_degc=over.enter_degc,
        measure="to go",
        goal_degc=goal_degc,
        after=(over.key,),
    )
    direction = Direction.RISING if up else Direction.FALLING
    reached = target_cause(batch.id, watched, direction) in around.told
    return [over] if reached else [near, over]


def _side_beyond(batch: Batch, watched: Watched) -> Side | None:
    """Return on which side the milk is past the target; None where passing it asks for nothing."""
    approach = watched.target.approach
    if approach == "falling":
        return Side.LOW
    if approach == "rising":
        return Side.HIGH
    if not watched.rising_acts or _kinds(batch) & {"boil", "simmer"}:
        return Side.LOW
    return Side.HIGH


def _of_hold(batch: Batch, number: int, spec: HoldSpec, around: Around) -> list[Limit]:
    """Return that a hold's band is left, and that its edge is near; none unless it is running."""
    if around.complete(spec.name) is not None or _over(batch, number, spec):
        return []
    from_s = _begun_s(batch)
    if spec.start != "band":
        started = batch.first_ms(spec.start)
        if started is None:
            return []
        from_s = started / 1000.0
    low, high = spec.low_degc, spec.high_degc
    if spec.below_boiling_k is not None:
        low = around.boiling_degc - spec.below_boiling_k
    widths = [w for w in (spec.below_boiling_k, None if None in (low, high) else high - low) if w]  # type: ignore[operator]
    edge_k = min([around.settings.edge_k, *(width / 4.0 for width in widths)])
    found: list[Limit] = []
    for side, limit in ((Side.LOW, low), (Side.HIGH, high)):
        if limit is not None:
            found += _edges(number, spec, side, limit, edge_k, from_s)
    return found


def _edges(
    number: int, spec: HoldSpec, side: Side, limit: float, edge_k: float, from_s: float
) -> list[Limit]:
    word = "low" if side is Side.LOW else "high"
    inward_k = edge_k if side is Side.LOW else -edge_k
    enter = limit if spec.start == "band" else None
    key = f"left the band/hold {number}/{word}"
    priority = "high" if spec.basis is Basis.SAFETY else KINDS["left the band"].priority
    left = Limit(
        key,
        "left the band",
        band_of("left the band", side, limit - math.copysign(_SAME_DEGC, inward_k)),
        f"{'below' if side is Side.LOW else 'above'} the band of {spec.name}",
        from_s,
        priority,
        enter_degc=enter,
    )
    edge = Limit(
        f"near the edge/hold {number}/{word}",
        "near the edge",
        band_of("near the edge", side, limit + inward_k),
        f"near the {word} edge of {spec.name}",
        from_s,
        KINDS["near the edge"].priority,
        enter_degc=None if enter is None else limit + 2.0 * inward_k,
        after=(key,),
    )
    return [edge, left]


def _over(batch: Batch, number: int, spec: HoldSpec) -> bool:
    """Tell whether a hold has ended by a mark: its own end, or a step after it."""
    kinds = _kinds(batch)
    if "end" in kinds or (spec.end is not None and spec.end in kinds):
        return True
    steps: Sequence[Mapping[str, Any]] = (batch.recipe or {}).get("steps") or []
    with_hold = [n for n, step in enumerate(steps) if step.get("hold")]
    place = with_hold[number]
    before = {step["kind"] for step in steps[: place + 1]} | {spec.start}
    return bool(kinds & ({step["kind"] for step in steps[place + 1 :]} - before))


def _foam(batch: Batch, around: Around) -> Limit:
    return Limit(
        "may foam over",
        "may foam over",
        band_of("may foam over", Side.HIGH, around.foam_degc),
        "may foam over",
        _begun_s(batch),
        KINDS["may foam over"].priority,
        rising=True,
    )


def _heat_lost(batch: Batch, around: Around) -> list[Limit]:
    """Return that the milk cools in a step that heats it; none once all its holds are complete."""
    step = step_of(batch)
    if step is None or step[0] not in HEATING:
        return []
    steps: Sequence[Mapping[str, Any]] = (batch.recipe or {}).get("steps") or []
    holds = [s["hold"]["name"] for s in steps if s.get("hold") and s["kind"] in HEATING]
    if all(around.complete(name) is not None for name in holds) and (holds or step[0] == "boil"):
        return []
    band = band_of("heat lost", Side.LOW, LOST_K_PER_MIN)
    what = f"it cools although the step is {step[0]}"
    priority = KINDS["heat lost"].priority
    return [
        Limit(f"heat lost/{step[0]}", "heat lost", band, what, step[1], priority, measure="trend")
    ]


def _of_step(batch: Batch) -> list[Limit]:
    """Return the limit that the recipe sets for the present step."""
    step = step_of(batch)
    if step is None:
        return []
    steps: Sequence[Mapping[str, Any]] = (batch.recipe or {}).get("steps") or []
    kind, from_s = step
    return [
        step_limit(said["limit"], number, kind, from_s)
        for number, said in enumerate(steps)
        if said["kind"] == kind and said.get("limit")
    ]


def step_limit(said: Mapping[str, Any], number: int, step: str, from_s: float) -> Limit:
    """Return a recipe's own limit.

    Args:
        said: As in a recipe: side, value, unit, dead_band, on_delay, off_delay, priority.
        number: The step's place in the recipe, from 0.
        step: Its kind.
        from_s: When it began [s since 1970 UTC].

    Raises:
        UnitError: A unit is of the wrong kind.
    """
    of, side = KINDS["step limit"], Side(said["side"])

    def delay_s(key: str, otherwise_s: float) -> float:
        given = said.get(key)
        return to_canonical(given["value"], given["unit"], "duration") if given else otherwise_s

    dead_band = said.get("dead_band")
    priority = said.get("priority") or of.priority
    assert priority in PRIORITIES
    band = Band(
        side,
        to_canonical(said["value"], said["unit"], "temperature"),
        of.dead_band if dead_band is None else difference_to_kelvin(dead_band, said["unit"]),
        delay_s("on_delay", of.on_delay_s),
        delay_s("off_delay", of.off_delay_s),
    )
    unit = {"Cel": "degC", "°C": "degC", "C": "degC", "°F": "degF", "F": "degF"}.get(
        said["unit"], said["unit"]
    )
    what = f"{'over' if side is Side.HIGH else 'under'} the limit of {said['value']:g} {unit}"
    key = f"step limit/step {number}/{side}"
    return Limit(key, "step limit", band, f"{what} for {step}", from_s, priority, unit)
