# SPDX-License-Identifier: MIT
"""What a check would say and do, worked out before anything is recorded."""

from __future__ import annotations

import math
import uuid
from collections.abc import Mapping
from typing import Any

from api import views
from api.checking import check_body
from api.corrections import CHECKED_U_K, Check, Correction, Corrections, canonical_unit
from api.instrument_schemas import CheckBody
from api.kitchen import Kitchen
from api.process.quantities import Quantity
from api.times import parse_ms
from collector.errors import RecordError

Json = dict[str, Any]


def check_draft(kitchen: Kitchen, series: str, body: CheckBody) -> Json:
    """Return what a check would record, its arithmetic, and the correction before and after it.

    Args:
        kitchen: The open kitchen.
        series: The instrument's.
        body: As it would be recorded.

    Raises:
        RecordError: It takes a check back, or is too far off to be one.
        UnitError: A unit is of the wrong kind.
    """
    if body.withdraws:
        raise RecordError(
            "A withdrawal has no arithmetic.",
            where=series,
            do="Send the check itself, or POST the withdrawal to …/checks.",
        )
    fields = check_body(kitchen, series, body)
    standing = Corrections(kitchen.journal)
    made = Check(
        id=str(uuid.uuid4()),
        kind=fields["kind"],
        made_at=fields["at"],
        from_ms=parse_ms(fields["valid_from"]),
        to_ms=parse_ms(fields["valid_to"]) if fields.get("valid_to") else None,
        body=fields,
    )
    unit = _unit(kitchen, series, fields["kind"])
    at_ms = max(parse_ms(fields["at"]), made.from_ms)
    return {
        "check": fields,
        "arithmetic": [
            {"name": name, **views.result(found)} for name, found in _arithmetic(fields)
        ],
        "before": correction_json(standing.at(series, unit, at_ms), unit),
        "after": correction_json(
            Corrections(kitchen.journal, [made]).at(series, unit, at_ms), unit
        ),
    }


def _unit(kitchen: Kitchen, series: str, kind: str) -> str:
    for info in kitchen.readings.series():
        if info.name == series:
            return info.unit
    return "kg" if kind == "weight" else "degC"


def correction_json(found: Correction, unit: str) -> Json:
    """Return how indications become values.

    Args:
        found: Valid at some time.
        unit: Of the indications, as said.
    """
    return {
        "scale": found.scale,
        "offset": found.offset,
        "u": found.u,
        "unit": canonical_unit(unit),
        "method": found.method,
        "time_constant_s": found.time_constant_s,
        "u_time_constant_s": found.u_time_constant_s,
        "from": list(found.sources),
    }


def _arithmetic(fields: Mapping[str, Any]) -> list[tuple[str, Quantity]]:
    if fields["kind"] == "dip":
        return _dip(fields)
    if fields["kind"] == "weight":
        indicated, reference = fields["indicated_kg"], fields["reference_kg"]
        return [
            ("indication", Quantity(indicated, "kg", 0.0, "shown by the scale")),
            ("reference", Quantity(reference, "kg", 0.0, "stated on the weight")),
            ("correction", Quantity(reference - indicated, "kg", 0.0, "reference less indication")),
            ("factor", Quantity(reference / indicated, "-", 0.0, "reference over indication")),
        ]
    indicated, reference = fields["indicated_degc"], fields["reference_degc"]
    u_k = math.hypot(fields["u_reference_k"], CHECKED_U_K / 2.0)
    return [
        ("indication", Quantity(indicated, "degC", CHECKED_U_K / 2.0, "mean of steady readings")),
        (
            "reference",
            Quantity(reference, "degC", fields["u_reference_k"], fields["reference_from"]),
        ),
        ("correction", Quantity(reference - indicated, "K", u_k, "reference less indication")),
    ]


def _dip(fields: Mapping[str, Any]) -> list[tuple[str, Quantity]]:
    how = str(fields.get("reference_from") or "as typed")
    lines = [("time constant", Quantity(fields["time_constant_s"], "s", fields["u_s"], how))]
    for name, key, unit in (
        ("to half of the step", "t50_s", "s"),
        ("to nine tenths of the step", "t90_s", "s"),
        ("their ratio, 3.32 for a first-order probe", "ratio", "-"),
        ("height of the step", "span_k", "K"),
    ):
        if key in fields and math.isfinite(fields[key]):
            lines.append((name, Quantity(fields[key], unit, 0.0, how)))
    return lines
