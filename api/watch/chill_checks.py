# SPDX-License-Identifier: MIT
"""Whether a leg of the chilling is at risk or missed, by the analysis that the record uses.

Only a rule that was read in its source raises an alarm. Reads the store; too slow for every beat.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from api.analysis.chilling import chilling_section
from api.analysis.whole import scene_of
from api.kitchen import Kitchen
from api.process.ingredient_rows import Status
from api.records.batches import Batch
from api.times import parse_ms
from api.watch.alarm_checks import Check, pot_of
from api.watch.alarm_condition import Side
from api.watch.limit_kinds import KINDS

# Without a forecast a leg counts as at risk when so little of its time is left [s].
_LITTLE_S = 900.0
_LATER_S = 1e6


def chill_checks(kitchen: Kitchen, batches: Sequence[Batch]) -> list[Check]:
    """Return how each leg of each rule fares for the batches that have a probe in the block.

    The value is the time by which it is late: by the forecast for one at risk, by the clock for
    one that is missed [s].
    """
    found: list[Check] = []
    for batch in batches:
        if not any(binding.place == "block_core" for binding in batch.bindings):
            continue
        section = chilling_section(scene_of(kitchen, batch))
        for rule in section.get("rules", []):
            if rule["known"] == str(Status.SEEN):
                found += _of_rule(kitchen, batch, rule, section)
    return found


def _of_rule(
    kitchen: Kitchen, batch: Batch, rule: Mapping[str, Any], section: Mapping[str, Any]
) -> list[Check]:
    forecasts = {str(row["name"]): row for row in section.get("forecast") or []}
    found: list[Check] = []
    waits = False
    for leg in rule["legs"]:
        name = f"{leg['to_degc']:g} degC"
        row = forecasts.get(f"{rule['name']}: to {name}")
        missed = leg["verdict"] == "not met"
        # One warning at a time: a later leg waits for the one before it.
        to_come = row is not None and not missed and not waits
        late_s = _late_s(row, kitchen.now_ms()) if row and to_come else 0.0
        waits = waits or to_come
        found += [
            _check(batch, "chilling missed", (1.0 if missed else 0.0, 1.0), rule, name,
                   f"was not at {name} in time: {leg['why']}"),
            _check(batch, "chilling at risk", (late_s, 1.0), rule, name, _risk_text(row, name)),
        ]  # fmt: skip
    return found


def _check(
    batch: Batch,
    kind: str,
    value_limit: tuple[float, float],
    rule: Mapping[str, Any],
    name: str,
    text: str,
) -> Check:
    pot = pot_of(batch)
    return Check(
        batch.id,
        f"{kind}/{str(rule['name'])[:60]}/{name}",
        kind,
        Side.HIGH,
        *value_limit,
        f"{pot}: {kind}, to {name}",
        f"{pot}: the block {text} ({rule['name']}; {rule['source']})",
        KINDS[kind].priority,
        (str(rule["source"]),),
    )


def _late_s(row: Mapping[str, Any], now_ms: int) -> float:
    """Return by how much a leg may be late; 0 if it is expected in time [s]."""
    left_s = (parse_ms(row["due_at"]) - now_ms) / 1000.0
    if "expected" not in row:
        return _LATER_S if left_s <= _LITTLE_S else 0.0
    if row["expected"] == "in time":
        return 0.0
    latest = row.get("latest")
    return (parse_ms(latest) - parse_ms(row["due_at"])) / 1000.0 if latest else _LATER_S


def _risk_text(row: Mapping[str, Any] | None, name: str) -> str:
    if row is None or "expected" not in row:
        return f"can't be shown to reach {name} in time"
    return f"is expected {row['expected']} at {name}"
