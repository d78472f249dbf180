# SPDX-License-Identifier: MIT
"""What the page Instruments shows, from what the interface gives.

Pure presentation: imports only what is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dashboards import formats, times
from dashboards.check_rows import correction_words, due_words, history_rows
from dashboards.pictures import points_of
from dashboards.reader import Reader
from dashboards.svg_curve import curve
from dashboards.svg_picture import Picture, usable

Json = Mapping[str, Any]

READS = {"thermometer": "probe thermometer", "scale": "scale", "other": "other instrument"}
PLACES = {
    "milk": "in the milk", "pulp": "in the pulp", "curd": "in the curd",
    "block_core": "in the block", "chill_water": "in the chilling water", "room": "in the room",
    "under_pot": "under the pot", "under_press": "under the press",
}  # fmt: skip
_AT_POT = {
    "thermometer": "reads its milk",
    "scale": "stands under it",
    "bench": "weighs its streams",
}
_SPACE = "\N{NO-BREAK SPACE}"
_DAY_S = 86_400.0


def instruments(data: Json, reader: Reader) -> dict[str, Any]:
    """Return what the template of Instruments is given."""
    cards = [card(one, i, reader) for i, one in enumerate(data["instruments"])]
    return {
        "cards": cards,
        "silent": sum(1 for one in cards if one["stale"]),
        "to_check": sum(1 for one in cards if one["due_now"]),
        "open_batches": data.get("open_batches") or [],
        "pots": data.get("pots") or [],
        "places": PLACES,
        "saved": data.get("saved") or "",
        "base_url": data.get("base_url") or "",
        "curl": curl_line(str(data.get("base_url") or "")),
        "facts": {**_facts(data, reader), "pots": [_pot(one) for one in data.get("pots") or []]},
    }


def curl_line(base_url: str) -> str:
    """Return the line that sends one reading, to be copied into a terminal.

    Example:
        >>> curl_line("http://127.0.0.1:8710")[:44]
        'curl -H "Content-Type: application/senml+jso'
    """
    pack = '[{"n":"north/milk","u":"Cel","v":21.5}]'
    return f"curl -H \"Content-Type: application/senml+json\" -d '{pack}' {base_url}/v1/readings"


def card(one: Json, number: int, reader: Reader) -> dict[str, Any]:
    """Return one instrument as its card shows it.

    Args:
        one: As the page is given it.
        number: Its place in the list, for the ids of its parts.
        reader: Whose units and clock.
    """
    last = one.get("last") or {}
    due = [due_words(line, reader) for line in one["due"]]
    return {
        "series": one["series"],
        "name": one["name"],
        "key": f"i{number}",
        "kind": one["kind"],
        "reads": READS.get(one["kind"], READS["other"]),
        "shown": value_words(one, reader),
        "age": age_words(last, reader),
        "stale": bool(last.get("stale")) or not last,
        "doubt": _doubt(last),
        "bound": [_bound(line, reader) for line in one["bound"]],
        "at_pots": [f"{line['pot']}: {_AT_POT[line['as']]}" for line in one["at_pots"]],
        "health": health_words(one["health"]),
        "reasons": one["health"]["reasons"],
        "due": due,
        "due_now": [line for line in due if line["due"]],
        "correction": correction_words(one, reader),
        "history": history_rows(one, reader),
        "picture": _picture(one, number, reader),
        "places": one["places"],
        "note": one.get("note") or "",
        "settings": _settings(one),
    }


def value_words(one: Json, reader: Reader) -> tuple[str, str]:
    """Return the last value, corrected, and its unit, in the reader's units."""
    last = one.get("last") or {}
    value = one.get("corrected")
    if value is None:
        said = last.get("value")
        return ("\N{EN DASH}", "") if said is None else (f"{said:g}", str(last["unit"]))
    if one["correction"]["unit"] == "degC":
        return formats.plain(formats.to_shown(value, reader.units), 1), formats.degree(reader.units)
    if one["correction"]["unit"] == "kg":
        number, unit = formats.mass(value, reader.units).rsplit(None, 1)
        return number, unit
    return f"{value:g}", str(last.get("unit") or "")


def age_words(last: Json, reader: Reader) -> str:
    """Return how long ago an instrument spoke, in words."""
    if not last:
        return "It has not spoken yet."
    if last.get("stale"):
        return f"Silent for {times.duration(last['age_s'])}, since {reader.moment(last['time'])}"
    return f"{max(last['age_s'], 0.0):.0f}{_SPACE}s ago"


def health_words(health: Json) -> list[str]:
    """Return how an instrument spoke in the last hour, line by line."""
    if not health["readings"]:
        return ["Nothing in the last hour"]
    usual = health.get("usual_interval_s")
    rate = "one reading" if usual is None else f"a reading every {_interval(usual)}"
    lines = [f"{rate.capitalize()}, {health['readings']} in the last hour"]
    if health["gaps"]:
        longest = times.duration(health["longest_gap_s"])
        plural = "gap" if health["gaps"] == 1 else "gaps, the longest"
        lines.append(f"{health['gaps']} {plural} of {longest}")
    else:
        lines.append("no gap")
    for share, word in (("suspect_fraction", "suspect"), ("bad_fraction", "bad")):
        lines.append(f"{_share(health[share])} {word}")
    arrival = health["from_arrival_fraction"]
    clock = (
        "its own clock" if arrival == 0.0
        else "the time of arrival" if arrival == 1.0
        else f"the time of arrival for {_share(arrival)}, else its own clock"
    )  # fmt: skip
    lines.append(f"timed by {clock}")
    return lines


def _share(fraction: float) -> str:
    return "none" if fraction == 0.0 else formats.share(fraction, 1 if fraction >= 0.001 else 3)


def _interval(usual_s: float) -> str:
    if usual_s < 10.0:
        return f"{usual_s:.2g}{_SPACE}s"
    return times.duration(usual_s)


def _doubt(last: Json) -> str:
    quality = last.get("quality")
    if not last or quality == "good":
        return ""
    return f"{quality}: {last.get('reason') or 'no reason given'}"


def _bound(line: Json, reader: Reader) -> dict[str, Any]:
    pot = f"{line['pot']}, " if line.get("pot") else ""
    since = f", since {reader.moment(line['from'])}" if line.get("from") else ""
    return {
        "id": line["id"],
        "batch": line["batch"],
        "name": line["name"],
        "words": f"{pot}{PLACES.get(line['place'], line['place'])}{since}",
    }


def _picture(one: Json, number: int, reader: Reader) -> str:
    points = points_of(one.get("curve"))
    kind = {"degC": "temperature", "kg": "mass"}.get(one["correction"]["unit"])
    if kind is None or len(usable(points)) < 2:
        return ""
    return curve(
        Picture(
            title=f"{one['name']}: the last hour",
            points=points,
            quantity=kind,
            units=reader.units,
            zone=reader.zone,
            width=380.0,
            height=180.0,
            key=f"hour-{number}",
        )
    )


def _settings(one: Json) -> dict[str, Any]:
    """Return what was said of an instrument, as the fields of its form show it."""
    step, u = one.get("display_step") or {}, one.get("u") or {}
    every_s = one.get("check_every_s")
    unit = {"degC": "K", "kg": "g"}.get(one["correction"]["unit"], "")
    return {
        "name": one["name"] if one["name"] != one["series"] else "",
        "step": _number(step.get("value")),
        "step_unit": step.get("unit") or unit,
        "u": _number(u.get("value")),
        "u_unit": u.get("unit") or unit,
        "stale_s": _number(one.get("stale_after_s")),
        "every_d": _number(None if every_s is None else every_s / _DAY_S),
        "units": _units(one["correction"]["unit"]),
    }


def _units(canonical: str) -> Sequence[str]:
    return {"degC": ("K", "degF"), "kg": ("g", "kg", "oz", "lb")}.get(canonical, ())


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def _pot(one: Json) -> dict[str, Any]:
    """Return what was said of a pot, to be said again with one thing more."""
    said = dict(one.get("said") or {"name": one["name"]})
    return {key: value for key, value in said.items() if key not in ("id", "sent_at", "who")}


def _facts(data: Json, reader: Reader) -> dict[str, Any]:
    return {
        "now": reader.now,
        "position": data.get("position") or "",
        "zone": reader.zone_name,
        "units": {"temperature": reader.units.temperature, "mass": reader.units.mass},
        "instruments": [
            {
                "series": one["series"],
                "unit": one.get("unit"),
                "scale": one["correction"]["scale"],
                "offset": one["correction"]["offset"],
                "canonical": one["correction"]["unit"],
                "stale_after_s": one.get("stale_after_s"),
                "last_at": (one.get("last") or {}).get("time"),
            }
            for one in data["instruments"]
        ],
        "batches": [],
        "alarms": [],
    }
