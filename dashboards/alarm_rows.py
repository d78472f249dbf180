# SPDX-License-Identifier: MIT
"""What the page of the alarms says, from the interface's own objects.

Pure presentation: imports only what is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dashboards import formats, times
from dashboards.reader import Reader

STATE_WORDS = {
    "unacknowledged": "not acknowledged",
    "returned unacknowledged": "over, not acknowledged",
}
SIGNAL_FIELDS = (
    "id", "batch", "about", "title", "text", "at", "priority", "state", "time_to_respond_s",
    "caution", "shelved_until", "why", "calls",
)  # fmt: skip


def signals(alarms: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return what the scripts are told of the open alarms."""
    return [{key: one.get(key) for key in SIGNAL_FIELDS} for one in alarms]


def silent_line(alarms: Sequence[Mapping[str, Any]], batch_id: str) -> str:
    """Return that nothing has come from a batch for long, "" if it isn't so."""
    shown = ("unacknowledged", "acknowledged", "returned unacknowledged")
    for one in alarms:
        if one.get("about") == "batch silent" and one.get("batch") == batch_id:
            return str(one["text"]) if one.get("state") in shown else ""
    return ""


def page(data: Mapping[str, Any], reader: Reader) -> dict[str, Any]:
    """Return what the page of the alarms is written from."""
    return {
        "open": [_open_row(one, reader) for one in data["alarms"]],
        "changes": [_change_row(one, reader) for one in data["changes"]],
        "rate": _rate(data["rate"]),
    }


def _open_row(one: Mapping[str, Any], reader: Reader) -> dict[str, Any]:
    state, respond_s = str(one["state"]), one.get("time_to_respond_s")
    until = one.get("shelved_until")
    words = STATE_WORDS.get(state, state)
    if until:
        words += f" until {reader.clock(until)}"
    return {
        **one,
        "words": f"{words}: {one['why']}" if one.get("why") else words,
        "clock": reader.moment(one["at"]),
        "within": times.duration(respond_s) if respond_s and state == "unacknowledged" else "",
        "said": formats.with_degree_signs(str(one["text"])),
        "heard": _heard(one, reader),
    }


def _heard(one: Mapping[str, Any], reader: Reader) -> str:
    if not one.get("acknowledged_at"):
        return ""
    by = f" by {one['acknowledged_by']}" if one.get("acknowledged_by") else ""
    return f"acknowledged {reader.moment(one['acknowledged_at'])}{by}"


def _change_row(one: Mapping[str, Any], reader: Reader) -> dict[str, Any]:
    why = f": {one['why']}" if one.get("why") else ""
    who = f", {one['who']}" if one.get("who") else ""
    until = f" until {reader.clock(one['until'])}" if one.get("until") else ""
    return {
        **one,
        "clock": reader.moment(one["at"]),
        "what": f"{one['action']}{until}{who}{why}",
        "title": formats.with_degree_signs(str(one["title"])),
    }


def _rate(rate: Mapping[str, Any]) -> dict[str, Any]:
    shares = [
        {
            "priority": one["priority"],
            "share": "none" if one["share"] is None else f"{100.0 * one['share']:.0f} %",
            "published": f"{100.0 * one['published']:.0f} %",
        }
        for one in rate["priorities"]
    ]
    return {**rate, "shares": shares}
