# SPDX-License-Identifier: MIT
"""What a card of the Stove says, from the interface's own objects.

Pure presentation: imports only what is. Figures come in as the interface gives them; the only
arithmetic is a difference for a sentence.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dashboards import formats, times
from dashboards.alarm_rows import silent_line
from dashboards.marked import offer_line, offered
from dashboards.outlook_line import outlook_line
from dashboards.pictures import batch_picture, points_of
from dashboards.reader import Reader
from dashboards.steps import HINTS, label, marks_of
from dashboards.svg_curve import curve
from dashboards.svg_picture import usable

STALE_AFTER_S = 30.0
PROBE_PLACES = ("milk", "block_core", "curd", "chill_water")
SCALE_PLACES = ("under_pot", "under_press")
_SHOWN_ONCE = ("process", "authority")
_AT_TARGET_K = 0.3  # the scripts say the same from the same difference
_FIXED_DEGREE = "\N{NO-BREAK SPACE}°"  # large type: a number never parts from its unit
_RECENT_MARKS = 4
_PICTURE_PX = (440.0, 300.0)


def card(item: Mapping[str, Any], data: Mapping[str, Any], reader: Reader) -> dict[str, Any]:
    """Return what the card of one open batch says.

    Args:
        item: "batch", "curve", "targets", "bands", "holds", as the page was given them.
        data: The whole page's data, for its instruments.
        reader: Who reads it.
    """
    batch = item["batch"]
    probe = bound(batch, PROBE_PLACES, reader.now)
    scale = bound(batch, SCALE_PLACES, reader.now)
    instruments = {one["series"]: one for one in data.get("instruments") or []}
    marks = marks_of(batch)
    events = sorted(batch.get("events") or [], key=lambda event: str(event["at"]), reverse=True)
    return {
        "id": batch["id"],
        "title": batch.get("pot") or batch["name"],
        "what": what(batch),
        "started_at": batch["started_at"],
        "probe": _probe(probe, item, instruments, reader),
        "mass": _mass(scale, instruments, reader),
        "distance": distance(item, marks.expected, reader),
        "outlook": outlook_line(item.get("outlook"), reader),
        "marks": marks,
        "proposal": offered(item.get("proposals") or [], reader),
        "offers": [offer_line(one, reader) for one in item.get("offers") or []],
        "recent": events[:_RECENT_MARKS],
        "older": events[_RECENT_MARKS:],
        "holds": [hold_line(hold, reader) for hold in item.get("holds") or []],
        "picture": curve(batch_picture(item, reader, width=_PICTURE_PX[0], height=_PICTURE_PX[1])),
        "cautions": [
            one for one in batch.get("cautions") or [] if one.get("kind") not in _SHOWN_ONCE
        ],
        "step": _step(batch, marks.last, marks.expected),
        "trouble": item.get("trouble") or "",
        "silent": silent_line(data.get("alarms") or [], batch["id"]),
    }


def what(batch: Mapping[str, Any]) -> str:
    """Return what is being made, in a few words."""
    recipe = batch.get("recipe")
    parts = [batch["name"]] if batch.get("pot") else []
    if recipe:
        parts.append(f"{recipe['name']}, version {recipe['version']}")
    elif batch.get("ingredients"):
        parts.append(", ".join(one["name"] for one in batch["ingredients"]))
    return " · ".join(dict.fromkeys(parts))


def bound(batch: Mapping[str, Any], places: Sequence[str], now: str) -> Mapping[str, Any] | None:
    """Return the binding that tells of the first of these places now, None without one."""
    for place in places:
        for binding in reversed(batch.get("bindings") or []):
            ended = binding.get("to") and times.seconds_between(binding["to"], now) >= 0.0
            if binding["place"] == place and not ended:
                return dict(binding)
    return None


def _probe(
    binding: Mapping[str, Any] | None,
    item: Mapping[str, Any],
    instruments: Mapping[str, Mapping[str, Any]],
    reader: Reader,
) -> dict[str, Any]:
    if binding is None:
        return {"series": None, "why": _no_probe(item["batch"])}
    known = instruments.get(binding["series"], {})
    good = usable(points_of(item.get("curve")))
    shown: dict[str, Any] = {
        "series": binding["series"],
        "place": str(binding["place"]).replace("_", " "),
        "stale_after_s": known.get("stale_after_s", STALE_AFTER_S),
        "number": None,
        "stale": False,
        "unit": formats.degree(reader.units),
    }
    if good:
        time_ms, value = good[-1]
        at = times.from_milliseconds(time_ms)
        age_s = reader.age_s(at)
        shown |= {
            "number": formats.plain(formats.to_shown(value, reader.units), 1),
            "value": value,
            "age": times.duration(age_s),
            "stale": age_s > shown["stale_after_s"],
        }
    return shown


def _no_probe(batch: Mapping[str, Any]) -> str:
    if batch.get("thermometer"):
        return "The thermometer is no longer bound to this batch."
    return "No thermometer is bound to this batch."


def _mass(
    binding: Mapping[str, Any] | None,
    instruments: Mapping[str, Mapping[str, Any]],
    reader: Reader,
) -> dict[str, Any] | None:
    if binding is None:
        return None
    known = instruments.get(binding["series"], {})
    last = known.get("last") or {}
    kg = {"kg": 1.0, "g": 0.001}.get(str(last.get("unit")))
    value = last.get("value")
    scale = (known.get("correction") or {}).get("scale", 1.0)
    shown = reader.mass(value * kg * scale) if kg and value is not None else "no reading"
    return {
        "series": binding["series"],
        "place": str(binding["place"]).replace("_", " "),
        "stale_after_s": known.get("stale_after_s", STALE_AFTER_S),
        "text": shown,
        "stale": bool(last.get("stale")),
    }


def target_words(
    item: Mapping[str, Any], expected: str | None, reader: Reader
) -> dict[str, Any] | None:
    """Return the target that matters next and the holds that it waits for, None without one."""
    targets, holds = item.get("targets") or [], item.get("holds") or []
    if not targets:
        return None
    chosen = next((one for one in targets if one.get("kind") == expected), targets[0])
    met = {hold["hold"] for hold in holds if hold["verdict"] == "met"}
    waits_for = [name for name in chosen.get("after") or [] if name not in met]
    how = {"rising": "from below", "falling": "from above"}.get(chosen.get("approach") or "", "")
    text = reader.temperature(chosen["value_degc"])
    return {**chosen, "text": f"{text} {how}".strip(), "waits_for": waits_for}


def distance(
    item: Mapping[str, Any], expected: str | None, reader: Reader
) -> tuple[str, str] | None:
    """Return how far the target is: the amount and the rest of the sentence; None without one.

    The scripts write the same words with each reading.
    """
    target = target_words(item, expected, reader)
    if target is None:
        return None
    amount, rest = _distance(item, target, reader)
    return amount.replace(" °", _FIXED_DEGREE), rest.replace(" °", _FIXED_DEGREE)


def _distance(
    item: Mapping[str, Any], target: Mapping[str, Any], reader: Reader
) -> tuple[str, str]:
    if any(event["kind"] == target["kind"] for event in item["batch"].get("events") or []):
        return "", f"Target was {target['text']}"
    if target["waits_for"]:
        return "", f"Target {target['text']}, after: {', '.join(target['waits_for'])}"
    good = usable(points_of(item.get("curve")))
    if not good:
        return "", f"Target {target['text']}"
    far_k = good[-1][1] - target["value_degc"]
    at, approach = reader.temperature(target["value_degc"]), target.get("approach")
    if abs(far_k) <= _AT_TARGET_K:
        return "At the target", f" of {at}"
    amount, side = reader.difference(abs(far_k)), "below" if far_k < 0 else "above"
    near = ", within tolerance" if abs(far_k) <= (target.get("tolerance_k") or 0.0) else ""
    if approach == ("rising" if far_k < 0 else "falling"):
        return amount, f" to go, {'up' if far_k < 0 else 'down'} to {at}{near}"
    if approach in ("rising", "falling"):
        return amount, f" past the target, {side} {at}{near}"
    return amount, f" {side} the target of {at}{near}"


def _step(batch: Mapping[str, Any], last: str | None, expected: str | None) -> dict[str, str]:
    notes = {
        step["kind"]: step.get("note") or ""
        for step in (batch.get("recipe") or {}).get("steps", [])
    }
    return {
        "now": label(last) if last else "Not begun",
        "now_note": notes.get(last or "", ""),
        "next": label(expected) if expected else "nothing more is expected",
        "next_note": notes.get(expected or "") or HINTS.get(expected or "", ""),
    }


def hold_line(hold: Mapping[str, Any], reader: Reader) -> dict[str, Any]:
    """Return a hold as the Stove tells of it: verdict so far, time kept, time left."""
    least_s = hold.get("least_s")
    held_s = float(hold.get("held_s") or 0.0)
    begun = bool(hold.get("entered_at") or hold.get("started_at"))
    running = hold["verdict"] == "running"
    left_s = max(float(least_s) - held_s, 0.0) if least_s is not None else None
    if not begun:
        words = ""
    elif running and left_s:
        words = f"{times.duration(left_s)} left"
    else:
        words = f"kept for {times.duration(held_s)}"
    return {
        "name": hold["hold"],
        "verdict": hold["verdict"] if begun or not running else "not begun",
        "required": hold["required"],
        "basis": hold.get("basis") or "",
        "held_s": held_s,
        "least_s": least_s,
        "counting": running and begun and bool(left_s),
        "words": words,
        "gap": times.duration(hold["gap_s"]) if hold.get("gap_s") else "",
        "asked": "" if begun else hold["required"],
    }


def instrument_line(one: Mapping[str, Any], reader: Reader) -> dict[str, Any]:
    """Return an instrument with what it shows now in words, for the choice of one."""
    last = one.get("last") or {}
    value, unit = last.get("value"), str(last.get("unit") or "")
    shown = ""
    if value is not None:
        shown = f"shows {value:g} {'°C' if unit in ('Cel', 'degC') else unit}".strip()
        if last.get("stale"):
            shown += f", silent for {times.duration(last.get('age_s'))}"
    return {"kind": "other", "last": None, **one, "shown": shown}
