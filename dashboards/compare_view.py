# SPDX-License-Identifier: MIT
"""What the page Compare shows, from what the interface gives.

Pure presentation: imports only what is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from dashboards import formats
from dashboards.compare_axis import Axis, axis_of, line_of, usual_begin
from dashboards.compare_rows import LETTERS, effect_rows, figure_groups, standing_out
from dashboards.reader import Reader
from dashboards.svg_compare import overlay
from dashboards.svg_compare_picture import Line, Overlay

Json = Mapping[str, Any]

_ALIGNS = (
    ("time", "time since the heat"),
    ("temperature", "time since the milk rose through a temperature"),
    ("per_kg", "time for each kilogram of milk"),
)
_SIZES = {"wide": (960.0, 330.0), "middle": (700.0, 300.0), "narrow": (360.0, 250.0)}


def compare(data: Json, reader: Reader) -> dict[str, Any]:
    """Return what the template of Compare is given.

    Args:
        data: As `dashboards.render` lists for it.
        reader: Whose units and clock.
    """
    compared = data.get("compared")
    batches = compared["batches"] if compared else []
    address = data["address"]
    several = len(batches) > 1
    return {
        "chips": [_chip(LETTERS[i], one, address, reader) for i, one in enumerate(batches)],
        "address": address,
        "hidden": _hidden(address, leave_out=("q",)),
        "kept": _hidden(address, leave_out=("align", "temperature", "unit", "from", "to")),
        "faults": data.get("faults") or [],
        "found": [
            _line(one, reader) | {"add": _added(address, one["id"])} for one in data["found"]
        ],
        "suggested": [_suggestion(one, reader) for one in data.get("suggested") or []],
        "any_batch": bool(data.get("any")),
        "aligns": _ALIGNS,
        "axis_temperature": address["temperature"]
        or formats.plain(formats.to_shown(data["axis_degc"], reader.units), 0),
        "pictures": [picture_of(data, reader, size) for size in _SIZES],
        "no_curve": _without_curve(compared),
        "band": _band_words(data.get("band"), batches),
        "marks": _marks_table(data),
        "standing": standing_out(compared, reader) if compared and several else [],
        "groups": figure_groups(compared, reader) if compared else [],
        "several": several,
        "ways": _ways(data.get("ways"), reader),
        "query": _query(address),
        "axis_unit": axis_of(data).unit,
        "facts": _facts(data, reader),
    }


def picture_of(data: Json, reader: Reader, size: str) -> str:
    """Return the picture of the curves, "" where no batch has one.

    Args:
        data: As `dashboards.render` lists for the page.
        reader: Whose units.
        size: "wide", "middle" or "narrow".
    """
    lines = _lines(data, reader, told_whole=size != "narrow")
    if not any(line.points for line in lines):
        return ""
    axis = axis_of(data)
    begin, end = _span(data, lines, axis)
    band = data.get("band") or {}
    points = [(axis.place(p[0]), p[1], p[3]) for p in band.get("points") or []]
    count = len(band.get("batches") or [])
    width, height = _SIZES[size]
    return overlay(
        Overlay(
            lines=lines,
            band=points,
            band_name=f"{count} good batches, lowest to highest" if points else "",
            x_from=begin,
            x_to=end,
            x_name=axis.name,
            units=reader.units,
            width=width,
            plot_height=height,
            key=size,
        )
    )


def _lines(data: Json, reader: Reader, *, told_whole: bool = True) -> list[Line]:
    compared = data.get("compared")
    if not compared:
        return []
    axis = axis_of(data)
    return [
        line_of(LETTERS[i], _named(batch, reader) if told_whole else batch["name"], curve, axis)
        for i, (batch, curve) in enumerate(
            zip(compared["batches"], compared["curves"], strict=True)
        )
    ]


def _span(data: Json, lines: Sequence[Line], axis: Axis) -> tuple[float, float]:
    places = [place for line in lines for place, _ in line.points]
    said_begin, said_end = data.get("span") or (None, None)
    begin = (
        usual_begin(places, axis, data["compared"]["curves"]) if said_begin is None else said_begin
    )
    end = max(places) if said_end is None else said_end
    if end <= begin:
        begin, end = min(places), max(places)
    return (begin, end) if end > begin else (begin, begin + 1.0)


def _named(batch: Json, reader: Reader) -> str:
    outcome = f", {batch['outcome']}" if batch.get("outcome") else ""
    return f"{batch['name']} ({reader.moment(batch['started_at'])}{outcome})"


def _line(batch: Json, reader: Reader) -> dict[str, Any]:
    parts = [reader.moment(batch["started_at"]), batch.get("pot")]
    if batch.get("recipe"):
        parts.append(batch["recipe"]["name"])
    return {
        "id": batch["id"],
        "name": batch["name"],
        "state": batch["state"],
        "outcome": batch.get("outcome"),
        "told": " · ".join(part for part in parts if part),
    }


def _chip(letter: str, batch: Json, address: Json, reader: Reader) -> dict[str, Any]:
    rest = [one for one in address["batch"] if one != batch["id"]]
    first = [batch["id"], *rest]
    return _line(batch, reader) | {
        "letter": letter,
        "number": LETTERS.index(letter),
        "without": _path({**address, "batch": rest}),
        "as_first": _path({**address, "batch": first}),
    }


def _suggestion(one: Json, reader: Reader) -> dict[str, Any]:
    names = [f"{b['name']} ({reader.moment(b['started_at'])})" for b in one["batches"]]
    ids = [batch["id"] for batch in one["batches"]]
    return {
        "path": _path({"batch": ids}),
        "words": f"{names[0]} and {names[1]}",
        "why": f"the two latest of the {one['what']} {one['name']}",
    }


def _added(address: Json, batch_id: str) -> str:
    return _path({**address, "batch": [*address["batch"], batch_id], "q": ""})


def _path(address: Json) -> str:
    query = _query(address)
    return f"/compare?{query}" if query else "/compare"


def _query(address: Json) -> str:
    return urlencode(_hidden(address))


def _hidden(address: Json, leave_out: Sequence[str] = ()) -> list[tuple[str, str]]:
    """Return the address as pairs, without what is as usual."""
    pairs = [("batch", one) for one in address.get("batch") or []]
    usual = {"align": "time"}
    if not address.get("temperature"):
        usual["unit"] = address.get("unit", "")
    for key in ("align", "temperature", "unit", "from", "to", "q"):
        value = address.get(key)
        if value and value != usual.get(key):
            pairs.append((key, str(value)))
    return [pair for pair in pairs if pair[0] not in leave_out]


def _without_curve(compared: Json | None) -> list[str]:
    if not compared:
        return []
    return [
        f"{LETTERS[i]}, {batch['name']}: no curve here. {formats.capitalized(curve['why'])}"
        for i, (batch, curve) in enumerate(
            zip(compared["batches"], compared["curves"], strict=True)
        )
        if "points" not in curve
    ]


def _band_words(band: Json | None, batches: Sequence[Json]) -> dict[str, Any] | None:
    if not band:
        return None
    letter = next((LETTERS[i] for i, b in enumerate(batches) if b["id"] == band["like"]), "")
    if "points" not in band:
        return {
            "shown": False,
            "words": f"No band of good batches behind {letter} yet. {band['why']}",
        }
    names = [one["name"] for one in band["batches"]]
    words = (
        f"The hatched band behind {letter} runs from the lowest to the highest of {len(names)} "
        f"batches whose outcome was \u201c{band['outcome']}\u201d ({band['alike']})."
    )
    return {"shown": True, "words": words, "names": names, "method": band["method"]}


def _marks_table(data: Json) -> dict[str, Any] | None:
    """Return when each mark was made, on the common axis, kind by kind."""
    compared = data.get("compared")
    if not compared:
        return None
    axis = axis_of(data)
    kinds: dict[str, list[str]] = {}
    count = len(compared["curves"])
    for number, curve in enumerate(compared["curves"]):
        for mark in curve.get("marks") or []:
            row = kinds.setdefault(mark["kind"], [""] * count)
            said = formats.plain(axis.place(mark["x"]), 1)
            row[number] = f"{row[number]}, {said}" if row[number] else said
    return {"unit": axis.unit, "rows": list(kinds.items())} if kinds else None


def _ways(ways: Json | None, reader: Reader) -> dict[str, Any] | None:
    if not ways:
        return None
    return {**ways, "rows": effect_rows(ways["effects"], reader)}


def _facts(data: Json, reader: Reader) -> dict[str, Any]:
    """Return what the page's script is told: the curves, and which batches are still open."""
    compared = data.get("compared") or {"batches": []}
    axis = axis_of(data)
    return {
        "now": reader.now,
        "position": data.get("position") or "",
        "zone": reader.zone_name,
        "units": {"temperature": reader.units.temperature, "mass": reader.units.mass},
        "instruments": [],
        "batches": [],
        "alarms": [],
        "compare": {
            "axis_unit": axis.unit,
            "open": [one["id"] for one in compared["batches"] if one["state"] != "closed"],
            "chosen": [one["id"] for one in compared["batches"]],
            "band": [
                [round(axis.place(p[0]), 3), round(p[1], 2), round(p[3], 2)]
                for p in (data.get("band") or {}).get("points") or []
            ],
            "lines": [
                {
                    "letter": line.letter,
                    "points": [[round(x, 3), round(value, 2)] for x, value in line.points],
                }
                for line in _lines(data, reader)
            ],
        },
    }
