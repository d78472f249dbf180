# SPDX-License-Identifier: MIT
"""A pour planned ahead: from a body into the calculation, and its answer into JSON."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from api import views
from api.kitchen import Kitchen
from api.plan_schemas import Measured, PourPlanBody
from api.process.addition_mixture import AdditionInputs, slurry_temperature
from api.process.composition import Composition
from api.process.milk import milk_composition
from api.process.mixing import ALUMINIUM, STAINLESS_STEEL
from api.process.pour_plan import Pour, PourPlan, plan_pour
from api.process.quantities import NotShown, Quantity, Result
from api.process.weighings import default_weighing_u_kg
from collector.errors import ProcessError, UnknownRecordError
from collector.units import difference_to_kelvin, to_canonical

# A probe that nobody checked, and the solids of a milk that the maker knows by habit.
_U_PROBE_K = 0.5 / math.sqrt(3.0)
_U_SOLIDS_FRACTION = 0.05
_U_ROOM_K = 2.0
_COLDEST_DEGC, _HOTTEST_DEGC = -5.0, 120.0


def plan(kitchen: Kitchen, body: PourPlanBody) -> dict[str, Any]:
    """Return what lands the mixture on its target.

    Args:
        kitchen: For its pots and its room.
        body: What is known of the pour.

    Raises:
        UnitError: A unit is of the wrong kind.
        ProcessError: A value makes no sense, or the target can't be reached.
        UnknownRecordError: There is no such pot, or nobody weighed it.
    """
    target_degc = _degc(body.target.value, body.target.unit, "target")
    pot_kg, material = _pot(kitchen, body)
    made_of = _composition(body)
    pour = Pour(
        milk_mass=_mass(body.milk_mass, "milk_mass"),
        slurry_temperature=_slurry_temperature(kitchen, body),
        milk_temperature=_maybe(body.milk_temperature, _temperature, "milk_temperature"),
        slurry_mass=_maybe(body.slurry_mass, _mass, "slurry_mass"),
        milk_composition=made_of if isinstance(made_of, Composition) else None,
        pot_mass=pot_kg,
        pot_specific_heat=ALUMINIUM if material == "aluminium" else STAINLESS_STEEL,
    )
    found = plan_pour(target_degc, pour)
    _refuse_out_of_reach(found, pour, target_degc)
    return {
        "target": {"value": target_degc, "unit": "degC"},
        "milk_temperature": views.quantity(found.milk_temperature),
        "slurry_mass": views.quantity(found.slurry_mass),
        "mixture": views.quantity(found.mixture),
        "mixing_drop": views.quantity(_drop(found, pour, target_degc)),
        "notes": [
            *([f"{made_of.why} A usual milk is taken."] if isinstance(made_of, NotShown) else []),
            "heat lost to the room during the pour and the stand is not in it",
            "heats of solution are not in it (within 0.05 K)",
        ],
    }


def _refuse_out_of_reach(found: PourPlan, pour: Pour, target_degc: float) -> None:
    asked = (
        (pour.slurry_mass, found.milk_temperature),
        (pour.milk_temperature, found.slurry_mass),
    )
    for given, answer in asked:
        if given is not None and isinstance(answer, NotShown):
            raise ProcessError(
                f"A mixture of {target_degc:.1f} degC can't be reached. {answer.why}",
                where="target",
                do="Change the target, the slurry, or the milk.",
            )
    if isinstance(found.slurry_mass, Quantity) and found.slurry_mass.value > pour.milk_mass.value:
        raise ProcessError(
            f"It would take {found.slurry_mass.value:.1f} kg of slurry for "
            f"{pour.milk_mass.value:.1f} kg of milk.",
            where="target",
            do="Let the milk cool nearer to the target first.",
        )


def _drop(found: PourPlan, pour: Pour, target_degc: float) -> Result:
    """Return how far the mixing itself cools the milk [K]; what the room takes is not in it."""
    milk, mixed = pour.milk_temperature, found.mixture
    if isinstance(mixed, Quantity) and milk is not None:
        # An error of the milk is in both, and in the mixture by as much as the milk is of it.
        span_k = milk.value - pour.slurry_temperature.value
        milk_share = (mixed.value - pour.slurry_temperature.value) / span_k if span_k else 1.0
        apart = max(mixed.u**2 - (milk_share * milk.u) ** 2, 0.0)
        u_k = math.sqrt(apart + ((1.0 - milk_share) * milk.u) ** 2)
        return Quantity(milk.value - mixed.value, "K", u_k, "milk less mixture", mixed.sources)
    needed = found.milk_temperature
    if isinstance(needed, Quantity):
        method = "milk needed less target"
        return Quantity(needed.value - target_degc, "K", needed.u, method, needed.sources)
    if milk is not None:
        return Quantity(milk.value - target_degc, "K", milk.u, "milk less target", milk.sources)
    return needed


def _degc(value: float, unit: str, where: str) -> float:
    degc = to_canonical(value, unit, "temperature")
    if not _COLDEST_DEGC <= degc <= _HOTTEST_DEGC:
        raise ProcessError(
            f"{value:g} {unit} is no temperature of milk or slurry.",
            where=where,
            do=f"Give {_COLDEST_DEGC:g} to {_HOTTEST_DEGC:g} degC.",
        )
    return degc


def _temperature(said: Measured, where: str) -> Quantity:
    degc = _degc(said.value, said.unit, where)
    if said.u is not None:
        return Quantity(degc, "degC", difference_to_kelvin(said.u, said.unit), "given")
    return Quantity(degc, "degC", _U_PROBE_K, "given", ("assumed: +-0.5 K, probe not checked",))


def _mass(said: Measured, where: str) -> Quantity:
    mass_kg = to_canonical(said.value, said.unit, "mass")
    if not mass_kg > 0.0:
        raise ProcessError(
            f"{said.value:g} {said.unit} is no mass to pour with.", where=where, do="Give above 0."
        )
    if said.u is not None:
        return Quantity(mass_kg, "kg", to_canonical(said.u, said.unit, "mass"), "given")
    u_kg = default_weighing_u_kg(mass_kg)
    return Quantity(mass_kg, "kg", u_kg, "given", ("assumed: a kitchen scale",))


def _maybe(
    said: Measured | None, convert: Callable[[Measured, str], Quantity], where: str
) -> Quantity | None:
    return None if said is None else convert(said, where)


def _slurry_temperature(kitchen: Kitchen, body: PourPlanBody) -> Quantity:
    given = _maybe(body.slurry_temperature, _temperature, "slurry_temperature")
    degc = kitchen.config.kitchen.room_temperature_degc
    room = Quantity(degc, "degC", _U_ROOM_K, "usual for this kitchen", ("configuration: kitchen",))
    return slurry_temperature(AdditionInputs(slurry_temperature=given, room_temperature=room))


def _composition(body: PourPlanBody) -> Composition | NotShown | None:
    if body.milk_solids_fraction is None:
        return None
    named = body.ingredients or []
    total = sum(one.share for one in named)
    shares = {one.name: one.share / total for one in named}
    solids = body.milk_solids_fraction
    known = Quantity(solids, "-", _U_SOLIDS_FRACTION * solids, "given")
    return milk_composition(shares, known)


def _pot(kitchen: Kitchen, body: PourPlanBody) -> tuple[Quantity | None, str | None]:
    if body.pot is None:
        return _maybe(body.pot_mass, _mass, "pot_mass"), body.pot_material
    entry = kitchen.journal.latest_by("pot", "name").get(body.pot)
    if entry is None or entry.body.get("empty_kg") is None:
        raise UnknownRecordError(
            f"The empty weight of the pot {body.pot!r} is not known.",
            where="pot",
            do="Give it with POST /v1/pots, or give pot_mass.",
        )
    said = entry.body
    sources = (f"pot {body.pot}",)
    mass = Quantity(said["empty_kg"], "kg", said["u_empty_kg"], "weighed empty", sources)
    return mass, body.pot_material or said.get("material")
