# SPDX-License-Identifier: MIT
"""What the record says of the mass balance: a picture, a table, a test in words.

Pure presentation: imports only what is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dashboards import formats
from dashboards.flow import flow_diagram
from dashboards.flow_stages import names_in, suspects_of
from dashboards.formats import Units

Json = Mapping[str, Any]


def balance_view(balance: Json, units: Units) -> dict[str, Any]:
    """Return what the page says of a balance, or `{"why"}` where there is none.

    Args:
        balance: The analysis' key of that name.
        units: The reader's.
    """
    if not balance.get("streams"):
        return {"why": balance.get("why") or "nothing was weighed"}
    suspects = suspects_of(balance)
    test = balance.get("test") or {}
    return {
        "why": "",
        "diagram": flow_diagram(balance, units),
        "rows": [_row(stream, suspects) for stream in balance["streams"] if not _is_absent(stream)],
        "closure": balance.get("closure"),
        "unaccounted": balance.get("unaccounted"),
        "verdict": _verdict(test),
        "summary": _summary(test),
        "suspects": _suspects(test, units),
        "notes": balance.get("notes") or [],
    }


def _is_absent(stream: Json) -> bool:
    return (stream.get("measured") or {}).get("status") == "not applicable"


def _row(stream: Json, suspects: frozenset[str]) -> dict[str, Any]:
    name = str(stream["stream"])
    measured = stream.get("measured") or {}
    remark = ""
    if name in suspects:
        remark = "suspect"
    elif measured.get("value") is None:
        remark = "computed" if (stream.get("reconciled") or {}).get("value") is not None else ""
    elif not stream.get("checked", True):
        remark = "not checked"
    return {
        "name": name.replace("_", " "),
        "measured": measured,
        "reconciled": stream.get("reconciled"),
        "suspect": name in suspects,
        "remark": remark,
    }


def _verdict(test: Json) -> str:
    if test.get("statistic") is None:
        return "Consistency not shown."
    return "The weighings agree." if test["passed"] else "The weighings contradict each other."


def _summary(test: Json) -> str:
    if test.get("statistic") is None:
        return str(test.get("why") or "")
    figures = f"Test statistic {test['statistic']:.3g}, limit {test['limit']:.4g}."
    return f"{test.get('summary') or ''} {figures}".strip()


def _suspects(test: Json, units: Units) -> list[str]:
    """Return a sentence for each suspect set, the likeliest first."""
    sets: Sequence[Any] = test.get("suspect_sets") or test.get("suspects") or []
    return [sentence for one in sets if (sentence := _suspect_sentence(one, units))]


def _suspect_sentence(suspect_set: Any, units: Units) -> str:
    names = [name.replace("_", " ") for name in names_in(suspect_set)]
    if not names:
        return ""
    who = " or ".join(names)
    lead = f"Suspect: {who}." if len(names) == 1 else f"Suspect: {who}; no balance tells which."
    errors = suspect_set.get("too_high_by_kg") if isinstance(suspect_set, Mapping) else None
    parts = [
        f"{name} {formats.mass(abs(error), units)} too {'high' if error > 0 else 'low'}"
        for name, error in zip(names, errors or [], strict=False)
    ]
    also = suspect_set.get("also") if isinstance(suspect_set, Mapping) else None
    if parts:
        lead += f" It would be {', or '.join(parts)}."
    if also:
        lead += f" Or else: {', '.join(str(one) for one in also)}."
    return lead
