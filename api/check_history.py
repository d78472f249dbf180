# SPDX-License-Identifier: MIT
"""The checks of an instrument: those that stand, those taken back, and which are due."""

from __future__ import annotations

from typing import Any

from api.corrections import Corrections
from api.kitchen import Kitchen
from api.times import format_ms, parse_ms

Json = dict[str, Any]

# A kitchen's own interval where the maker has set none (our choice; no rule names one).
CHECK_EVERY_S = 30 * 86_400.0
KINDS = {"thermometer": ("ice", "boil", "dip"), "scale": ("weight",)}


def check_history(kitchen: Kitchen) -> dict[str, list[Json]]:
    """Return every check by series, the latest first, those taken back marked as such.

    Args:
        kitchen: The open kitchen.
    """
    entries = kitchen.journal.kitchen("check", "withdrawal")
    gone = {e.body["withdraws"]: e for e in entries if e.kind == "withdrawal"}
    found: dict[str, list[Json]] = {}
    for entry in reversed(entries):
        if entry.kind != "check":
            continue
        shown = {"id": entry.id, "recorded_at": entry.at, "who": entry.who, **entry.body}
        if entry.id in gone:
            back = gone[entry.id]
            shown["gone"] = {"at": back.at, "why": back.body.get("why") or ""}
        found.setdefault(entry.body["series"], []).append(shown)
    return found


def checks_due(kitchen: Kitchen, corrections: Corrections, series: str, kind: str) -> list[Json]:
    """Return for each kind of check of an instrument when it was last made and whether it is due.

    An ice or a boiling point is due when neither was checked within the interval: one of them
    shows a drift, both together also correct it along the range. A time constant belongs to the
    probe and its place, so a dip check is due only if there is none.

    Args:
        kitchen: The open kitchen.
        corrections: Of all instruments.
        series: The instrument's.
        kind: "thermometer", "scale" or "other".
    """
    every_s = float(corrections.known(series).get("check_every_s") or CHECK_EVERY_S)
    now_ms = kitchen.now_ms()
    lines = []
    for check in KINDS.get(kind, ()):
        made = [c for c in corrections.checks(series) if c.kind == check]
        last = max((parse_ms(c.body["at"]) for c in made), default=None)
        old = last is not None and check != "dip" and now_ms - last > every_s * 1000.0
        state = "never" if last is None else "old" if old else "fresh"
        lines.append(
            {
                "kind": check,
                "state": state,
                "last_at": format_ms(last) if last is not None else None,
                "every_s": None if check == "dip" else every_s,
                "due": state != "fresh",
            }
        )
    points = [line for line in lines if line["kind"] in ("ice", "boil")]
    if any(not line["due"] for line in points):
        for line in points:
            line["due"] = False
    return lines
