# SPDX-License-Identifier: MIT
"""The temperature at each addition of a batch, from its marks, readings and weighings."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from api import views
from api.analysis.components import components_of
from api.analysis.evaporation import Vapour, vapour_of
from api.analysis.gather import Gatherer, PlacedCurve
from api.analysis.masses import Masses
from api.analysis.milk import milk_of
from api.kitchen import Kitchen
from api.process.addition import Addition, AdditionMark
from api.process.addition_mixture import AdditionInputs
from api.process.additions import temperatures_at_additions
from api.process.quantities import NotShown, Quantity
from api.process.weighings import Weighing, combine_weighings
from api.records.batches import Batch, Kept
from collector.units import difference_to_kelvin, to_canonical

HAND_U_K = 0.5
ROOM_U_K = 2.0
_KEYS = ("before", "after", "indicated", "predicted_after", "loss")


class Scene(Protocol):
    """What is gathered once for an analysis."""

    @property
    def kitchen(self) -> Kitchen:
        """The open kitchen."""
        ...

    @property
    def batch(self) -> Batch:
        """The batch."""
        ...

    @property
    def gatherer(self) -> Gatherer:
        """For the readings of any place."""
        ...

    @property
    def milk(self) -> PlacedCurve | NotShown:
        """The readings of the milk."""
        ...

    @property
    def boiling(self) -> Quantity:
        """The kitchen's boiling point [degC]."""
        ...

    @property
    def now_ms(self) -> int:
        """Up to when readings count [ms since 1970 UTC]."""
        ...


@dataclass(frozen=True, slots=True)
class Additions:
    """Every addition of a batch.

    Attributes:
        every: As JSON, in the order of their marks.
        first: The first as JSON, or why there is none.
        first_pour: Its start and end as the curve places it [s since 1970 UTC], else None.
        vapour: What left the pot as vapour.
    """

    every: list[dict[str, Any]]
    first: dict[str, Any]
    first_pour: tuple[float, float] | None
    vapour: Vapour


def addition_section(scene: Scene, weighings: Sequence[Weighing]) -> Additions:
    """Return the temperature at each addition.

    Args:
        scene: What is gathered for the analysis.
        weighings: The batch's weighings.
    """
    marks = scene.batch.events_of("addition")
    masses = _masses(weighings)
    rough = (marks[0].at_ms / 1000.0 - 60.0, marks[0].at_ms / 1000.0 + 60.0) if marks else None
    vapour = _vapour(scene, masses.get("milk"), rough)
    if not marks:
        return Additions([], _none(scene.batch), None, vapour)
    if isinstance(scene.milk, NotShown):
        missing = views.not_shown(scene.milk.why)
        return Additions([_missing(mark, missing) for mark in marks],
                         _missing(marks[0], missing), None, vapour)  # fmt: skip
    ladle_ms = scene.batch.first_ms("ladle")
    latest_s = ladle_ms / 1000.0 if ladle_ms and ladle_ms > marks[-1].at_ms else None
    found = temperatures_at_additions(
        scene.milk.curve,
        [
            AdditionMark(mark.at_ms / 1000.0, latest_s=latest_s if mark is marks[-1] else None)
            for mark in marks
        ],
        _inputs(scene, marks, weighings, masses, vapour),
    )
    every = [_json(one, mark, scene.milk) for one, mark in zip(found, marks, strict=True)]
    pour = _pour(found[0])
    if pour is not None:
        vapour = _vapour(scene, masses.get("milk"), pour)
    return Additions(every, every[0], pour, vapour)


def _none(batch: Batch) -> dict[str, Any]:
    if batch.body.get("self_set"):
        return views.not_shown("a self-set curd has no addition", "not applicable")
    return views.not_shown("no addition is marked")


def _missing(mark: Kept, why: dict[str, Any]) -> dict[str, Any]:
    return {"event": mark.id, **dict.fromkeys(_KEYS, why), "placed_by": None, "why": why["why"]}


def _json(one: Addition, mark: Kept, milk: PlacedCurve) -> dict[str, Any]:
    shown: dict[str, Any] = {"event": mark.id, "marked_at": views.time_or_none(mark.at_ms)}
    for key in _KEYS:
        result = getattr(one, key)
        if isinstance(result, Quantity):
            result = result.using(*milk.sources[1:], f"event {mark.id}")
        shown[key] = views.quantity(result)
    for key, result in (("pour_start", one.pour_start), ("pour_end", one.pour_end)):
        shown[key] = (
            {"at": views.time_or_none(result.value * 1000.0), "u": result.u, "unit": "s"}
            if isinstance(result, Quantity)
            else views.quantity(result)
        )
    return shown | {"placed_by": one.placed_by, "why": one.why}


def _pour(one: Addition) -> tuple[float, float] | None:
    if one.placed_by != "dip":
        return None
    start, end = one.pour_start, one.pour_end
    if isinstance(start, Quantity) and isinstance(end, Quantity) and end.value >= start.value:
        return start.value, end.value
    return None


def _vapour(scene: Scene, milk_kg: Quantity | None, pour: tuple[float, float] | None) -> Vapour:
    return vapour_of(
        scene.gatherer,
        scene.batch,
        scene.milk,
        milk_kg=milk_kg,
        boiling_degc=scene.boiling.value,
        pour=pour,
        now_s=scene.now_ms / 1000.0,
    )


def _masses(weighings: Sequence[Weighing]) -> dict[str, Quantity]:
    """Return each weighed stream's mass, parts summed and repeats averaged [kg]."""
    if not weighings:
        return {}
    together = combine_weighings(weighings)
    found: dict[str, Quantity] = {}
    for i, name in enumerate(together.names):
        u_kg = math.sqrt(float(together.covariance_kg2[i, i]))
        sources = tuple(f"weighing {one}" for one in together.ids[i])
        found[name] = Quantity(float(together.mass_kg[i]), "kg", u_kg, "weighed", sources)
    if "milk" not in found and "raw_milk" in found:
        found["milk"] = found["raw_milk"]
    return found


def _inputs(
    scene: Scene,
    marks: Sequence[Kept],
    weighings: Sequence[Weighing],
    masses: dict[str, Quantity],
    vapour: Vapour,
) -> list[AdditionInputs]:
    coagulant = _shares("coagulant", len(marks), weighings, masses)
    water = _shares("coagulant_water", len(marks), weighings, masses)
    slurry = hand_temperature(scene.batch)
    room = room_temperature(scene)
    milk = _in_pot(masses.get("milk"), vapour)
    weighed = Masses(masses, {})
    made_of = milk_of(scene.batch, weighed, components_of(scene.kitchen, scene.batch, weighed))
    inputs: list[AdditionInputs] = []
    for salt, liquid in zip(coagulant, water, strict=True):
        inputs.append(
            AdditionInputs(
                milk=milk,
                coagulant=salt,
                coagulant_water=liquid,
                slurry_temperature=slurry,
                room_temperature=room,
                milk_composition=made_of,
            )
        )
        milk = _with(milk, salt, liquid)
    return inputs


def _in_pot(milk_kg: Quantity | None, vapour: Vapour) -> Quantity | None:
    """What was left of the milk when the coagulant went in [kg]."""
    lost = vapour.before_pour
    if milk_kg is None or not isinstance(lost, Quantity):
        return milk_kg
    return Quantity(
        max(milk_kg.value - lost.value, 0.0),
        "kg",
        math.hypot(milk_kg.u, lost.u),
        "weighed, less the vapour up to the pour",
        (*milk_kg.sources, *lost.sources),
    )


def _with(milk: Quantity | None, salt: Quantity | None, liquid: Quantity | None) -> Quantity | None:
    if milk is None or liquid is None:
        return None
    salt_kg, u_salt_kg = (salt.value, salt.u) if salt else (0.0, 0.0)
    return Quantity(
        milk.value + liquid.value + salt_kg,
        "kg",
        math.hypot(milk.u, liquid.u, u_salt_kg),
        "with the addition before",
        (*milk.sources, *liquid.sources),
    )


def _shares(
    stream: str, count: int, weighings: Sequence[Weighing], masses: dict[str, Quantity]
) -> list[Quantity | None]:
    """Return what went in at each addition: in the order of the weighings, if there are as many."""
    if count == 1:
        return [masses.get(stream)]
    parts = [w for w in weighings if w.stream == stream]
    if len(parts) != count:
        return [None] * count
    return [_masses([part])[stream] for part in parts]


def hand_temperature(batch: Batch) -> Quantity | None:
    """Return the slurry's temperature as it was measured by hand [degC], None without one.

    Args:
        batch: The batch.
    """
    for record in reversed(batch.observations):
        body = record.body
        if body["quantity"] == "hand_temperature" and body.get("of") in (
            "coagulant", "coagulant_water",
        ):  # fmt: skip
            return _observed(record, HAND_U_K)
    return None


def room_temperature(scene: Scene) -> Quantity:
    """Return the room's temperature, measured or as is usual for the kitchen [degC].

    Args:
        scene: What is gathered for the analysis.
    """
    for record in reversed(scene.batch.observations):
        if record.body["quantity"] == "room_temperature" and record.body.get("value") is not None:
            return _observed(record, 1.0)
    degc = scene.kitchen.config.kitchen.room_temperature_degc
    return Quantity(degc, "degC", ROOM_U_K, "usual for this kitchen", ("configuration: kitchen",))


def _observed(record: Kept, usual_u_k: float) -> Quantity:
    body = record.body
    u = body.get("u")
    u_k = difference_to_kelvin(u, body["unit"]) if u else usual_u_k
    degc = to_canonical(body["value"], body["unit"], "temperature")
    return Quantity(degc, "degC", u_k, "measured by hand", (f"observation {record.id}",))
