# SPDX-License-Identifier: MIT
"""The figures of compared batches as rows, each difference in words and with a shape.

Pure presentation: imports only what is.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from dashboards import formats, times
from dashboards.reader import Reader

Json = Mapping[str, Any]

LETTERS = "ABCDEFGH"
_GROUPS = (
    ("input", "What went in"),
    ("process", "What was done"),
    ("outcome", "What came out"),
)
_LONG_S = 100.0
_VERY_LONG_S = 48 * 3600.0
_FIRST_SHOWN = 6


def figure(value: Json, reader: Reader) -> tuple[str, str]:
    """Return a figure and its standard uncertainty in words; long times in minutes and hours."""
    if "text" in value:
        return str(value["text"]), ""
    said = value.get("value")
    if said is not None and value.get("unit") == "s" and abs(said) >= _LONG_S:
        u = float(value.get("u") or 0.0)
        if abs(said) >= _VERY_LONG_S:
            hours = {"value": said / 3600.0, "u": u / 3600.0, "unit": "h"}
            return formats.quantity(hours, reader.units)
        return times.duration(float(said)), times.duration(u) if u else ""
    if value.get("shown") and value.get("amount"):
        return str(value["shown"]), ""
    return formats.quantity(value, reader.units)


def named(name: str) -> str:
    """Return what a figure is called, for people.

    Example:
        >>> named("cook_through 1: verdict")
        'Cook through 1: verdict'
    """
    return formats.capitalized(formats.with_degree_signs(name.replace("_", " ")))


def figure_groups(compared: Json, reader: Reader) -> list[dict[str, Any]]:
    """Return the figures group by group, what differs most first."""
    differences = {
        (one["batch"], one["group"], one["name"]): one for one in compared["differences"]
    }
    groups = []
    for key, title in _GROUPS:
        rows = [
            _row(row, compared["batches"], differences, reader)
            for row in compared["figures"]
            if row["group"] == key
        ]
        rows.sort(key=lambda row: -row["weight"])
        if rows:
            groups.append(
                {
                    "key": key,
                    "title": title,
                    "count": len(rows),
                    "differing": [row for row in rows if row["stands_out"]],
                    "alike": [row for row in rows if not row["stands_out"]],
                }
            )
    return groups


def standing_out(compared: Json, reader: Reader) -> list[dict[str, Any]]:
    """Return for each other batch what differs most from the first, outcome first.

    A figure that is larger than its uncertainty is told; within a group the clearest comes first.
    """
    found = []
    for number, batch in enumerate(compared["batches"][1:], 1):
        own = [one for one in compared["differences"] if one["batch"] == batch["id"]]
        lines = [
            {"group": one["group"], "name": named(one["name"]), **_said(one, reader, "A")}
            for one in sorted(own, key=_first_told)
            if one["stands_out"]
        ]
        missing = [one for one in own if (one.get("difference") or {}).get("why")]
        found.append(
            {
                "letter": LETTERS[number],
                "name": batch["name"],
                "lines": lines[:_FIRST_SHOWN],
                "more": lines[_FIRST_SHOWN:],
                "missing": [
                    {"name": named(one["name"]), "why": _why(one, LETTERS[number])}
                    for one in missing
                ],
            }
        )
    return found


def effect_rows(effects: Sequence[Json], reader: Reader) -> list[dict[str, Any]]:
    """Return the effects of a second way of working, those that exclude "none" first."""
    rows = []
    for one in effects:
        difference, interval = one["difference"], one["interval"]
        if interval is None:
            continue
        low, high = interval
        unit = difference["unit"]
        ends = [
            formats.quantity({"value": edge, "unit": unit, "u": _u_for(difference)}, reader.units)
            for edge in (low, high)
        ]
        clear = low > 0.0 or high < 0.0
        size = one["standardised"].get("value")
        rows.append(
            {
                "name": named(one["name"]),
                "clear": clear,
                "shape": "higher" if clear and low > 0 else "lower" if clear else "same",
                "difference": formats.quantity(difference, reader.units)[0],
                "interval": f"{ends[0][0]} to {ends[1][0]}",
                "spread": "" if size is None else formats.plain(size, 1),
                "weight": abs(size) if size is not None else 0.0,
            }
        )
    return sorted(rows, key=lambda row: (not row["clear"], -row["weight"]))


def _u_for(difference: Json) -> float:
    return float(difference.get("u") or 0.0)


def _row(
    row: Json,
    batches: Sequence[Json],
    differences: Mapping[tuple[str, str, str], Json],
    reader: Reader,
) -> dict[str, Any]:
    cells, weight, stands_out = [], 0.0, False
    for number, (batch, value) in enumerate(zip(batches, row["values"], strict=True)):
        shown, u = figure(value, reader)
        cell: dict[str, Any] = {
            "letter": LETTERS[number],
            "shown": formats.with_degree_signs(shown),
            "u": u,
            "why": formats.with_degree_signs(str(value.get("why") or "")),
            "absent": "value" not in value and "text" not in value,
            "difference": None,
        }
        found = differences.get((batch["id"], row["group"], row["name"]))
        if found and found.get("difference") and "value" in found["difference"]:
            cell["difference"] = _said(found, reader, "A")
        elif found and found["stands_out"]:
            cell["difference"] = {"shape": "other", "words": "another than A", "clear": True}
        if found and found["stands_out"]:
            stands_out = True
            weight = max(weight, _weight(found))
        cells.append(cell)
    return {
        "name": named(row["name"]),
        "cells": cells,
        "stands_out": stands_out,
        "weight": weight,
    }


def _said(found: Json, reader: Reader, other: str) -> dict[str, Any]:
    """Return one difference: its shape, whether it is clear, and the words."""
    difference = found.get("difference")
    if not difference:
        words = f"{found['second'].get('text')}; {other}: {found['first'].get('text')}"
        return {"shape": "other", "clear": True, "words": formats.with_degree_signs(words)}
    value = float(difference["value"])
    amount, u = figure({**difference, "value": abs(value)}, reader)
    if value == 0.0:
        return {"shape": "same", "clear": False, "words": f"as {other}"}
    way = "more" if value > 0.0 else "less"
    if not found["stands_out"]:
        return {
            "shape": "same",
            "clear": False,
            "words": f"{amount} {way} than {other}: within twice its u of {u}",
        }
    shape = "higher" if value > 0.0 else "lower"
    sure = f" (u\u00a0{u})" if u else ""
    return {"shape": shape, "clear": True, "words": f"{amount} {way} than {other}{sure}"}


def _weight(found: Json) -> float:
    return math.inf if found["z"] is None else float(found["z"])


def _first_told(found: Json) -> tuple[int, float]:
    order = {"outcome": 0, "process": 1, "input": 2}
    return order[found["group"]], -_weight(found)


def _why(found: Json, letter: str) -> str:
    """Return why a difference isn't shown, and of which batch that is said."""
    sides = [("A", found["first"]), (letter, found["second"])]
    told = [f"{side}: {value['why']}" for side, value in sides if value.get("why")]
    why = " ".join(told) or str(found["difference"]["why"])
    return formats.with_degree_signs(why)
