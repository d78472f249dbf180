# SPDX-License-Identifier: MIT
"""What a check of an instrument records, its reference worked out once."""

from __future__ import annotations

from typing import Any

from api.corrections import Corrections
from api.entering import resolve_time
from api.instrument_schemas import CheckBody
from api.kitchen import Kitchen
from api.process.boiling import boiling_point_at_altitude, boiling_point_at_pressure
from api.process.dip_check import dip_check
from api.process.quantities import NotShown, Quantity
from api.reading_curves import curve_of
from api.times import parse_ms
from collector.config import Config
from collector.errors import RecordError
from collector.units import to_canonical

_FARTHEST_OFF_K = 10.0
_U_PRESSURE_PA = 100.0
_DEFAULT_U_TAU_FRACTION = 0.15


def boiling_point(config: Config, pressure_pa: float | None = None) -> Quantity:
    """Return where water boils in this kitchen, by pressure if known, else by altitude.

    Args:
        config: The kitchen's configuration.
        pressure_pa: Measured station pressure, None if nobody measured it [Pa].
    """
    if pressure_pa is None and config.kitchen.pressure_hpa is not None:
        pressure_pa = config.kitchen.pressure_hpa * 100.0
    if pressure_pa is not None:
        return boiling_point_at_pressure(pressure_pa, _U_PRESSURE_PA)
    if config.kitchen.altitude_m is not None:
        return boiling_point_at_altitude(config.kitchen.altitude_m)
    return boiling_point_at_altitude(0.0, 300.0).using(
        "altitude not set: sea level +-300 m assumed"
    )


def check_body(kitchen: Kitchen, series: str, body: CheckBody) -> dict[str, Any]:
    """Return what a check records.

    Raises:
        RecordError: It is too far off to be a check.
        UnitError: A unit is of the wrong kind.
    """
    at = resolve_time(kitchen, body.at, body.sent_at)
    valid = resolve_time(kitchen, body.valid_from, None)["at"] if body.valid_from else at["at"]
    fields: dict[str, Any] = {"series": series, "kind": body.kind, **at, "said": body.said()}
    # A time constant belongs to the probe, not to a day: it also serves what was read before.
    always = body.kind == "dip" and body.valid_from is None
    fields["valid_from"] = "1970-01-01T00:00:00.000Z" if always else valid
    if body.valid_to:
        fields["valid_to"] = resolve_time(kitchen, body.valid_to, None)["at"]
    if body.note:
        fields["note"] = body.note
    if body.kind == "dip" and body.time_constant is None:
        return fields | _logged_dip(kitchen, body, series)
    if body.kind == "dip":
        return fields | _dip(body, series)
    if body.kind == "weight":
        return fields | _weight(body, series)
    return fields | _fixed_point(kitchen, body, series)


def _dip(body: CheckBody, series: str) -> dict[str, Any]:
    assert body.time_constant is not None
    tau_s = to_canonical(body.time_constant.value, body.time_constant.unit, "duration")
    if not 0.0 < tau_s <= 600.0:
        raise RecordError(
            f"A time constant of {tau_s:g} s is not one of a probe.",
            where=series,
            do="Give the time to 63 % of a step, between 0 and 600 s.",
        )
    u_s = tau_s * _DEFAULT_U_TAU_FRACTION
    if body.u is not None:
        u_s = to_canonical(body.u, body.time_constant.unit, "duration")
    return {"time_constant_s": tau_s, "u_s": u_s}


def _logged_dip(kitchen: Kitchen, body: CheckBody, series: str) -> dict[str, Any]:
    """Work the time constant out of the readings of one plunge into stirred water."""
    assert body.from_ is not None and body.to is not None
    stretch = kitchen.readings.stretch(series, parse_ms(body.from_), parse_ms(body.to))
    curve, _ = curve_of(stretch, Corrections(kitchen.journal))
    found = dip_check(curve)
    if isinstance(found.time_constant, NotShown):
        raise RecordError(
            f"This dip gives no time constant: {found.time_constant.why}",
            where=series,
            do="Plunge it from the room into stirred hot water, leave it until it has settled, and "
            "name the time from before the plunge to the end.",
        )
    return {
        "time_constant_s": found.time_constant.value,
        "u_s": found.time_constant.u,
        "t50_s": found.t50_s,
        "t90_s": found.t90_s,
        "ratio": found.ratio,
        "span_k": found.span_k,
        "reference_from": "readings of one plunge",
    }


def _weight(body: CheckBody, series: str) -> dict[str, Any]:
    assert body.indicated is not None and body.reference is not None
    indicated_kg = to_canonical(body.indicated.value, body.indicated.unit, "mass")
    reference_kg = to_canonical(body.reference.value, body.reference.unit, "mass")
    if reference_kg <= 0 or not 0.5 <= indicated_kg / reference_kg <= 2.0:
        raise RecordError(
            f"The scale showed {indicated_kg:g} kg for a reference of {reference_kg:g} kg.",
            where=series,
            do="Check the units and the tare, and weigh the reference again.",
        )
    return {"indicated_kg": indicated_kg, "reference_kg": reference_kg}


def _fixed_point(kitchen: Kitchen, body: CheckBody, series: str) -> dict[str, Any]:
    assert body.indicated is not None
    indicated = to_canonical(body.indicated.value, body.indicated.unit, "temperature")
    reference, u_k, source = 0.0, 0.05, "melting ice"
    if body.kind == "boil":
        pressure = body.pressure
        pressure_pa = to_canonical(pressure.value, pressure.unit, "pressure") if pressure else None
        point = boiling_point(kitchen.config, pressure_pa)
        reference, u_k, source = point.value, point.u, "; ".join(point.sources)
    if abs(indicated - reference) > _FARTHEST_OFF_K:
        raise RecordError(
            f"The probe showed {indicated:.1f} degC where {reference:.1f} degC was expected.",
            where=series,
            do="Wait until it has settled and check the unit; a probe that far off is faulty.",
        )
    return {
        "indicated_degc": indicated,
        "reference_degc": reference,
        "u_reference_k": u_k,
        "reference_from": source,
    }
