# SPDX-License-Identifier: MIT
"""From what a sender said to what is recorded: times, units, tares, recipes resolved once.

What was said is kept beside what it was resolved to, so that a repeat is recognised and the
record can be recomputed.
"""

from __future__ import annotations

import math
from typing import Any

from api.kitchen import Kitchen
from api.observed import fraction_of
from api.process.weighings import default_weighing_u_kg
from api.records.batches import Batch
from api.records.chain import Entry
from api.schemas import (
    BatchBody,
    BindingBody,
    EventBody,
    Measure,
    ObservationBody,
    RecipeChoice,
    WeighingBody,
)
from api.times import format_ms, known_ms, parse_ms
from collector.errors import RecordError, UnknownRecordError
from collector.readings import Quality
from collector.units import kind_of, to_canonical

STABLE_WITHIN_MS = 10_000
Fields = dict[str, Any]

_CHECKED_UNITS: dict[str, str] = {
    "room_temperature": "temperature",
    "hand_temperature": "temperature",
    "pressure": "pressure",
    "press_mass": "mass",
    "press_area": "area",
}
_SHARES = ("moisture", "protein", "fat")


def resolve_time(kitchen: Kitchen, at: str | None, sent_at: str | None) -> Fields:
    """Return "at" by this machine's clock, and "sent" as the sender said it where they differ.

    Raises:
        RecordError: A time can't be read, or is no time of any batch.
    """
    now_ms = kitchen.now_ms()
    if sent_at is None:
        return {"at": format_ms(parse_ms(at) if at is not None else now_ms)}
    shift_ms = now_ms - parse_ms(sent_at)
    said_ms = parse_ms(at if at is not None else sent_at)
    sent = {"at": at, "sent_at": sent_at, "shift_ms": shift_ms}
    return {"at": format_ms(known_ms(said_ms + shift_ms)), "sent": sent}


def resolve_batch(kitchen: Kitchen, body: BatchBody) -> Fields:
    """Return what a new batch records, its recipe frozen.

    Raises:
        UnknownRecordError: No such recipe.
        UnitError: The target's unit isn't a temperature's.
        RecordError: Its start can't be read.
    """
    recipe = frozen_recipe(kitchen, body.recipe)
    target = body.target.model_dump(exclude_none=True) if body.target else None
    if target:
        to_canonical(target["value"], target["unit"], "temperature")
    started = resolve_time(kitchen, body.started_at, body.sent_at)
    ingredients = body.ingredients
    listed = [i.model_dump(exclude_none=True) for i in ingredients] if ingredients else None
    fields: Fields = {
        "name": body.name,
        "started_at": started["at"],
        "recipe": recipe,
        "pot": body.pot,
        "thermometer": body.thermometer,
        "scale": body.scale,
        "target": target,
        "ingredients": listed or (recipe["ingredients"] if recipe else None),
        "coagulant": _coagulant(body, recipe),
        "nominal_block": positive_mass(body.nominal_block, "nominal_block")
        or (recipe or {}).get("nominal_block"),
        "self_set": body.self_set if body.self_set is not None else (recipe or {}).get("self_set"),
        "note": body.note,
        "said": body.said(),
    }
    return {key: value for key, value in fields.items() if value is not None}


def positive_mass(measure: Measure | None, where: str) -> Fields | None:
    """Return a mass as it was said, None if there is none.

    Raises:
        RecordError: It is not above 0.
        UnitError: The unit isn't a mass.
    """
    if measure is None:
        return None
    if not to_canonical(measure.value, measure.unit, "mass") > 0.0:
        raise RecordError(
            f"{measure.value:g} {measure.unit} is not a mass to reckon with.",
            where=where,
            do="Give more than 0.",
        )
    return measure.model_dump()


def _coagulant(body: BatchBody, recipe: Fields | None) -> Fields | None:
    if body.coagulant is not None:
        return body.coagulant.model_dump(exclude_none=True)
    return (recipe or {}).get("coagulant")


def frozen_recipe(kitchen: Kitchen, choice: str | RecipeChoice | None) -> Fields | None:
    """Return a recipe's version as it stands now, with its id and version number.

    Raises:
        UnknownRecordError: No such recipe or version.
    """
    if choice is None:
        return None
    wanted = RecipeChoice(id=choice) if isinstance(choice, str) else choice
    versions = [e for e in kitchen.journal.kitchen("recipe") if e.body["recipe_id"] == wanted.id]
    found: Entry | None = None
    if versions:
        found = versions[-1]
        if wanted.version is not None:
            found = next((e for e in versions if e.body["version"] == wanted.version), None)
    if found is None:
        version = f" version {wanted.version}" if wanted.version else ""
        raise UnknownRecordError(
            f"There is no recipe {wanted.id!r}{version}.", do="Look at GET /v1/recipes."
        )
    kept = {key: value for key, value in found.body.items() if key not in ("said", "recipe_id")}
    return {"id": wanted.id, **kept}


def event_body(kitchen: Kitchen, body: EventBody) -> Fields:
    """Return what a mark records."""
    fields: Fields = {
        "kind": body.kind,
        **resolve_time(kitchen, body.at, body.sent_at),
        "by": "person",
        "said": body.said(),
    }
    _add(fields, note=body.note, replaces=body.replaces)
    return fields


def binding_body(kitchen: Kitchen, body: BindingBody) -> Fields:
    """Return what a binding records.

    Raises:
        RecordError: It ends before it begins.
    """
    fields: Fields = {"series": body.series, "place": body.place, "said": body.said()}
    if body.from_ is not None:
        fields["from"] = resolve_time(kitchen, body.from_, body.sent_at)["at"]
    if body.to is not None:
        fields["to"] = resolve_time(kitchen, body.to, body.sent_at)["at"]
    if body.from_ and body.to and parse_ms(fields["to"]) <= parse_ms(fields["from"]):
        raise RecordError(
            f"The binding ends ({fields['to']}) before it begins ({fields['from']}).",
            where=body.series or "",
            do="Swap the two, or leave 'to' out.",
        )
    return fields


def observation_body(kitchen: Kitchen, body: ObservationBody) -> Fields:
    """Return what an observation records.

    Raises:
        UnitError: Its unit doesn't measure its quantity.
    """
    assert body.quantity is not None
    if (kind := _CHECKED_UNITS.get(body.quantity)) and body.value is not None:
        to_canonical(body.value, body.unit or "", kind)
    if body.quantity in _SHARES and body.value is not None:
        fraction_of(body.value, body.unit)
    fields: Fields = {
        "quantity": body.quantity,
        **resolve_time(kitchen, body.at, body.sent_at),
        "said": body.said(),
    }
    _add(fields, value=body.value, unit=body.unit, u=body.u, text=body.text, of=body.of)
    _add(fields, nitrogen_factor=body.nitrogen_factor, attribute=body.attribute)
    _add(fields, scale=body.scale.model_dump(exclude_none=True) if body.scale else None)
    return fields


def weighing_body(kitchen: Kitchen, batch: Batch, body: WeighingBody) -> Fields:
    """Return what a weighing records: net mass and its standard uncertainty.

    Raises:
        RecordError: The mass is below zero, or the scale has no stable reading.
        UnitError: The unit isn't a mass.
        UnknownRecordError: No such vessel.
    """
    fields = {"stream": body.stream, **resolve_time(kitchen, body.at, body.sent_at)}
    if body.from_scale:
        mass_kg, shown = _stable_reading(kitchen, body.from_scale, parse_ms(fields["at"]))
    else:
        assert body.mass is not None
        mass_kg = to_canonical(body.mass.value, body.mass.unit, "mass")
        shown = body.mass.model_dump()
    tare_kg, u_tare_kg, tare_name = _tare(kitchen, body)
    net_kg = mass_kg - tare_kg
    if net_kg < 0 or not math.isfinite(net_kg):
        raise RecordError(
            f"The {body.stream} would weigh {net_kg:.3f} kg.",
            where=f"{batch.name}, {body.stream}",
            do="Check the mass, and the tare if it was a gross mass.",
        )
    u_kg, u_from = _weighing_u(body, mass_kg)
    fields |= {
        "mass": shown,
        "net_kg": net_kg,
        "u_kg": u_kg,
        "u_from": u_from,
        "as": body.as_,
        "basis": body.basis,
    }
    _add(fields, from_scale=body.from_scale, note=body.note, replaces=body.replaces)
    if tare_name is not None:
        fields |= {"tare": tare_name, "tare_kg": tare_kg, "u_tare_kg": u_tare_kg}
    return fields


def _weighing_u(body: WeighingBody, mass_kg: float) -> tuple[float, str]:
    if body.u is not None:
        unit = body.mass.unit if body.mass else "kg"
        return to_canonical(body.u, unit, "mass"), "stated"
    return default_weighing_u_kg(mass_kg), "assumed: a kitchen scale (common practice)"


def _tare(kitchen: Kitchen, body: WeighingBody) -> tuple[float, float, str | None]:
    if body.basis != "gross" or body.tare is None:
        return 0.0, 0.0, None
    if isinstance(body.tare, Measure):
        tare_kg = to_canonical(body.tare.value, body.tare.unit, "mass")
        return tare_kg, default_weighing_u_kg(tare_kg), f"{body.tare.value} {body.tare.unit}"
    pots = kitchen.journal.kitchen("pot")
    found = next((e for e in reversed(pots) if body.tare in (e.id, e.body["name"])), None)
    if found is None or found.body.get("empty_kg") is None:
        raise UnknownRecordError(
            f"The empty weight of the vessel {body.tare!r} is not known.",
            where="tare",
            do="Give it with POST /v1/pots, or give the tare as a mass.",
        )
    return found.body["empty_kg"], found.body["u_empty_kg"], str(found.body["name"])


def _stable_reading(kitchen: Kitchen, series: str, at_ms: int) -> tuple[float, Fields]:
    stretch = kitchen.readings.stretch(series, at_ms - STABLE_WITHIN_MS, at_ms + 1)
    stable = [i for i, q in enumerate(stretch.quality) if q == Quality.GOOD]
    if not stable or kind_of(stretch.unit) != "mass":
        raise RecordError(
            f"The scale {series!r} gave no stable mass in the 10 s before {format_ms(at_ms)}.",
            where="from_scale",
            do="Wait until it is steady and try again, or type the mass.",
        )
    value = float(stretch.value[stable[-1]])
    return to_canonical(value, stretch.unit, "mass"), {"value": value, "unit": stretch.unit}


def _add(fields: Fields, **optional: Any) -> None:
    fields.update({key: value for key, value in optional.items() if value is not None})
