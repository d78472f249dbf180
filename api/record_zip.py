# SPDX-License-Identifier: MIT
"""The record of a batch with its photos as one file to keep or to hand on."""

from __future__ import annotations

import io
import zipfile

import orjson

from api.batch_record import batch_record
from api.kitchen import Kitchen
from api.photos.files import FOLDER, PhotoFiles, photos_of
from dashboards.record_rows import record_csv

_JSON = orjson.OPT_INDENT_2 | orjson.OPT_SERIALIZE_NUMPY | orjson.OPT_NON_STR_KEYS


def record_zip(kitchen: Kitchen, batch_id: str) -> bytes:
    """Return `record.json`, `record.csv` and the standing photos, zipped.

    Args:
        kitchen: The open kitchen.
        batch_id: The batch.

    Raises:
        UnknownRecordError: There is no such batch, or the file of a photo is missing.
        StoreError: The file of a photo was changed.
    """
    record = batch_record(kitchen, batch_id)
    files = PhotoFiles(kitchen.data_dir)
    named = dict.fromkeys(
        str(one.body["photo"]["sha256"]) for one in photos_of(kitchen.journal.batch(batch_id))
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        made.writestr("record.json", orjson.dumps(record, option=_JSON))
        made.writestr("record.csv", record_csv(record))
        for sha256 in named:
            made.writestr(f"{FOLDER}/{sha256}.jpg", files.read(sha256), zipfile.ZIP_STORED)
    return out.getvalue()
