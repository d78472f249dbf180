# SPDX-License-Identifier: MIT
"""What is looked at on a slower beat: instruments, the disk, the forwarder, chilling, silence.

Reads the store, the records and the data folder's disk. Each check returns what it has found as
plain values; whether that is an alarm is judged by its dead-band and delays like any other.
"""

from __future__ import annotations

import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from api.corrections import STALE_AFTER_S, Corrections
from api.kitchen import Kitchen
from api.process.hold_spec import duration_text
from api.records.batches import Batch, Binding
from api.records.chain import KITCHEN
from api.watch.alarm_condition import Side
from api.watch.limit_kinds import KINDS, higher
from api.watch.limit_rules import HEATING, step_of
from collector.forward import CURSOR as FORWARD_CURSOR
from collector.readings import Quality
from collector.store.protocol import SeriesInfo
from collector.units import kind_of, to_canonical

_MILK_STEPS = HEATING | {"addition", "cover", "set"}
_NEEDED_IN = {
    "milk": _MILK_STEPS,
    "block_core": frozenset({"chill"}),
    "chill_water": frozenset({"chill"}),
    "under_pot": HEATING | {"addition"},
    "under_press": frozenset({"press"}),
}
_SCALES = frozenset({"under_pot", "under_press"})
# A pot that is as hot as this is at work, whether a step was marked or not [degC].
_AT_WORK_DEGC = 40.0
_UNSTABLE_FOR_S = 60.0
_LOOK_BACK_S = 180.0


@dataclass(frozen=True, slots=True)
class Check:
    """One thing that was looked at.

    Attributes:
        chain: The batch's id, or "kitchen".
        key: What tells it from the chain's others.
        kind: One of `limit_kinds.KINDS`.
        side: On which side of the limit the alarm lies.
        value: What was found, in the kind's unit.
        limit: The limit, same unit.
        title: What it is, in a few words.
        text: The same, whole by itself.
        priority: "low", "medium" or "high".
        sources: What it was found from.
    """

    chain: str
    key: str
    kind: str
    side: Side
    value: float
    limit: float
    title: str
    text: str
    priority: str
    sources: tuple[str, ...] = ()


def pot_of(batch: Batch) -> str:
    """Return what a batch is called: by its pot, else by its name."""
    return str(batch.body.get("pot") or batch.name)


def series_checks(
    kitchen: Kitchen, batches: Sequence[Batch], blinded: Mapping[str, str]
) -> list[Check]:
    """Return how every series fares that an open batch needs in its present step.

    Args:
        kitchen: The open kitchen.
        batches: The open batches.
        blinded: By batch, the highest priority of what its milk's series would tell.
    """
    known = {info.name: info for info in kitchen.readings.series()}
    corrections = Corrections(kitchen.journal)
    found: list[Check] = []
    for batch in batches:
        for binding in batch.bindings:
            since_s = _needed_since_s(batch, binding, known.get(binding.series), kitchen.now_ms())
            if since_s is None:
                continue
            stale_s = float(corrections.known(binding.series).get("stale_after_s", STALE_AFTER_S))
            priority = higher("medium", blinded.get(batch.id, "low"))
            if binding.place in _SCALES:
                priority = "low"
            elif binding.place != "milk":
                priority = "medium"
            found += _of_series(kitchen, batch, binding, (since_s, stale_s), priority)
    return found


def _needed_since_s(
    batch: Batch, binding: Binding, info: SeriesInfo | None, now_ms: int
) -> float | None:
    """Return since when a binding's series is needed; None if it isn't [s since 1970 UTC]."""
    if binding.to_ms is not None and binding.to_ms <= now_ms:
        return None
    step = step_of(batch)
    begun_s = (binding.from_ms or batch.said_start_ms) / 1000.0
    if step is not None and step[0] in _NEEDED_IN.get(binding.place, ()):
        return max(step[1], begun_s)
    if binding.place == "milk" and (step is None or step[0] not in ("ladle", "press", "chill")):
        return begun_s if _is_hot(info) else None
    return None


def _is_hot(info: SeriesInfo | None) -> bool:
    last = info.last if info else None
    if last is None or last.value is None or kind_of(last.unit) != "temperature":
        return False
    return to_canonical(last.value, last.unit, "temperature") >= _AT_WORK_DEGC


def _of_series(
    kitchen: Kitchen, batch: Batch, binding: Binding, times_s: tuple[float, float], priority: str
) -> list[Check]:
    since_s, stale_s = times_s
    now_s = kitchen.now_ms() / 1000.0
    back_s = max(_LOOK_BACK_S, 4.0 * stale_s)
    stretch = kitchen.readings.stretch(binding.series, int((now_s - back_s) * 1000.0), None)
    times = stretch.time_ms / 1000.0
    good = times[stretch.quality == int(Quality.GOOD)]
    oldest_s = max(since_s, now_s - back_s)
    silent_s = now_s - max(float(times[-1]) if times.size else oldest_s, since_s)
    no_good_s = now_s - max(float(good[-1]) if good.size else oldest_s, since_s)
    speaks = silent_s < stale_s
    pot, place = pot_of(batch), binding.place.replace("_", " ")
    who = f"{binding.series} ({place})"
    source = (f"series {binding.series}",)
    reasons = stretch.reasons.values()
    why = f": {list(reasons)[-1]}" if reasons else ""
    found = [
        Check(
            batch.id, f"series silent/{binding.series}", "series silent", Side.HIGH, silent_s,
            stale_s, f"{pot}: {binding.series} is silent",
            f"{pot}: {who} has said nothing for {duration_text(round(max(silent_s, 0.0)))}",
            priority, source,
        ),
        Check(
            batch.id, f"series bad/{binding.series}", "series bad", Side.HIGH,
            no_good_s if speaks and binding.place not in _SCALES else 0.0, stale_s,
            f"{pot}: {binding.series} says nothing that can be used",
            f"{pot}: {who} has said nothing that can be used for "
            f"{duration_text(round(max(no_good_s, 0.0)))}{why}",
            priority, source,
        ),
    ]  # fmt: skip
    if binding.place in _SCALES:
        moving = np.array(
            ["not stable" in stretch.reasons.get(i, "") for i in range(times.size)], dtype=bool
        )
        rested = times[~moving]
        moving_s = now_s - max(float(rested[-1]) if rested.size else oldest_s, since_s)
        found.append(
            Check(
                batch.id, f"scale unstable/{binding.series}", "scale unstable", Side.HIGH,
                moving_s if speaks and moving.any() else 0.0, _UNSTABLE_FOR_S,
                f"{pot}: {binding.series} does not come to rest",
                f"{pot}: {who} has not come to rest for "
                f"{duration_text(round(max(moving_s, 0.0)))}: no weight can be taken from it",
                "low", source,
            )
        )  # fmt: skip
    return found


def silence_checks(kitchen: Kitchen, batches: Sequence[Batch]) -> list[Check]:
    """Return how long nothing has come from each batch that is at work or chilling [h]."""
    limit_h = kitchen.config.alarms.silent_h
    known = {info.name: info for info in kitchen.readings.series()}
    found: list[Check] = []
    for batch in batches:
        if batch.state in ("planned", "soaking"):
            continue
        moments = [batch.said_start_ms, *(event.at_ms for event in batch.events)]
        for binding in batch.bindings:
            info = known.get(binding.series)
            if info is not None and info.last is not None:
                moments.append(min(info.last.time_ms, binding.to_ms or info.last.time_ms))
        silent_h = (kitchen.now_ms() - max(moments)) / 3_600_000.0
        pot = pot_of(batch)
        found.append(
            Check(
                batch.id, "batch silent", "batch silent", Side.HIGH, silent_h, limit_h,
                f"{pot}: nothing for {silent_h:.0f} h",
                f"{pot}: neither a reading nor a mark has come for {silent_h:.0f} h. "
                "Has it ended? Then mark its end.",
                KINDS["batch silent"].priority,
            )
        )  # fmt: skip
    return found


def disk_checks(kitchen: Kitchen) -> list[Check]:
    """Return how much room is left beyond what is wanted, on the data folder's disk [MB]."""
    wanted = kitchen.config.alarms
    usage = shutil.disk_usage(kitchen.data_dir)
    free_mb, all_mb = usage.free / 1e6, usage.total / 1e6
    # A share of a large disk is much room still: it counts up to ten times the least.
    share_mb = min(all_mb * wanted.disk_low_percent / 100.0, 10.0 * wanted.disk_low_mb)
    limit_mb = max(wanted.disk_low_mb, share_mb)
    percent = 100.0 * free_mb / all_mb if all_mb else 0.0
    return [
        Check(
            KITCHEN, "disk low", "disk low", Side.LOW, free_mb, limit_mb, "The disk is nearly full",
            f"The disk of the data folder has {free_mb:.0f} MB left, {percent:.1f} % of it",
            KINDS["disk low"].priority, (str(kitchen.data_dir),),
        )
    ]  # fmt: skip


def forward_checks(kitchen: Kitchen) -> list[Check]:
    """Return how far the forwarder is behind [min]; nothing without one."""
    if kitchen.config.forward is None:
        return []
    store = kitchen.readings
    waiting = store.since(store.cursor(FORWARD_CURSOR), 1)
    behind_min = 0.0
    if waiting:
        behind_min = (kitchen.now_ms() - waiting[0].reading.arrival_ms) / 60_000.0
    return [
        Check(
            KITCHEN, "forwarder behind", "forwarder behind", Side.HIGH, behind_min,
            kitchen.config.alarms.forward_behind_min, "Readings are not reaching the engine",
            f"The oldest reading that the central engine has not taken is {behind_min:.0f} min old",
            KINDS["forwarder behind"].priority,
        )
    ]  # fmt: skip
