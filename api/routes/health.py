# SPDX-License-Identifier: MIT
"""Is it alive, and how old is the newest reading of each series."""

from __future__ import annotations

import shutil

from fastapi import APIRouter, Response

from api.answers import Json
from api.kitchen import Kitchen, KitchenHere
from api.times import format_ms

router = APIRouter(tags=["health"])

LOW_DISK_BYTES = 200_000_000


@router.get("/healthz", summary="Liveness, with the age of each series")
def healthz(kitchen: KitchenHere) -> Response:
    """`ok` while both files can be read and the disk has room."""
    free = shutil.disk_usage(kitchen.data_dir).free
    ages = _ages(kitchen)
    low = free < LOW_DISK_BYTES
    return Json(
        {
            "status": "disk low" if low else "ok",
            "time": format_ms(kitchen.now_ms()),
            "disk_free_bytes": free,
            "arrivals": kitchen.readings.last_arrival(),
            "records": kitchen.journal.chains.last_number(),
            "series": [{"series": name, "age_s": age_s} for name, age_s in ages],
        },
        503 if low else 200,
    )


@router.get("/metrics", summary="The same for Prometheus")
def metrics(kitchen: KitchenHere) -> Response:
    """Prometheus text format 0.0.4."""
    lines = [
        "# HELP curdwright_arrivals_total Readings that were committed.",
        "# TYPE curdwright_arrivals_total counter",
        f"curdwright_arrivals_total {kitchen.readings.last_arrival()}",
        "# HELP curdwright_records_total Records that were appended.",
        "# TYPE curdwright_records_total counter",
        f"curdwright_records_total {kitchen.journal.chains.last_number()}",
        "# HELP curdwright_series_age_seconds Age of the newest reading of a series.",
        "# TYPE curdwright_series_age_seconds gauge",
        *(f'curdwright_series_age_seconds{{series="{n}"}} {age:.3f}' for n, age in _ages(kitchen)),
        "# HELP curdwright_disk_free_bytes Room left in the data folder.",
        "# TYPE curdwright_disk_free_bytes gauge",
        f"curdwright_disk_free_bytes {shutil.disk_usage(kitchen.data_dir).free}",
    ]
    return Response("\n".join(lines) + "\n", media_type="text/plain; version=0.0.4")


def _ages(kitchen: Kitchen) -> list[tuple[str, float]]:
    now_ms = kitchen.now_ms()
    return [
        (info.name, (now_ms - info.last.time_ms) / 1000.0)
        for info in kitchen.readings.series()
        if info.last is not None
    ]
