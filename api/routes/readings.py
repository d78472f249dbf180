# SPDX-License-Identifier: MIT
"""Readings in, as SenML; curves out."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import Annotated, Any, Literal

import numpy as np
from fastapi import APIRouter, Query, Request, Response
from starlette.concurrency import run_in_threadpool

from api.answers import Json
from api.corrections import Corrections
from api.kitchen import Kitchen, KitchenHere
from api.problems import ProblemError
from api.process.curves import Curve
from api.process.lag import unlagged
from api.process.thinning import thin
from api.reading_curves import calibrated
from api.tables_out import write_parquet
from api.times import format_ms, parse_ms
from collector.errors import RecordError, UnknownRecordError
from collector.frames.senml import parse_pack
from collector.readings import Quality
from collector.store.protocol import Stretch

router = APIRouter(prefix="/v1/readings", tags=["readings"])

LARGEST_PACK_BYTES = 8_000_000
_SENML_BODY = {
    "required": True,
    "content": {
        "application/senml+json": {
            "schema": {"type": "array", "items": {"type": "object"}},
            "example": [
                {"bn": "north/", "bt": 1772439300.0, "n": "milk", "u": "Cel", "v": 78.25},
                {"n": "milk", "u": "Cel", "t": 1, "v": 78.31},
                {"n": "scale", "u": "kg", "v": 3.56},
            ],
        }
    },
}


@router.post("", summary="Send readings", openapi_extra={"requestBody": _SENML_BODY})
async def post_readings(request: Request, kitchen: KitchenHere) -> Response:
    """A SenML pack (RFC 8428); answered after the commit.

    A pack that breaks a rule of the RFC is refused whole. A well-formed one is stored whole: an
    unknown unit or an odd time makes a reading suspect or bad, with its reason, so that a device
    never has to send it again.
    """
    pack = await request.body()
    if len(pack) > LARGEST_PACK_BYTES:
        raise ProblemError(
            413,
            f"The pack has {len(pack)} bytes; {LARGEST_PACK_BYTES} are taken at once.",
            do="Send it in parts.",
        )
    return await run_in_threadpool(_store, kitchen, pack)


def _store(kitchen: Kitchen, pack: bytes) -> Response:
    done = kitchen.readings.append(parse_pack(pack, now_ms=kitchen.now_ms()))
    return Json(
        {
            "stored": done.stored,
            "repeated": done.repeated,
            "suspect": done.suspect,
            "bad": done.bad,
            "conflicts": done.conflicts,
        }
    )


@router.get("", summary="Read a curve")
def get_readings(
    kitchen: KitchenHere,
    series: Annotated[list[str], Query(description="May repeat: then a list is answered.")],
    from_: Annotated[str | None, Query(alias="from")] = None,
    to: str | None = None,
    points: Annotated[int | None, Query(ge=4, le=100_000)] = None,
    raw: bool = False,
    correct: Literal["calibration", "lag"] = "calibration",
    time: Literal["rfc3339", "ms"] = "rfc3339",
    format: Literal["json", "csv", "parquet"] = "json",
) -> Response:
    """`from` is included, `to` is not. Thinned to `points`, with the extremes kept.

    Bad readings come with value null and are never thinned away.
    """
    if raw and correct == "lag":
        raise RecordError(
            "Raw readings can't be corrected for lag.", where="correct", do="Leave one of them out."
        )
    span = (parse_ms(from_) if from_ else None, parse_ms(to) if to else None)
    known = {info.name for info in kitchen.readings.series()}
    for name in series:
        if name not in known:
            raise UnknownRecordError(
                f"There is no series {name!r}.", do="Look at GET /v1/instruments."
            )
    corrections = Corrections(kitchen.journal)
    curves = [
        _curve(kitchen.readings.stretch(name, *span), corrections, raw, correct, points)
        for name in series
    ]
    if format == "csv":
        return Response(_csv(curves), media_type="text/csv; charset=utf-8")
    if format == "parquet":
        return Response(_parquet(curves), media_type="application/vnd.apache.parquet")
    shown = [_shown(curve, time) for curve in curves]
    return Json(shown if len(series) > 1 else shown[0])


class _Drawn:
    """A curve as it is answered."""

    def __init__(self, stretch: Stretch, values: Any, unit: str, chosen: Any) -> None:
        self.series, self.unit, self.total = stretch.series, unit, len(stretch.time_ms)
        self.time_ms = stretch.time_ms[chosen].tolist()
        bad = stretch.quality[chosen] == Quality.BAD
        shown = np.where(bad | ~np.isfinite(values[chosen]), np.nan, values[chosen])
        self.value = [None if missing else v for v, missing in zip(
            shown.tolist(), np.isnan(shown).tolist(), strict=True)]  # fmt: skip
        self.quality = [Quality(q).word for q in stretch.quality[chosen]]
        self.reasons = {
            format_ms(stretch.time_ms[i]): reason
            for i, reason in stretch.reasons.items()
            if i in set(np.asarray(chosen).tolist())
        }


def _curve(
    stretch: Stretch, corrections: Corrections, raw: bool, correct: str, points: int | None
) -> _Drawn:
    if raw:
        values, unit = stretch.value, stretch.unit
    else:
        values, unit = calibrated(stretch, corrections)
    if correct == "lag":
        values = _without_lag(stretch, values, corrections)
    everything = np.arange(len(values))
    if points is None:
        return _Drawn(stretch, values, unit, everything)
    usable = np.where(stretch.quality == Quality.BAD, np.nan, values)
    chosen = np.union1d(thin(stretch.time_ms, usable, points), everything[~np.isfinite(usable)])
    return _Drawn(stretch, values, unit, chosen)


def _without_lag(stretch: Stretch, values: Any, corrections: Corrections) -> Any:
    usable = np.flatnonzero((stretch.quality == Quality.GOOD) & np.isfinite(values))
    at_ms = int(stretch.time_ms[usable[0]]) if usable.size else 0
    correction = corrections.at(stretch.series, stretch.unit, at_ms)
    if correction.time_constant_s is None:
        raise RecordError(
            "No time constant is known, so the lag can't be undone.",
            where=stretch.series,
            do="Record a dip check with POST /v1/instruments/{series}/checks.",
        )
    corrected = np.full_like(values, np.nan)
    curve = Curve(
        stretch.time_ms[usable] / 1000.0,
        values[usable],
        time_constant_s=correction.time_constant_s,
        u_time_constant_s=correction.u_time_constant_s,
        resolution=corrections.resolution(stretch.series, values[usable]),
    )
    corrected[usable] = unlagged(curve).value
    return corrected


def curve_json(
    stretch: Stretch, corrections: Corrections, *, points: int | None, time: str = "ms"
) -> dict[str, Any]:
    """Return a stretch as this route answers it: calibrated, thinned to `points`."""
    return _shown(_curve(stretch, corrections, False, "calibration", points), time)


def _shown(curve: _Drawn, time: str) -> dict[str, Any]:
    times: Sequence[object] = (
        curve.time_ms if time == "ms" else [format_ms(t) for t in curve.time_ms]
    )
    return {
        "series": curve.series,
        "unit": curve.unit,
        "readings": list(zip(times, curve.value, curve.quality, strict=True)),
        "shown": len(curve.time_ms),
        "of": curve.total,
        "reasons": curve.reasons,
    }


def _csv(curves: Sequence[_Drawn]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(["series", "time", "value", "unit", "quality"])
    for curve in curves:
        for time_ms, value, quality in zip(curve.time_ms, curve.value, curve.quality, strict=True):
            shown = "" if value is None else repr(value)
            writer.writerow([curve.series, format_ms(time_ms), shown, curve.unit, quality])
    return out.getvalue()


def _parquet(curves: Sequence[_Drawn]) -> bytes:
    return write_parquet(
        [
            (curve.series, time_ms, value, curve.unit, quality)
            for curve in curves
            for time_ms, value, quality in zip(
                curve.time_ms, curve.value, curve.quality, strict=True
            )
        ]
    )
