# SPDX-License-Identifier: MIT
"""A comparison as a table in CSV: a line for each figure of each batch."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from typing import Any

COLUMNS = (
    "group", "figure", "batch", "batch name", "value", "unit", "u", "why not",
    "less the first", "u of the difference", "larger than its uncertainty", "method",
)  # fmt: skip
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def csv_of(compared: Mapping[str, Any]) -> str:
    """Return a comparison as CSV text.

    Args:
        compared: As `GET /v1/compare` gives it.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    differences = {
        (one["batch"], one["group"], one["name"]): one for one in compared["differences"]
    }
    for row in compared["figures"]:
        for batch, value in zip(compared["batches"], row["values"], strict=True):
            found = differences.get((batch["id"], row["group"], row["name"]))
            writer.writerow([_safe(cell) for cell in _line(row, batch, value, found)])
    return out.getvalue()


def _line(
    row: Mapping[str, Any],
    batch: Mapping[str, Any],
    value: Mapping[str, Any],
    found: Mapping[str, Any] | None,
) -> list[Any]:
    difference = (found or {}).get("difference") or {}
    return [
        row["group"],
        row["name"],
        batch["id"],
        batch["name"],
        value.get("text", value.get("value")),
        value.get("unit"),
        value.get("u"),
        value.get("why"),
        difference.get("value"),
        difference.get("u"),
        {None: None, True: "yes", False: "no"}[found["stands_out"] if found else None],
        value.get("method"),
    ]


def _safe(cell: Any) -> Any:
    """Return a cell that no spreadsheet takes for a formula."""
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(_FORMULA) else cell
