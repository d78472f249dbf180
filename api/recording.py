# SPDX-License-Identifier: MIT
"""The command `record`: the record of a batch as text, JSON or CSV."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import orjson

from api.batch_record import batch_record, find_batch
from api.kitchen import open_kitchen
from collector.errors import StoreError
from dashboards.reader import reader_of
from dashboards.record_rows import record_csv
from dashboards.record_text import record_text


def print_record(
    data_dir: Path,
    said: str,
    *,
    config_path: Path | None = None,
    form: str | None = None,
    units: Mapping[str, str] | None = None,
) -> str:
    """Return what the command prints, with its last line end.

    Args:
        data_dir: The data folder; it must be there already.
        said: Which batch.
        config_path: Another configuration file than the folder's own.
        form: "json" or "csv"; text without it.
        units: In which units the text is.

    Raises:
        StoreError: There is no such folder, or a file in it can't be used.
        UnknownRecordError: There is no such batch.
        RecordConflictError: Several batches are called so.
    """
    if not data_dir.is_dir():
        raise StoreError(
            "There is no such data folder.",
            where=str(data_dir),
            do="Name the folder that `curdwright run` was given with --data.",
        )
    kitchen = open_kitchen(data_dir, config_path=config_path)
    try:
        record = batch_record(kitchen, find_batch(kitchen, said))
    finally:
        kitchen.close()
    if form == "json":
        options = orjson.OPT_INDENT_2 | orjson.OPT_SERIALIZE_NUMPY | orjson.OPT_NON_STR_KEYS
        return orjson.dumps(record, option=options).decode() + "\n"
    if form == "csv":
        return record_csv(record)
    reader = reader_of(
        {"kitchen": record["kitchen"], "now": record["made_at"], "units": dict(units or {})}
    )
    return record_text(record, reader)
