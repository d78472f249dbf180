# SPDX-License-Identifier: MIT
"""What the record of one batch says, from the interface's own objects.

Pure presentation: imports only what is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dashboards import formats, times
from dashboards.balance_view import balance_view
from dashboards.figure_sections import sections_of
from dashboards.photo_rows import photos
from dashboards.pictures import batch_picture, points_of
from dashboards.reader import Reader
from dashboards.svg_curve import curve

Json = Mapping[str, Any]

ADDITION_ROWS = (
    ("before", "Milk at the start of the pour"),
    ("after", "Mixture at the end of the pour"),
    ("indicated", "Indicated at the mark"),
    ("predicted_after", "Mixture predicted from the weighings"),
    ("loss", "Lost to the room and the vessel"),
)


def record(data: Json, reader: Reader) -> dict[str, Any]:
    """Return what the record page says.

    Args:
        data: "batch", "curve", "targets", "bands", "analysis", "weighings", "observations",
            "gone" and "instruments", as the page was given them.
        reader: Who reads it.
    """
    batch, analysis = data["batch"], data["analysis"]
    picture = batch_picture(data, reader, height=260.0)
    pours, why = additions(analysis, reader)
    return {
        "span": _span(batch, reader),
        "facts_of_batch": _facts(batch, data.get("instruments") or [], reader),
        "picture": curve(picture),
        "doubtful": _doubtful(points_of(data.get("curve"))),
        "holds": [_hold(hold, reader) for hold in analysis.get("holds") or []],
        "additions": pours,
        "addition_why": why,
        "balance": balance_view(analysis.get("balance") or {}, reader.units),
        "weighings": [_weighing(one) for one in data.get("weighings") or []],
        "observations": [
            _observation(one) for one in data.get("observations") or [] if not one.get("photo")
        ],
        "photos": photos(data, reader),
        "gone": [_gone(one, reader) for one in data.get("gone") or []],
        "sections": sections_of(analysis),
        "deviations": [_deviation(one, reader) for one in data.get("deviations") or []],
        "reviews": [_review(one, reader) for one in data.get("reviews") or []],
        "revision": _revision(analysis.get("revision") or {}, reader),
    }


def _span(batch: Json, reader: Reader) -> str:
    start = f"{reader.day(batch['started_at'])}, {reader.clock(batch['started_at'])}"
    if not batch.get("ended_at"):
        return f"since {start}"
    end = batch["ended_at"]
    same_day = reader.day(end) == reader.day(batch["started_at"])
    ended = reader.clock(end) if same_day else f"{reader.day(end)}, {reader.clock(end)}"
    lasted = times.duration(times.seconds_between(batch["started_at"], end))
    return f"{start} to {ended} ({lasted})"


def _facts(batch: Json, instruments: Sequence[Json], reader: Reader) -> list[tuple[str, str]]:
    recipe = batch.get("recipe")
    ingredients = ", ".join(
        f"{one['name']} {one['share']:.0%}" if one.get("share", 1.0) < 1.0 else one["name"]
        for one in batch.get("ingredients") or []
    )
    target = batch.get("target")
    lines = [
        ("Pot", batch.get("pot")),
        ("Recipe", f"{recipe['name']}, version {recipe['version']}" if recipe else None),
        ("Ingredients", ingredients or None),
        ("Coagulant", "none: self-set" if batch.get("self_set") else None),
        ("Target", f"{target['value']:g} {_unit(target['unit'])}" if target else None),
    ]
    known = {one["series"]: one for one in instruments}
    for binding in batch.get("bindings") or []:
        place = str(binding["place"]).replace("_", " ")
        lines.append((f"Instrument: {place}", _instrument(binding, known, reader)))
    return [(name, text) for name, text in lines if text]


def _unit(unit: str) -> str:
    return {"degC": "°C", "degF": "°F", "Cel": "°C"}.get(unit, unit)


def _instrument(binding: Json, known: Mapping[str, Json], reader: Reader) -> str:
    series = str(binding["series"])
    correction = (known.get(series) or {}).get("correction") or {}
    parts = [series]
    if binding.get("to"):
        parts.append(f"until {reader.moment(binding['to'])}")
    if correction.get("method"):
        parts.append(str(correction["method"]))
    if correction.get("time_constant_s"):
        parts.append(f"time constant {correction['time_constant_s']:.3g} s")
    return "; ".join(parts)


def _doubtful(points: Sequence[tuple[float, float | None, str]]) -> str:
    suspect = sum(1 for _, _, quality in points if quality == "suspect")
    bad = sum(1 for _, _, quality in points if quality == "bad")
    parts = []
    if suspect:
        parts.append(f"{suspect} suspect (diamonds)")
    if bad:
        parts.append(f"{bad} bad (crosses at the foot)")
    if not parts:
        return ""
    return f"Of the readings, {' and '.join(parts)}: kept, and used in no figure."


def _hold(hold: Json, reader: Reader) -> dict[str, Any]:
    margin = hold.get("margin") or {}
    started, ended = hold.get("entered_at") or hold.get("started_at"), hold.get("ended_at")
    span = ""
    if started:
        span = f"from {reader.clock(started, seconds=True)}"
        span += f" to {reader.clock(ended, seconds=True)}" if ended else ""
    gap_s = hold.get("gap_s")
    return {
        "name": hold["hold"],
        "required": hold["required"],
        "verdict": hold["verdict"],
        "kept": times.duration(hold.get("held_s")),
        "gaps": f"without readings for {times.duration(gap_s)}" if gap_s else "",
        "margins": [
            (f"{name}:", margin[name])
            for name in ("temperature", "time")
            if margin.get(name) is not None
        ],
        "span": span,
        "evidence": hold.get("evidence") or [],
    }


def additions(analysis: Json, reader: Reader) -> tuple[list[dict[str, Any]], str]:
    """Return the rows of each pour, and why there is none where there is none."""
    first = analysis.get("addition") or {}
    every = analysis.get("additions") or ([first] if first else [])
    pours = []
    for pour in every:
        rows = [(words, pour[key]) for key, words in ADDITION_ROWS if pour.get(key) is not None]
        if rows:
            pours.append({"rows": rows, "notes": _pour_notes(pour, reader)})
    return pours, str(first.get("why") or "No addition was marked.")


def _pour_notes(pour: Json, reader: Reader) -> list[str]:
    """Return what placed the pour in time, in words."""
    start, end = pour.get("pour_start") or {}, pour.get("pour_end") or {}
    notes = []
    if start.get("at") and end.get("at"):
        by = "by the dip in the curve" if pour.get("placed_by") == "dip" else "by the mark"
        notes.append(
            f"The pour is placed {by}: from {reader.clock(start['at'], seconds=True)} "
            f"(u {start['u']:.2g} s) to {reader.clock(end['at'], seconds=True)} "
            f"(u {end['u']:.2g} s)."
        )
    if pour.get("marked_at"):
        notes.append(f"It was marked at {reader.clock(pour['marked_at'], seconds=True)}.")
    if pour.get("why"):
        notes.append(formats.capitalized(str(pour["why"])).rstrip(".") + ".")
    return notes


def _weighing(one: Json) -> dict[str, Any]:
    mass = one.get("mass") or {}
    parts = [f"{mass['value']:g} {mass['unit']}"] if mass else []
    if one.get("basis") == "gross":
        parts.append(f"gross, tare {one.get('tare')}")
    if one.get("from_scale"):
        parts.append(f"from {one['from_scale']}")
    if one.get("as") == "again":
        parts.append("weighed again")
    if one.get("note"):
        parts.append(str(one["note"]))
    return {
        "id": one["id"],
        "name": str(one["stream"]).replace("_", " "),
        "at": one["at"],
        "net": {"value": one["net_kg"], "unit": "kg", "u": one["u_kg"]},
        "said": ", ".join(parts),
    }


def _observation(one: Json) -> dict[str, Any]:
    names = {"brix": "Brix", "ph": "pH", "hand_temperature": "temperature by hand"}
    parts = []
    if one.get("value") is not None:
        parts.append(f"{one['value']:g} {_unit(one.get('unit') or '')}".strip())
        if one.get("u"):
            parts.append(f"u {one['u']:g}")
    if one.get("text"):
        parts.append(str(one["text"]))
    if one.get("of"):
        parts.append(f"of the {str(one['of']).replace('_', ' ')}")
    name = str(one["quantity"])
    return {
        "id": one["id"],
        "name": names.get(name, name.replace("_", " ")),
        "text": ", ".join(parts),
        "at": one["at"],
    }


def _deviation(one: Json, reader: Reader) -> dict[str, Any]:
    actions = [
        {
            "id": action["id"],
            "text": action.get("action") or "",
            "by": ", ".join(p for p in (action.get("who"), reader.moment(action["at"])) if p),
        }
        for action in one["actions"]
    ]
    when = reader.moment(one["at"]) if one.get("at") else ""
    return {**one, "when": when, "actions": actions}


def _review(one: Json, reader: Reader) -> dict[str, Any]:
    when = f"{reader.day(one['at'])}, {reader.clock(one['at'])}"
    return {**one, "text": one.get("text") or "", "when": when}


def _gone(one: Json, reader: Reader) -> str:
    what_it_was = one.get("kind") or one.get("stream") or one.get("quantity") or "record"
    who = f", by {one['who']}" if one.get("who") else ""
    return (
        f"{str(what_it_was).replace('_', ' ')} of {reader.moment(one['at'])}, "
        f"recorded {reader.moment(one['recorded_at'])}{who}: {one.get('gone')}"
    )


def _revision(revision: Json, reader: Reader) -> str:
    issued = revision.get("issued")
    if issued is None:
        return ""
    when = reader.moment(revision.get("issued_at"))
    if revision.get("current"):
        return f"Revision {issued} of this analysis was issued {when} from the same inputs."
    return (
        f"Revision {issued} was issued {when}. Its inputs have changed since: these figures are "
        f"newer."
    )
