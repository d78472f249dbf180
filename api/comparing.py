# SPDX-License-Identifier: MIT
"""Batches side by side: their curves on a common axis, their figures, and what stands out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from api import views
from api.analysis.gather import Gatherer, PlacedCurve
from api.analysis.whole import analysis
from api.batch_facts import facts_from, facts_of, result_of
from api.kitchen import Kitchen
from api.process.alignment import (
    Align,
    Aligned,
    aligned_on_temperature,
    aligned_on_time,
    aligned_per_kg,
)
from api.process.comparison import Difference, Fact, Group, compare, standing_out
from api.process.effects import Effect, effect_of
from api.process.quantities import NotShown, Quantity, Result
from api.process.thinning import thin
from api.records.batches import Batch
from api.times import format_s
from collector.errors import RecordError

CURVE_POINTS = 400


def comparison(
    kitchen: Kitchen, batch_ids: Sequence[str], align: Align, temperature_degc: float
) -> dict[str, Any]:
    """Return batches side by side; differences are those from the first.

    Args:
        kitchen: The open kitchen.
        batch_ids: At least two.
        align: What the curves have in common.
        temperature_degc: Where they meet if they are aligned on temperature [degC].

    Raises:
        UnknownRecordError: There is no such batch.
        RecordError: Fewer than two, or one of them twice.
    """
    _check(batch_ids)
    batches = [kitchen.journal.batch(batch_id) for batch_id in batch_ids]
    computed = [analysis(kitchen, batch.id) for batch in batches]
    facts = [facts_from(batch, one) for batch, one in zip(batches, computed, strict=True)]
    gatherer = Gatherer.of(kitchen)
    differences = [
        (batch, compare(facts[0], other))
        for batch, other in zip(batches[1:], facts[1:], strict=True)
    ]
    return {
        "align": str(align),
        "temperature": {"value": temperature_degc, "unit": "degC"}
        if align is Align.TEMPERATURE
        else None,
        "batches": [views.batch_line(batch) for batch in batches],
        "curves": [
            _curve(gatherer, batch, one, align, temperature_degc)
            for batch, one in zip(batches, computed, strict=True)
        ],
        "figures": _figures(facts),
        "differences": [
            {"batch": batch.id, **_difference(one)} for batch, found in differences for one in found
        ],
        "standing_out": [
            {"batch": batch.id, "group": str(one.group), "name": one.name, "summary": one.summary}
            for batch, found in differences
            for one in standing_out(found)
        ],
    }


def effects(
    kitchen: Kitchen, first_ids: Sequence[str], second_ids: Sequence[str]
) -> dict[str, Any]:
    """Return how a second way of working differs from a first, figure by figure.

    Args:
        kitchen: The open kitchen.
        first_ids: Batches of the first way.
        second_ids: Batches of the second.

    Raises:
        UnknownRecordError: There is no such batch.
        RecordError: A batch stands twice.
    """
    _check([*first_ids, *second_ids])
    first = [facts_of(kitchen, batch_id) for batch_id in first_ids]
    second = [facts_of(kitchen, batch_id) for batch_id in second_ids]
    found = []
    for group, name in dict.fromkeys((f.group, f.name) for facts in first for f in facts):
        values = [_values(facts, group, name) for facts in (first, second)]
        units = {unit for _, unit in (*values[0], *values[1])}
        if not values[0] or not values[1] or len(units) != 1:
            continue
        effect = effect_of([v for v, _ in values[0]], [v for v, _ in values[1]], units.pop())
        found.append({"group": str(group), "name": name, **_effect(effect)})
    return {"first": list(first_ids), "second": list(second_ids), "effects": found}


def _check(batch_ids: Sequence[str]) -> None:
    if len(batch_ids) < 2 or len(set(batch_ids)) < len(batch_ids):
        raise RecordError(
            f"{len(set(batch_ids))} different batches among {len(batch_ids)} can't be compared.",
            where="batch",
            do="Name at least two batches, each once: ?batch=…&batch=…",
        )


def _curve(
    gatherer: Gatherer,
    batch: Batch,
    computed: Mapping[str, Any],
    align: Align,
    temperature_degc: float,
) -> dict[str, Any]:
    placed = gatherer.curve(batch, "milk")
    if not isinstance(placed, PlacedCurve):
        return {"batch": batch.id, **views.not_shown(placed.why)}
    heat_ms = batch.first_ms("heat")
    zero_s = heat_ms / 1000.0 if heat_ms is not None else float(placed.curve.time_s[0])
    aligned: Aligned | NotShown
    if align is Align.TEMPERATURE:
        aligned = aligned_on_temperature(placed.curve, temperature_degc)
    elif align is Align.PER_KG:
        mass = _milk(computed)
        aligned = (
            mass if isinstance(mass, NotShown) else aligned_per_kg(placed.curve, zero_s, mass.value)
        )
    else:
        aligned = aligned_on_time(placed.curve, zero_s)
    if isinstance(aligned, NotShown):
        return {"batch": batch.id, **views.not_shown(aligned.why)}
    kept = thin(np.rint(aligned.x * 1000.0).astype(np.int64), aligned.value, CURVE_POINTS)
    return {
        "batch": batch.id,
        "series": placed.series,
        "zero_at": format_s(aligned.zero_s),
        "zero": "the heat" if heat_ms is not None else "the first reading",
        "x_unit": aligned.x_unit,
        "unit": "degC",
        "points": np.stack([aligned.x[kept], aligned.value[kept]], axis=1).tolist(),
    }


def _milk(computed: Mapping[str, Any]) -> Result:
    streams = {one["stream"]: one for one in computed["balance"].get("streams") or []}
    for kind in ("measured", "reconciled"):
        found = result_of((streams.get("milk") or {}).get(kind))
        if isinstance(found, Quantity) and found.value > 0.0:
            return found
    return NotShown("nobody weighed the milk")


def _figures(facts: Sequence[Sequence[Fact]]) -> list[dict[str, Any]]:
    """Return every fact with its value in each batch; what no batch tells is left out."""
    by_key = [{(fact.group, fact.name): fact.value for fact in one} for one in facts]
    order = {group: place for place, group in enumerate(Group)}
    keys = dict.fromkeys(key for one in by_key for key in one)
    rows = []
    for key in sorted(keys, key=lambda key: order[key[0]]):
        values = [one.get(key, NotShown("It is not said of this batch.")) for one in by_key]
        if not all(isinstance(value, NotShown) for value in values):
            rows.append(
                {"group": str(key[0]), "name": key[1], "values": [_value(v) for v in values]}
            )
    return rows


def _value(value: Result | str) -> dict[str, Any]:
    return {"text": value} if isinstance(value, str) else views.result(value)


def _difference(one: Difference) -> dict[str, Any]:
    return {
        "group": str(one.group),
        "name": one.name,
        "first": _value(one.first),
        "second": _value(one.second),
        "difference": views.quantity(one.difference),
        "z": one.z,
        "stands_out": one.stands_out,
        "summary": one.summary,
    }


def _values(facts: Sequence[Sequence[Fact]], group: Group, name: str) -> list[tuple[float, str]]:
    return [
        (fact.value.value, fact.value.unit)
        for one in facts
        for fact in one
        if (fact.group, fact.name) == (group, name) and isinstance(fact.value, Quantity)
    ]


def _effect(effect: Effect) -> dict[str, Any]:
    def interval(pair: tuple[float, float] | None) -> list[float] | None:
        return list(pair) if pair is not None else None

    return {
        "first": views.quantity(effect.first),
        "second": views.quantity(effect.second),
        "difference": views.quantity(effect.difference),
        "interval": interval(effect.interval),
        "standardised": views.quantity(effect.standardised),
        "standardised_interval": interval(effect.standardised_interval),
        "batches": list(effect.counts),
    }
