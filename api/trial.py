# SPDX-License-Identifier: MIT
"""The trial form of a batch: method and results fit to publish, and nothing that tells whose.

It is put together from what may stand in it, never by striking out the rest: no name of a person,
kitchen, pot, instrument, recipe or lot, no price, no note, no photo, no id and no day; times count
from the moment at which the heat came on.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from api.analysis.gather import Gatherer
from api.analysis.whole import analysis
from api.kitchen import Kitchen
from api.page_data import batch_bands, batch_curve, batch_targets
from api.records.batches import Batch
from api.times import parse_ms

Json = dict[str, Any]
SECTIONS = ("yield", "heat_treatment", "chilling", "heating", "coagulant", "pressing", "nutrition")
_FIGURE = ("value", "unit", "u", "method", "status", "why")
# What a section may hold beside its figures: words of the program's own, and verdicts.
_WORDS = ("name", "ingredient", "verdict", "known", "source", "jurisdiction", "reference")
_NEVER = frozenset(
    {"from", "probe", "series", "lot", "lots", "who", "id", "recipe", "start", "medium_since",
     "evidence", "fitted_from", "forecast", "notes", "at"}
)  # fmt: skip
_TEST = ("statistic", "limit", "passed", "suspects", "suspect_sets", "summary", "why")
_STEP = ("kind", "target", "hold")


def trial(kitchen: Kitchen, batch_id: str) -> Json:
    """Return the trial form of a batch.

    Args:
        kitchen: The open kitchen.
        batch_id: The batch.

    Raises:
        UnknownRecordError: There is no such batch.
    """
    batch = kitchen.journal.batch(batch_id)
    computed = analysis(kitchen, batch_id)
    zero_ms = _zero_ms(batch)
    form = {
        "form": "trial 1",
        "method": _method(batch, zero_ms),
        "results": {
            "addition": _figures(computed.get("addition") or {}),
            "balance": _balance(computed.get("balance") or {}),
            "holds": [_hold(one, n) for n, one in enumerate(computed.get("holds") or [], 1)],
            **{key: _figures(computed[key]) for key in SECTIONS if computed.get(key)},
        },
        "observed": _observed(batch),
        "curve": _curve(kitchen, batch, computed, zero_ms),
        "said": "u is the standard uncertainty. Times count from the moment the heat came on.",
    }
    series = {one.series for one in batch.bindings}
    return {key: _without(series, value) for key, value in form.items()}


def _without(series: set[str], node: Any) -> Any:
    """Return a piece of the form with no instrument's name left in any reason."""
    if isinstance(node, str):
        for name in sorted(series, key=len, reverse=True):
            node = node.replace(name, "the instrument")
        return node
    if isinstance(node, dict):
        return {key: _without(series, below) for key, below in node.items()}
    if isinstance(node, list):
        return [_without(series, below) for below in node]
    return node


def _zero_ms(batch: Batch) -> int:
    first = batch.first_ms("heat")
    return first if first is not None else batch.started_ms


def _method(batch: Batch, zero_ms: int) -> Json:
    recipe = batch.recipe or {}
    coagulant = batch.body.get("coagulant") or {}
    target = batch.body.get("target")
    return {
        "ingredients": [
            {"name": one["name"], "share": one.get("share", 1.0)}
            for one in batch.body.get("ingredients") or []
        ],
        "coagulant": coagulant.get("name"),
        "strength_fraction": coagulant.get("strength_fraction"),
        "self_set": bool(batch.body.get("self_set")),
        "target": {"value": target["value"], "unit": target["unit"]} if target else None,
        "steps": [_step(one) for one in recipe.get("steps") or []],
        "events": [
            {"kind": one.body["kind"], "after_s": (one.at_ms - zero_ms) / 1000.0}
            for one in batch.events
            if one.body["kind"] not in ("note", "end")
        ],
    }


def _step(step: Mapping[str, Any]) -> Json:
    shown: Json = {key: step[key] for key in _STEP if step.get(key)}
    if "hold" in shown:
        shown["hold"] = {key: value for key, value in shown["hold"].items() if key != "name"}
    return shown


def _figures(node: Any) -> Any:
    """Return a piece of an analysis with its figures and the program's own words alone."""
    if isinstance(node, Mapping):
        kept = {}
        for key, below in node.items():
            if key in _NEVER:
                continue
            if isinstance(below, Mapping | list):
                kept[key] = _figures(below)
            elif key in _FIGURE or key in _WORDS or key.endswith("_s"):
                kept[key] = below
        return kept
    if isinstance(node, list):
        return [_figures(one) for one in node if isinstance(one, Mapping)]
    return node


def _balance(node: Mapping[str, Any]) -> Json:
    if not node.get("streams"):
        return {"status": "not shown", "why": str(node.get("why") or "nothing was weighed")}
    test = node.get("test") or {}
    return {
        "streams": [
            {"stream": one["stream"], "measured": _figures(one.get("measured") or {}),
             "reconciled": _figures(one.get("reconciled") or {}), "checked": one.get("checked")}
            for one in node["streams"]
        ],
        "closure": _figures(node.get("closure") or {}),
        "unaccounted": _figures(node.get("unaccounted") or {}),
        "test": {
            key: test[key]
            for key in _TEST
            if test.get(key) is not None
        },
    }  # fmt: skip


def _hold(hold: Mapping[str, Any], number: int) -> Json:
    return {
        "hold": f"hold {number}",
        **{key: hold.get(key) for key in ("required", "basis", "verdict", "held_s", "gap_s")},
        "margin": _figures(hold.get("margin") or {}),
    }


def _observed(batch: Batch) -> list[Json]:
    """Return what was seen and measured: numbers, and the outcome; words of a taster stay out."""
    found = []
    for one in batch.observations:
        body = one.body
        if body["quantity"] == "outcome":
            found.append({"quantity": "outcome", "text": body.get("text")})
        elif body.get("value") is not None:
            keys = ("quantity", "attribute", "value", "unit", "u", "of", "scale")
            found.append({key: body[key] for key in keys if body.get(key) is not None})
    return found


def _curve(kitchen: Kitchen, batch: Batch, computed: Json, zero_ms: int) -> Json | None:
    curve = batch_curve(kitchen, Gatherer.of(kitchen), batch)
    if curve is None:
        return None
    bands = batch_bands(batch, computed)
    numbers = {one["hold"]: n for n, one in enumerate(computed.get("holds") or [], 1)}
    return {
        "unit": curve["unit"],
        "readings": [
            [round((float(time) - zero_ms) / 1000.0, 3), value, quality]
            for time, value, quality in curve["readings"]
        ],
        "targets": [one["value_degc"] for one in batch_targets(batch)],
        "bands": [
            {
                "hold": f"hold {numbers.get(one['hold'], 0)}",
                "verdict": one["verdict"],
                "low": one["low"],
                "high": one["high"],
                "from_s": (parse_ms(one["from"]) - zero_ms) / 1000.0,
                "to_s": (parse_ms(one["to"]) - zero_ms) / 1000.0,
            }
            for one in bands
        ],
    }
