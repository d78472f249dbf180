# SPDX-License-Identifier: MIT
"""The power of the pot on its hob, and what it loses with the hob off."""

from __future__ import annotations

import math
from typing import Any

from api import views
from api.analysis.addition import Scene, room_temperature
from api.analysis.components import Components
from api.analysis.evaporation import vapour_of
from api.analysis.gather import PlacedCurve
from api.analysis.masses import Masses
from api.analysis.milk import milk_of
from api.process.curves import Curve
from api.process.heat_loss import HeatLoss, heat_loss
from api.process.heating import Heating, heating
from api.process.heating_inputs import HeatingInputs
from api.process.mixing import ALUMINIUM, STAINLESS_STEEL
from api.process.plateau import Plateau, plateau_of
from api.process.quantities import NotShown, Quantity
from api.records.batches import Batch
from api.times import format_s

_BEFORE_HEAT_S = 120.0
# A plate goes on for a while after it is switched off, and a lid that was put on steams up.
_SETTLES_S = 90.0
_BEFORE_POUR_S = 10.0
# Handles and rim are weighed with an empty pot, and stay cooler than the milk (common practice).
_U_WALL_FRACTION = 0.1
_UNKNOWN_WALL = Quantity(600.0, "J/(kg K)", 150.0, "steel or aluminium", ("material not stated",))
_FIGURES = (
    "net_power", "net_power_per_kg", "pot_power", "loss_coefficient", "time_constant",
    "evaporation_power", "rate",
)  # fmt: skip


def heating_section(
    scene: Scene, masses: Masses, components: Components, pour: tuple[float, float] | None
) -> dict[str, Any]:
    """Return the power into the pot, and its losses where the hob was off.

    Args:
        scene: What is gathered for the analysis.
        masses: The streams of the batch [kg].
        components: What is known of its solids, for the heat capacity of the milk.
        pour: Start and end of the addition as the curve places it [s since 1970 UTC].
    """
    milk = scene.milk
    if isinstance(milk, NotShown):
        return views.not_shown(milk.why)
    start_s, end_s = _span(scene, milk)
    curve = milk.curve.between(start_s - _BEFORE_HEAT_S, end_s)
    inputs = _inputs(scene, milk, masses, components, end_s)
    if isinstance(inputs, NotShown):
        return views.not_shown(inputs.why)
    found = heating(curve, inputs)
    shown: dict[str, Any] = (
        _heating_json(found, milk) if isinstance(found, Heating) else views.not_shown(found.why)
    )
    return {**shown, "cooling": _coolings(scene, milk.curve, inputs, pour)}


def _heating_json(found: Heating, milk: PlacedCurve) -> dict[str, Any]:
    shown: dict[str, Any] = {}
    for key in _FIGURES:
        result = getattr(found, key)
        if isinstance(result, Quantity):
            result = result.using(*milk.sources[1:])
        shown[key] = views.quantity(result)
    return {
        **shown,
        "from_at": format_s(found.from_s),
        "to_at": format_s(found.to_s),
        "residual_k": found.residual_k,
        "fits": found.fits,
        "notes": [found.why],
    }


def _span(scene: Scene, milk: PlacedCurve) -> tuple[float, float]:
    """Return from when to when the pot was only heated, as far as marks tell."""
    batch = scene.batch
    heat_ms = batch.first_ms("heat")
    start_s = heat_ms / 1000.0 if heat_ms is not None else float(milk.curve.time_s[0])
    marks = [batch.first_ms(kind) for kind in ("boil", "simmer", "addition", "ladle")]
    ends = [ms / 1000.0 for ms in marks if ms is not None and ms / 1000.0 > start_s]
    return start_s, min(ends, default=scene.now_ms / 1000.0)


def _inputs(
    scene: Scene,
    milk: PlacedCurve,
    masses: Masses,
    components: Components,
    end_s: float,
) -> HeatingInputs | NotShown:
    weighed = masses.of("milk")
    if isinstance(weighed, NotShown):
        return NotShown(f"the power follows from the mass that was heated. {weighed.why}")
    if weighed.value <= 0.0:
        return NotShown("the milk weighs nothing")
    lost = vapour_of(
        scene.gatherer, scene.batch, milk, milk_kg=weighed, boiling_degc=scene.boiling.value,
        pour=(end_s, end_s), now_s=scene.now_ms / 1000.0,
    ).before_pour  # fmt: skip
    in_pot = weighed
    if isinstance(lost, Quantity):
        # It left bit by bit: half of it on the mean, give or take a quarter.
        mean_kg = max(weighed.value - 0.5 * lost.value, 0.5 * weighed.value)
        u_kg = math.hypot(weighed.u, 0.25 * lost.value, 0.5 * lost.u)
        sources = (*weighed.sources, *lost.sources)
        in_pot = Quantity(mean_kg, "kg", u_kg, "weighed, less half of the vapour", sources)
    wall_kg, wall_heat = _wall(scene)
    return HeatingInputs(
        milk=in_pot,
        room=room_temperature(scene),
        boiling=scene.boiling,
        milk_composition=milk_of(scene.batch, masses, components),
        pot_mass=wall_kg,
        pot_specific_heat=wall_heat,
        covered=_covered(scene.batch, end_s),
    )


def _wall(scene: Scene) -> tuple[Quantity | None, Quantity]:
    """Return the pot's own mass, None if nobody weighed it, and its specific heat."""
    name = scene.batch.body.get("pot")
    entry = scene.kitchen.journal.latest_by("pot", "name").get(str(name)) if name else None
    said = entry.body if entry is not None else {}
    material = str(said.get("material") or "").casefold()
    heat = _UNKNOWN_WALL
    if "steel" in material or "inox" in material:
        heat = STAINLESS_STEEL
    elif "alumin" in material:
        heat = ALUMINIUM
    if said.get("empty_kg") is None:
        return None, heat
    value = said["empty_kg"]
    u = math.hypot(said["u_empty_kg"], _U_WALL_FRACTION * value)
    return Quantity(value, "kg", u, "weighed empty", (f"pot {name}",)), heat


def _covered(batch: Batch, end_s: float) -> bool | None:
    """Return whether it was heated under a lid; None where nobody marks lids in this batch."""
    covers = [mark.at_ms / 1000.0 for mark in batch.events_of("cover")]
    if not covers:
        return None
    return min(covers) < end_s


def _coolings(
    scene: Scene, curve: Curve, inputs: HeatingInputs, pour: tuple[float, float] | None
) -> dict[str, Any]:
    """Return what the pot lost before the addition, open, and after it, covered."""
    return {
        "before_addition": _loss_json(_before_addition(scene, curve, inputs, pour)),
        "covered": _loss_json(_under_lid(scene, curve, inputs)),
    }


def _before_addition(
    scene: Scene, curve: Curve, inputs: HeatingInputs, pour: tuple[float, float] | None
) -> HeatLoss | NotShown:
    if pour is None:
        return NotShown("no addition is placed by the curve, so that its cooling has no end")
    before = curve.between(-math.inf, pour[0] - _BEFORE_POUR_S)
    top = plateau_of(before, scene.boiling)
    if not isinstance(top, Plateau):
        return NotShown("the milk did not stand hot before it cooled to the addition")
    part = before.between(top.start_s + top.length_s + _SETTLES_S, math.inf)
    return heat_loss(part, inputs) if len(part) > 1 else NotShown("it did not cool before the pour")


def _under_lid(scene: Scene, curve: Curve, inputs: HeatingInputs) -> HeatLoss | NotShown:
    cover_ms, ladle_ms = scene.batch.first_ms("cover"), scene.batch.first_ms("ladle")
    if cover_ms is None:
        return NotShown("no lid is marked")
    end_s = ladle_ms / 1000.0 - _SETTLES_S if ladle_ms is not None else scene.now_ms / 1000.0
    part = curve.between(cover_ms / 1000.0 + _SETTLES_S, end_s)
    return heat_loss(part, inputs) if len(part) > 1 else NotShown("the lid was off again at once")


def _loss_json(found: HeatLoss | NotShown) -> dict[str, Any]:
    if isinstance(found, NotShown):
        return views.not_shown(found.why)
    return {
        key: views.quantity(getattr(found, key))
        for key in ("power", "coefficient", "temperature", "rate")
    }
