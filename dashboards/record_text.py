# SPDX-License-Identifier: MIT
"""The record of a batch as text for a terminal or a plain printer.

Pure presentation: imports only the standard library and what is.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

from dashboards import formats
from dashboards.formats import Units
from dashboards.reader import Reader
from dashboards.record_rows import record_rows

Json = Mapping[str, Any]
WIDTH = 96
_NAME = 34
_TITLES = {
    "batch": "Batch",
    "instrument": "Instruments",
    "event": "Marks",
    "proposal": "What the detector saw",
    "weighing": "Weighings",
    "observation": "Observations",
    "hold": "Holds",
    "by_products": "By-products",
    "heat_treatment": "Heat treatment",
    "deviation": "Deviations",
    "corrective action": "Corrective actions",
    "review": "Reviewed by",
    "no longer stands": "Replaced or withdrawn",
    "caution": "Cautions",
}


def record_text(record: Json, reader: Reader) -> str:
    """Return the record as lines of text, by the kitchen's clock and in the reader's units.

    Args:
        record: As the interface gives it.
        reader: Who reads it.
    """
    sections: dict[str, list[dict[str, Any]]] = {}
    for row in record_rows(record):
        sections.setdefault(str(row["section"]), []).append(row)
    lines = [f"Record of {record['batch']['name']}", "=" * WIDTH]
    for section, rows in sections.items():
        title = _TITLES.get(section, section.replace("_", " ").capitalize())
        lines += ["", title, "-" * len(title)]
        for row in rows:
            lines += _lines(row, reader, section)
    lines += ["", f"Times are of {reader.zone_name}; u is the standard uncertainty."]
    return "\n".join(lines) + "\n"


def _lines(row: Json, reader: Reader, section: str) -> Sequence[str]:
    name = str(row.get("name") or "").replace("_", " ")
    prefix = f"{_title_of(section)}: "
    if name.startswith(prefix):
        name = name.removeprefix(prefix)
    parts = []
    if row.get("at"):
        parts.append(f"{reader.day(row['at'])}, {reader.clock(row['at'], seconds=True)}")
    if row.get("value") is not None and section != "hold":
        shown, u = _figure(row, reader.units)
        parts.append(f"{shown}  u {u}" if u else shown)
    if row.get("text"):
        parts.append(formats.with_degree_signs(str(row["text"])))
    if section == "hold":
        parts.append(formats.with_degree_signs(str(row.get("method") or "")))
    if section == "event" and row.get("method"):
        parts.append(str(row["method"]))
    if row.get("who"):
        parts.append(f"by {row['who']}")
    text = "; ".join(part for part in parts if part)
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=f"  {name:<{_NAME}} " if len(name) <= _NAME else f"  {name}  ",
        subsequent_indent=" " * (_NAME + 3),
        break_on_hyphens=False,
    ) or [f"  {name}"]


def _title_of(section: str) -> str:
    return section.replace("_", " ").capitalize()


def _figure(row: Json, units: Units) -> tuple[str, str]:
    shown = {"value": row["value"], "unit": row.get("unit") or "-", "u": row.get("u")}
    value, u = formats.quantity(shown, units)
    return value.replace("\N{NO-BREAK SPACE}", " "), u.replace("\N{NO-BREAK SPACE}", " ")
