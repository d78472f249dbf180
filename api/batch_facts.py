# SPDX-License-Identifier: MIT
"""What can be said of a batch, thing by thing, so that two batches can be compared."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from api.analysis.whole import analysis
from api.kitchen import Kitchen
from api.observed import observations_of
from api.process.comparison import Fact, Group
from api.process.quantities import Absence, NotShown, Quantity, Result
from api.process.tasting import Scale, Score, mean_scores
from api.records.batches import Batch
from collector.units import difference_to_kelvin, to_canonical

_INPUT_STREAMS = ("dry", "soak_water", "soaked", "water", "coagulant", "coagulant_water")
_OUTCOME_STREAMS = ("milk", "pulp", "starch", "curd", "whey", "block", "press_whey")
# Where the figures of an analysis belong; each path leads to a quantity, or to why there is none.
_FIGURES: tuple[tuple[Group, str, str], ...] = (
    (Group.INPUT, "coagulant by dry mass", "coagulant.of_dry"),
    (Group.INPUT, "coagulant by milk", "coagulant.of_milk"),
    (Group.INPUT, "coagulant in the milk", "coagulant.concentration"),
    (Group.INPUT, "soak uptake", "yield.soak_uptake"),
    (Group.INPUT, "water ratio", "yield.water_ratio"),
    (Group.PROCESS, "milk before the addition", "addition.before"),
    (Group.PROCESS, "mixture after the addition", "addition.after"),
    (Group.PROCESS, "loss at the addition", "addition.loss"),
    (Group.PROCESS, "evaporation", "evaporation"),
    (Group.PROCESS, "pressure", "pressing.pressure"),
    (Group.PROCESS, "whey left in the press", "pressing.drain.left"),
    (Group.OUTCOME, "yield", "yield"),
    (Group.OUTCOME, "moisture", "yield.moisture"),
    (Group.OUTCOME, "closure", "balance.closure"),
    (Group.OUTCOME, "protein", "nutrition.protein"),
    (Group.OUTCOME, "cost", "cost.total"),
    (Group.OUTCOME, "cost of 100 g", "cost.per_100_g"),
)
# Sections whose figures all belong to the process, whatever they are called there.
_PROCESS_SECTIONS = ("heat_treatment", "heating", "chilling")
# What a hand measurement is good for where nobody stated it (common practice).
_USUAL_U = {"brix": 0.2, "ph": 0.05}
_USUAL_U_FRACTION = 0.05


def facts_of(kitchen: Kitchen, batch_id: str) -> list[Fact]:
    """Return what can be said of a batch.

    Args:
        kitchen: The open kitchen.
        batch_id: The batch.

    Raises:
        UnknownRecordError: There is no such batch.
    """
    return facts_from(kitchen.journal.batch(batch_id), analysis(kitchen, batch_id))


def facts_from(batch: Batch, computed: Mapping[str, Any]) -> list[Fact]:
    """Return what can be said of a batch whose analysis is at hand.

    Args:
        batch: The batch.
        computed: Its analysis, as the interface gives it.
    """
    return [*_words(batch), *_masses(computed), *_figures(computed), *_holds(computed),
            *_observed(batch), *_tasted(batch)]  # fmt: skip


def result_of(shown: Mapping[str, Any] | None) -> Result:
    """Return a quantity of the interface in the calculations' own form.

    Args:
        shown: `{"value","unit","u","method","from"}`, or `{"status","why"}`.
    """
    if not shown or shown.get("value") is None:
        said = shown or {}
        status = Absence(said.get("status", Absence.NOT_SHOWN))
        return NotShown(str(said.get("why", "It is not computed.")), status)
    return Quantity(
        float(shown["value"]),
        str(shown["unit"]),
        float(shown.get("u") or 0.0),
        str(shown.get("method", "")),
        tuple(shown.get("from", ())),
    )


def _words(batch: Batch) -> Iterator[Fact]:
    recipe, salt = batch.recipe, batch.body.get("coagulant")
    parts = batch.body.get("ingredients") or []
    said = {
        "ingredients": ", ".join(
            one["name"] if len(parts) == 1 else f"{one['name']} {one.get('share', 1.0):.0%}"
            for one in parts
        ),
        "lots": ", ".join(one["lot"] for one in parts if one.get("lot")),
        "kind of coagulant": "self-set" if batch.body.get("self_set") else (salt or {}).get("name"),
        "recipe": f"{recipe['name']}, version {recipe['version']}" if recipe else None,
        "pot": batch.body.get("pot"),
    }
    for name, word in said.items():
        if word:
            yield Fact(Group.INPUT, name, word)
    for record in reversed(batch.observations):
        if record.body["quantity"] == "outcome":
            yield Fact(Group.OUTCOME, "outcome", record.body["text"])
            break


def _masses(computed: Mapping[str, Any]) -> Iterator[Fact]:
    streams = {one["stream"]: one for one in computed["balance"].get("streams") or []}
    for group, names in ((Group.INPUT, _INPUT_STREAMS), (Group.OUTCOME, _OUTCOME_STREAMS)):
        for name in names:
            if name in streams:
                yield Fact(group, name.replace("_", " "), result_of(streams[name]["measured"]))


def _figures(computed: Mapping[str, Any]) -> Iterator[Fact]:
    for group, name, path in _FIGURES:
        node: Any = computed
        for key in path.split("."):
            if isinstance(node, Mapping):
                node = node.get(key, node if "why" in node else None)
        yield Fact(group, name, result_of(node if isinstance(node, Mapping) else None))
    for section in _PROCESS_SECTIONS:
        yield from _below(section.replace("_", " "), computed.get(section))


def _below(name: str, node: Any) -> Iterator[Fact]:
    """Return every figure of a section, called by the way that leads to it."""
    if not isinstance(node, Mapping):
        return
    if "unit" in node and "value" in node:
        yield Fact(Group.PROCESS, name, result_of(node))
    for key, below in node.items():
        if isinstance(below, Mapping):
            yield from _below(f"{name}: {key.replace('_', ' ')}", below)
        elif isinstance(below, list):
            for number, one in enumerate(below, 1):
                called = one.get("name") if isinstance(one, Mapping) else None
                yield from _below(f"{name}: {called or f'{key} {number}'}", one)
        elif key == "verdict":
            yield Fact(Group.PROCESS, f"{name}: verdict", str(below))


def _holds(computed: Mapping[str, Any]) -> Iterator[Fact]:
    for hold in computed["holds"]:
        yield Fact(Group.PROCESS, f"hold, {hold['hold']}: verdict", hold["verdict"])
        margin = (hold.get("margin") or {}).get("time")
        if margin:
            yield Fact(Group.PROCESS, f"hold, {hold['hold']}: time to spare", result_of(margin))


def _observed(batch: Batch) -> Iterator[Fact]:
    for quantity in ("brix", "ph", "firmness"):
        found = observations_of(batch, quantity)
        if found:
            body = found[-1].body
            usual = _USUAL_U.get(quantity, _USUAL_U_FRACTION * abs(body["value"]))
            unit = body.get("unit") or "-"
            value = Quantity(
                body["value"], unit, body.get("u") or usual, "measured by hand",
                (f"observation {found[-1].id}",),
            )  # fmt: skip
            yield Fact(Group.OUTCOME, quantity if quantity != "ph" else "pH", value)
    rooms = observations_of(batch, "room_temperature")
    if rooms:
        body = rooms[-1].body
        u_k = difference_to_kelvin(body["u"], body["unit"]) if body.get("u") else 1.0
        degc = to_canonical(body["value"], body["unit"], "temperature")
        source = (f"observation {rooms[-1].id}",)
        room = Quantity(degc, "degC", u_k, "measured by hand", source)
        yield Fact(Group.PROCESS, "room", room)


def _tasted(batch: Batch) -> Iterator[Fact]:
    scores = [
        Score(
            record.body.get("attribute") or "taste",
            record.body["value"],
            Scale(record.body["scale"]["low"], record.body["scale"]["high"]),
            record.who,
            f"observation {record.id}",
        )
        for record in observations_of(batch, "taste")
        if record.body.get("scale")
    ]
    for one in mean_scores(scores):
        scale = f", {one.scale.low:g} to {one.scale.high:g}" if one.scale else ""
        yield Fact(Group.OUTCOME, f"taste, {one.attribute}{scale}", one.mean)
