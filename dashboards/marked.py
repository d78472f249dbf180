# SPDX-License-Identifier: MIT
"""Who made a mark, in words; and what the detector suggests, as cards and records tell it.

Pure presentation: imports only what is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dashboards.reader import Reader
from dashboards.steps import label

Json = Mapping[str, Any]

_NOT_ASKED = ("target",)
_ASKS = {
    "heat": "Heat on at",
    "target": "Target reached at",
    "boil": "Boiling since",
    "simmer": "Simmering since",
    "addition": "Coagulant in at",
    "ladle": "Ladled at",
    "press": "Press on at",
    "chill": "In the cold since",
    "end": "Cold at",
}


def marked_by(event: Json) -> str:
    """Return who made a mark where no person did so alone, "" where one did.

    Example:
        >>> marked_by({"by": "detector", "accepted": "by itself", "confidence": 0.97})
        'marked by the detector (97 % sure), accepted by itself, as the recipe says'
        >>> marked_by({"by": "button", "series": "north/button"})
        'marked by the button north/button'
    """
    by = event.get("by") or "person"
    if by == "detector":
        sure = event.get("confidence")
        how_sure = f" ({100 * float(sure):.0f} % sure)" if sure is not None else ""
        return f"marked by the detector{how_sure}{_accepted(event)}"
    if by == "button":
        return f"marked by the button {event.get('series') or ''}".strip()
    return "" if by == "person" else f"marked by {by}"


def _accepted(event: Json) -> str:
    how = event.get("accepted")
    if how == "by itself":
        return ", accepted by itself, as the recipe says"
    if how == "as the kitchen says":
        return ", accepted as the kitchen's settings say"
    return f", accepted by {event.get('who') or 'a person'}" if how else ""


def offered(proposals: Sequence[Json], reader: Reader) -> dict[str, Any] | None:
    """Return the open proposal that a card asks about, the one that was seen last; None without.

    A target that was reached is told by its alarm, and makes only a note: the card doesn't ask.

    Args:
        proposals: Of the batch, as the interface gives them.
        reader: Who reads it.
    """
    waiting = [one for one in proposals if one["state"] == "open" and one["kind"] not in _NOT_ASKED]
    if not waiting:
        return None
    one = max(waiting, key=lambda each: str(each["seen_at"]))
    return {**proposal_line(one, reader), "more": len(waiting) - 1}


def offer_line(offer: Json, reader: Reader) -> dict[str, Any]:
    """Return a weighing that a scale offers as a card tells it."""
    tare = offer.get("tare")
    return {
        "id": offer["id"],
        "label": label(str(offer["stream"])),
        "mass": reader.mass(float(offer["net_kg"])),
        "at": offer["at"],
        "clock": reader.clock(offer["at"], seconds=True),
        "tare": f"{tare['value']:g} {tare['unit']} that stood there" if isinstance(tare, Mapping)
        else f"the pot {tare}" if tare else "",
    }  # fmt: skip


def proposal_line(one: Json, reader: Reader) -> dict[str, Any]:
    """Return a proposal as a page tells it."""
    event, kind = one.get("event") or {}, str(one["kind"])
    return {
        "n": one["n"],
        "kind": kind,
        "label": label(kind),
        "asks": _ASKS.get(kind, f"{label(kind)} at"),
        "at": one["at"],
        "clock": reader.clock(one["at"], seconds=True),
        "moment": f"{reader.moment(one['at'])}:{reader.clock(one['at'], seconds=True)[-2:]}",
        "u": f"{float(one['u_s']):.0f} s",
        "sure": f"{100 * float(one['confidence']):.0f} %",
        "why": one["why"],
        "state": one["state"],
        "event_id": event.get("id"),
        "dismissal_id": (one.get("dismissal") or {}).get("id"),
        "dismissed_why": (one.get("dismissal") or {}).get("why") or "",
        "undone": bool(one.get("undone")),
    }
