# SPDX-License-Identifier: MIT
"""Batches side by side: their curves on a common axis, their figures, and what stands out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from api import views
from api.aligning import Axis, aligned_batch, curve_json
from api.analysis.gather import Gatherer
from api.analysis.whole import analysis
from api.batch_facts import facts_from, facts_of
from api.kitchen import Kitchen
from api.process.alignment import Align
from api.process.comparison import Difference, Fact, Group, compare, standing_out
from api.process.effects import Effect, effect_of
from api.process.quantities import NotShown, Quantity, Result
from api.records.batches import Batch
from collector.errors import RecordError


@dataclass(frozen=True, slots=True)
class Told:
    """A batch and what can be said of it."""

    batch: Batch
    facts: Sequence[Fact]


def told(kitchen: Kitchen, batch_ids: Sequence[str]) -> list[Told]:
    """Return batches with what their analyses say of them, in the order given.

    Args:
        kitchen: The open kitchen.
        batch_ids: Each once.

    Raises:
        UnknownRecordError: There is no such batch.
    """
    found = []
    for batch_id in batch_ids:
        batch = kitchen.journal.batch(batch_id)
        found.append(Told(batch, facts_from(batch, analysis(kitchen, batch_id))))
    return found


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
    return side_by_side(kitchen, told(kitchen, batch_ids), Axis(align, temperature_degc))


def side_by_side(kitchen: Kitchen, chosen: Sequence[Told], axis: Axis) -> dict[str, Any]:
    """Return the same of batches of which it is known what can be said.

    Args:
        kitchen: The open kitchen.
        chosen: At least one.
        axis: What the curves have in common.
    """
    gatherer = Gatherer.of(kitchen)
    differences = [(other.batch, compare(chosen[0].facts, other.facts)) for other in chosen[1:]]
    return {
        "align": str(axis.align),
        "temperature": {"value": axis.temperature_degc, "unit": "degC"}
        if axis.align is Align.TEMPERATURE
        else None,
        "batches": [views.batch_line(one.batch) for one in chosen],
        "curves": [_curve(gatherer, one, axis) for one in chosen],
        "figures": _figures([one.facts for one in chosen]),
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
    ways = [
        [facts_of(kitchen, batch_id) for batch_id in batch_ids]
        for batch_ids in (first_ids, second_ids)
    ]
    found = effects_of(ways[0], ways[1])
    return {"first": list(first_ids), "second": list(second_ids), "effects": found}


def effects_of(
    first: Sequence[Sequence[Fact]], second: Sequence[Sequence[Fact]]
) -> list[dict[str, Any]]:
    """Return the effect of a second way of working on each figure that both ways tell.

    Args:
        first: What can be said of each batch of the first way.
        second: Likewise of the second.
    """
    found = []
    for group, name in dict.fromkeys((f.group, f.name) for facts in first for f in facts):
        values = [_values(facts, group, name) for facts in (first, second)]
        units = {unit for _, unit in (*values[0], *values[1])}
        if not values[0] or not values[1] or len(units) != 1:
            continue
        effect = effect_of([v for v, _ in values[0]], [v for v, _ in values[1]], units.pop())
        found.append({"group": str(group), "name": name, **_effect(effect)})
    return found


def _check(batch_ids: Sequence[str]) -> None:
    if len(batch_ids) < 2 or len(set(batch_ids)) < len(batch_ids):
        raise RecordError(
            f"{len(set(batch_ids))} different batches among {len(batch_ids)} can't be compared.",
            where="batch",
            do="Name at least two batches, each once: ?batch=…&batch=…",
        )


def _curve(gatherer: Gatherer, one: Told, axis: Axis) -> dict[str, Any]:
    return curve_json(one.batch, aligned_batch(gatherer, one.batch, axis))


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
