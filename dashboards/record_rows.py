# SPDX-License-Identifier: MIT
"""The record of a batch as plain rows, for a table or a terminal; and those rows as CSV.

Pure presentation: imports only the standard library and what is.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from typing import Any

from dashboards.figure_rows import notes_of, rows_of
from dashboards.figure_sections import verdicts_of
from dashboards.marked import marked_by

Json = Mapping[str, Any]
COLUMNS = ("section", "name", "value", "unit", "u", "text", "at", "who", "method", "from")
SECTIONS = (
    "addition", "balance", "heat_treatment", "chilling", "heating", "evaporation", "coagulant",
    "pressing", "yield", "cost", "nutrition", "by_products",
)  # fmt: skip
# A spreadsheet takes a text that begins so for a formula.
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def record_rows(record: Json) -> list[dict[str, Any]]:
    """Return every figure, mark, weighing and caution of a record, a row each.

    Args:
        record: As the interface gives it.
    """
    rows = [*_batch_rows(record), *_said_rows(record), *_hold_rows(record["analysis"])]
    for section in SECTIONS:
        rows += _section_rows(section, record["analysis"].get(section) or {})
    rows += _reviewed_rows(record)
    rows += [
        {"section": "no longer stands", "name": one.get("kind") or one.get("stream")
         or one.get("quantity"), "at": one["at"], "text": one.get("gone"), "who": one.get("who")}
        for one in record["gone"]
    ]  # fmt: skip
    rows += [
        {"section": "caution", "name": one["about"], "text": one["text"], "from": [one["source"]]}
        for one in record["batch"]["cautions"]
    ]
    return rows


def record_csv(record: Json) -> str:
    """Return the record as CSV with a heading (RFC 4180).

    Args:
        record: As the interface gives it.
    """
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    for row in record_rows(record):
        writer.writerow({column: _cell(row.get(column)) for column in COLUMNS})
    return out.getvalue()


def _batch_rows(record: Json) -> Iterator[dict[str, Any]]:
    batch = record["batch"]
    recipe = batch.get("recipe")
    parts = ", ".join(
        one["name"] + (f" (lot {one['lot']})" if one.get("lot") else "")
        for one in batch.get("ingredients") or []
    )
    lines = {
        "batch": batch["name"],
        "id": batch["id"],
        "kitchen": record["kitchen"]["name"],
        "state": batch["state"],
        "pot": batch.get("pot"),
        "recipe": f"{recipe['name']}, version {recipe['version']}" if recipe else None,
        "ingredients": parts or None,
        "coagulant": (batch.get("coagulant") or {}).get("name"),
        "note": batch.get("note"),
        "head of its chain": (batch.get("chain") or {}).get("head"),
        "program": f"{record['program']['name']} {record['program']['version']}",
    }
    for name, text in lines.items():
        if text:
            yield {"section": "batch", "name": name, "text": text}
    yield {"section": "batch", "name": "started", "at": batch["started_at"]}
    if batch.get("ended_at"):
        yield {"section": "batch", "name": "ended", "at": batch["ended_at"]}
    yield {"section": "batch", "name": "record made", "at": record["made_at"]}


def _said_rows(record: Json) -> Iterator[dict[str, Any]]:
    """Return what instruments and people said: instruments, marks, weighings, observations."""
    for one in record["instruments"]:
        yield {
            "section": "instrument", "name": one["place"], "text": one["series"],
            "value": one["readings"]["count"], "unit": "readings",
            "method": one["correction"]["method"], "from": one["correction"]["from"],
        }  # fmt: skip
    for one in record["batch"]["events"]:
        yield {"section": "event", "name": one["kind"], "at": one["at"], "text": one.get("note"),
               "who": one.get("who"), "method": marked_by(one)}  # fmt: skip
    for one in record.get("proposals") or []:
        yield {"section": "proposal", "name": one["kind"], "at": one["at"],
               "value": one["confidence"], "unit": "/", "text": f"{one['state']}: {one['why']}",
               "method": f"{one['detector']}, time u {one['u_s']:.0f} s"}  # fmt: skip
    for one in record["weighings"]:
        yield {
            "section": "weighing", "name": one["stream"], "value": one["net_kg"], "unit": "kg",
            "u": one["u_kg"], "at": one["at"], "who": one.get("who"),
            "method": one.get("u_from"), "text": one.get("note"),
            "from": [_scale_words(one)],
        }  # fmt: skip
    for one in record["observations"]:
        yield {
            "section": "observation", "name": one.get("attribute") or one["quantity"],
            "value": one.get("value"), "unit": one.get("unit"), "u": one.get("u"),
            "at": one["at"], "text": one.get("text"), "who": one.get("who"),
            "method": f"SHA-256 {one['photo']['sha256']}" if one.get("photo") else None,
            "from": [f"of record {one['of_record']}"] if one.get("of_record") else None,
        }  # fmt: skip


def _reviewed_rows(record: Json) -> Iterator[dict[str, Any]]:
    """Return what went otherwise than planned, what was done, and who looked at it."""
    for one in record.get("deviations") or []:
        yield {"section": "deviation", "name": one["kind"], "text": one["text"], "at": one["at"],
               "from": [one["about"]]}  # fmt: skip
        for action in one["actions"]:
            if action.get("action"):
                yield {"section": "corrective action", "name": one["kind"],
                       "text": action["action"], "at": action["at"], "who": action["who"],
                       "from": [one["about"]]}  # fmt: skip
    for one in record.get("reviews") or []:
        text = one.get("text") or ("" if one["saw_all"] else "before the latest records")
        yield {"section": "review", "name": "reviewed", "at": one["at"], "who": one["who"],
               "text": text}  # fmt: skip


def _scale_words(weighing: Json) -> str:
    """Return whose word a weighing is, "" for one that was typed."""
    scale = weighing.get("from_scale")
    if not scale:
        return ""
    offered = ", offered by the program" if weighing.get("by") == "scale" else ""
    return f"scale {scale}{offered}"


def _hold_rows(analysis: Json) -> Iterator[dict[str, Any]]:
    for one in analysis["holds"]:
        yield {
            "section": "hold", "name": one["hold"],
            "text": f"{one['verdict']}: {one['required']}", "value": one["held_s"], "unit": "s",
            "method": "; ".join(one["evidence"]), "from": one.get("from"),
        }  # fmt: skip


def _section_rows(section: str, node: Json) -> Iterator[dict[str, Any]]:
    for name, figure in rows_of(section, _without_streams(node)):
        if figure.get("value") is None:
            text = f"{figure['status']}: {figure['why']}"
            yield {"section": section, "name": name, "text": text}
        else:
            yield {
                "section": section,
                "name": name,
                "value": figure["value"],
                "unit": figure["unit"],
                "u": figure.get("u"),
                "method": figure.get("method"),
                "from": figure.get("from"),
            }
    for name, verdict, why in verdicts_of(node):
        yield {"section": section, "name": name, "text": f"{verdict}: {why}"}
    for note in notes_of(node):
        yield {"section": section, "name": "note", "text": note}


def _without_streams(node: Json) -> Json:
    """Leave out what doesn't make rows of figures, and call the balance's streams by name."""
    streams = [
        {"name": one["stream"], "reconciled": one["reconciled"]}
        for one in node.get("streams") or []
        if isinstance(one, Mapping) and (one["measured"] or {}).get("status") != "not applicable"
    ]
    kept = {key: below for key, below in node.items() if key not in ("residues", "nodes", "test")}
    return {**kept, "streams": streams} if "streams" in node else kept


def _cell(value: Any) -> Any:
    if isinstance(value, str):
        return f"'{value}" if value.startswith(_FORMULA) else value
    if isinstance(value, list | tuple):
        return _cell("; ".join(str(one) for one in value if one))
    return value
