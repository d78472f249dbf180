# SPDX-License-Identifier: MIT
"""The kitchen's settings, as they are set on the page, and how far its first walk is."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated, Any

from fastapi import APIRouter, Query, Response

from api import views
from api.answers import Json
from api.checking import boiling_point
from api.kitchen import Kitchen, KitchenHere
from api.process.boiling import boiling_point_at_altitude, boiling_point_at_pressure
from api.process.quantities import Quantity
from api.setting_schemas import SettingsBody, StepDone
from collector.errors import RecordError
from collector.units import kind_of, to_canonical

router = APIRouter(prefix="/v1/settings", tags=["settings"])

WALK = "walk_step"
_U_PRESSURE_PA = 100.0
_ALTITUDE_M = (-500.0, 6000.0)
_PRESSURE_PA = (45_000.0, 110_000.0)


@router.get("", summary="The kitchen's settings, each with who says so")
def read_settings(kitchen: KitchenHere) -> Response:
    """What was set on the page wins over the file; the file gives the defaults."""
    return Json(settings_json(kitchen))


@router.post("", summary="Set something, or let the file hold again")
def set_settings(body: SettingsBody, kitchen: KitchenHere) -> Response:
    """It holds at once, for every page and every calculation, and after a restart."""
    values: dict[str, Any] = {}
    for key in ("name", "zone", "when_heated", "temperature_unit", "mass_unit"):
        if (value := getattr(body, key)) is not None:
            values[key] = value
    if body.currency is not None:
        values["currency"] = body.currency.upper()
    if body.altitude is not None:
        values["altitude_m"] = to_canonical(body.altitude.value, body.altitude.unit, "length")
    if body.pressure is not None:
        pressure_pa = to_canonical(body.pressure.value, body.pressure.unit, "pressure")
        values["pressure_hpa"] = pressure_pa / 100.0
    if body.room_temperature is not None:
        room = body.room_temperature
        values["room_temperature_degc"] = to_canonical(room.value, room.unit, "temperature")
    if not values and not body.restore:
        raise RecordError("Nothing is set.", where="settings", do="Give something to set.")
    kitchen.settings.keep(
        values,
        restored=tuple(body.restore),
        said=body.said(),
        record_id=str(body.id) if body.id else None,
        who=body.who or "",
    )
    return Json(settings_json(kitchen))


@router.get("/boiling-point", summary="Where water boils at an altitude or a pressure")
def read_boiling_point(
    value: Annotated[float, Query(allow_inf_nan=False)],
    unit: Annotated[str, Query(max_length=20)],
) -> Response:
    """For an altitude in m or ft, or the kitchen's own pressure in hPa, mbar or kPa."""
    return Json(views.quantity(_boiling_at(value, unit)) or {})


@router.post("/walk", summary="Say how far a step of the first walk is")
def set_step(body: StepDone, kitchen: KitchenHere) -> Response:
    """A step that was put off can be done at any time."""
    kitchen.journal.keep(
        WALK,
        {"step": body.step, "state": body.state, "said": body.said()},
        record_id=str(body.id) if body.id else None,
        who=body.who or "",
    )
    return Json(settings_json(kitchen))


def settings_json(kitchen: Kitchen) -> dict[str, Any]:
    """Return every setting, where water boils by them, and the steps of the walk."""
    return {
        "settings": {one.key: asdict(one) for one in kitchen.settings.all()},
        "boiling_point": views.quantity(boiling_point(kitchen.config)),
        "walk": walk_states(kitchen),
    }


def walk_states(kitchen: Kitchen) -> dict[str, str]:
    """Return what was said of each step of the walk: "done", "later" or "open"."""
    latest = kitchen.journal.latest_by(WALK, "step")
    return {step: str(entry.body["state"]) for step, entry in latest.items()}


def _boiling_at(value: float, unit: str) -> Quantity:
    if kind_of(unit) == "length":
        altitude_m = to_canonical(value, unit, "length")
        _between(value, unit, altitude_m, _ALTITUDE_M, "-500 to 6000 m")
        return boiling_point_at_altitude(altitude_m)
    pressure_pa = to_canonical(value, unit, "pressure")
    _between(value, unit, pressure_pa, _PRESSURE_PA, "450 to 1100 hPa")
    return boiling_point_at_pressure(pressure_pa, _U_PRESSURE_PA)


def _between(
    value: float, unit: str, canonical: float, span: tuple[float, float], words: str
) -> None:
    if not span[0] <= canonical <= span[1]:
        raise RecordError(
            f"{value:g} {unit} is no place for a kitchen.",
            where="altitude" if span is _ALTITUDE_M else "pressure",
            do=f"Give {words}.",
        )
