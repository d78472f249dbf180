# SPDX-License-Identifier: MIT
"""Readings as a Parquet table; needs the extra package pyarrow."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from api.problems import ProblemError

Row = tuple[str, int, float | None, str, str]


def write_parquet(rows: Sequence[Row]) -> bytes:
    """Return a Parquet file of (series, time in ms, value, unit, quality word).

    Raises:
        ProblemError: pyarrow is not installed.
    """
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError as error:
        raise ProblemError(
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
    arrays = [
        pa.array([row[number] for row in rows], type=kind)
        for number, (_, kind) in enumerate(fields)
    ]
    out = io.BytesIO()
    pq.write_table(pa.Table.from_arrays(arrays, schema=pa.schema(fields)), out)
    return out.getvalue()
