# SPDX-License-Identifier: MIT
"""What the trial form says: a method and its results, of a batch that stays unnamed.

Pure presentation: imports only what is.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC
from typing import Any

from dashboards import formats, times
from dashboards.balance_view import balance_view
from dashboards.figure_sections import sections_of
from dashboards.reader import Reader
from dashboards.record_view import ADDITION_ROWS
from dashboards.steps import label
from dashboards.svg_curve import curve
from dashboards.svg_picture import Band, Mark, Picture

Json = Mapping[str, Any]


def trial(data: Json, reader: Reader) -> dict[str, Any]:
    """Return what the trial form shows.

    Args:
        data: With "trial", as the interface gives it.
        reader: Who reads it.
    """
    form = data["trial"]
    results = form["results"]
    return {
        "method": _method(form["method"], reader),
        "events": [_event(one) for one in form["method"]["events"]],
        "picture": _picture(form, reader),
        "holds": [_hold(one) for one in results["holds"]],
        "addition": [
            (words, results["addition"][key])
            for key, words in ADDITION_ROWS
            if results["addition"].get(key)
        ],
        "balance": balance_view(results["balance"], reader.units),
        "sections": sections_of(results),
        "observed": [_observed(one) for one in form["observed"]],
        "said": form["said"],
    }


def _method(method: Json, reader: Reader) -> list[tuple[str, str]]:
    parts = ", ".join(
        f"{one['name']} {one['share']:.0%}" if one["share"] < 1.0 else str(one["name"])
        for one in method["ingredients"]
    )
    target = method.get("target")
    strength = method.get("strength_fraction")
    coagulant = "none: self-set" if method["self_set"] else str(method.get("coagulant") or "")
    if strength and coagulant:
        coagulant += f", {strength:.0%} of salt"
    lines = [
        ("Ingredients", parts),
        ("Coagulant", coagulant),
        ("Target", f"{target['value']:g} {target['unit']}" if target else ""),
        *((f"Step {n}", _step(one, reader)) for n, one in enumerate(method["steps"], 1)),
    ]
    return [(name, formats.with_degree_signs(text)) for name, text in lines if text]


def _step(step: Json, reader: Reader) -> str:
    parts = [label(str(step["kind"]))]
    target, hold = step.get("target"), step.get("hold")
    if target:
        way = f", {target['approach']}" if target.get("approach") else ""
        parts.append(f"at {target['value']:g} {target['unit']}{way}")
    if hold:
        parts.append("with a hold, below")
    return " ".join(parts)


def _event(one: Json) -> tuple[str, str]:
    minutes = one["after_s"] / 60.0
    return label(str(one["kind"])), f"{minutes:.1f} min".replace("-", formats.MINUS)


def _hold(one: Json) -> dict[str, Any]:
    return {
        "name": one["hold"],
        "required": one["required"],
        "verdict": one["verdict"],
        "kept": times.duration(one.get("held_s")),
        "gaps": times.duration(one["gap_s"]) if one.get("gap_s") else "",
        "margins": [(name, figure) for name, figure in (one.get("margin") or {}).items() if figure],
    }


def _observed(one: Json) -> tuple[str, str]:
    if one["quantity"] == "outcome":
        return "outcome", str(one["text"])
    name = str(one.get("attribute") or one["quantity"]).replace("_", " ")
    text = f"{one['value']:g} {one.get('unit') or ''}".strip()
    scale = one.get("scale")
    if scale:
        text += f" on a scale of {scale['low']:g} to {scale['high']:g}"
    if one.get("of"):
        text += f", of the {str(one['of']).replace('_', ' ')}"
    return name, formats.with_degree_signs(text)


def _picture(form: Json, reader: Reader) -> str:
    said = form.get("curve")
    if not said:
        return ""
    points = [(time * 1000.0, value, quality) for time, value, quality in said["readings"]]
    if not points:
        return ""
    first, last = points[0][0] - 600_000.0, points[-1][0] + 600_000.0
    events = [(one["after_s"] * 1000.0, one["kind"]) for one in form["method"]["events"]]
    return curve(
        Picture(
            title="Temperature of the milk by hours and minutes since the heat came on",
            points=points,
            marks=[Mark(at, str(kind)) for at, kind in events if first <= at <= last],
            bands=[
                Band(one["hold"], one["verdict"], one["low"], one["high"],
                     one["from_s"] * 1000.0, one["to_s"] * 1000.0)
                for one in said["bands"]
            ],
            target=said["targets"][0] if said["targets"] else None,
            units=reader.units,
            zone=UTC,
            width=960.0,
            height=300.0,
            key="curve-trial",
        )
    )  # fmt: skip
