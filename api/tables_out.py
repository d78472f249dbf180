# SPDX-License-Identifier: MIT
"""Readings as a Parquet table; needs the extra package pyarrow."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from api.problems import Problem

Row = tuple[str, int, float | None, str, str]


def write_parquet(rows: Sequence[Row]) -> bytes:
    """Return a Parquet file of (series, time in ms, value, unit, quality word).

    Raises:
        Problem: pyarrow is not installed.
    """
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError as error:
        raise Problem(
            501,
            "Parquet needs a package that is not installed.",
            where="format",
            do="Install it with: pip install 'curdwright[parquet]', or ask for csv.",
        ) from error
    fields: list[tuple[str, Any]] = [
        ("series", pa.string()),
        ("time", pa.timestamp("ms", tz="UTC")),
        ("value", pa.float64()),
        ("unit", pa.string()),
        ("quality", pa.string()),
    ]
    columns = list(zip(*rows, strict=True)) if rows else [[], [], [], [], []]
    arrays = [pa.array(c, type=kind) for c, (_, kind) in zip(columns, fields, strict=True)]
    out = io.BytesIO()
    pq.write_table(pa.Table.from_arrays(arrays, schema=pa.schema(fields)), out)
    return out.getvalue()
