# SPDX-License-Identifier: MIT
"""The dose of the coagulant, what practice does with it, and how much of it was only suspended."""

from __future__ import annotations

from typing import Any

from api import views
from api.analysis.addition import hand_temperature
from api.analysis.components import Components
from api.analysis.masses import Masses
from api.analysis.milk import milk_of
from api.cautions import ingredients_of
from api.process.coagulant import (
    MILK_DENSITY,
    dose,
    find_substance,
    gypsum_carried_as_solid,
    gypsum_solubility,
    hints,
)
from api.process.coagulant_table import Practice
from api.process.quantities import Absence, NotShown, Quantity, Result
from api.process.thermal import density
from api.records.batches import Batch
from collector.errors import ProcessError

_U_STRENGTH_FRACTION = 0.05
# A milk is poured and measured by the litre near here; the equations are good for half a hundredth.
_ROOM_DEGC, _U_DENSITY_FRACTION = 20.0, 0.005


def coagulant_section(
    batch: Batch, masses: Masses, components: Components, room: Quantity
) -> dict[str, Any]:
    """Return the dose of a batch's coagulant.

    Args:
        batch: The batch.
        masses: Its streams [kg].
        components: What is known of its solids, for the density of the milk.
        room: The kitchen's temperature, for a slurry that nobody measured [degC].
    """
    if batch.body.get("self_set"):
        return views.not_shown("a self-set curd has no coagulant", "not applicable")
    said = batch.body.get("coagulant")
    if said is None:
        return views.not_shown(
            "the batch names no coagulant: name it in the recipe or when the batch is made"
        )
    name = said["name"]
    strength = _strength(said)
    mass = masses.of("coagulant")
    found = dose(
        name,
        mass,
        dry=masses.of("dry"),
        milk=masses.of("milk"),
        strength=strength,
        density=_density(batch, masses, components),
    )
    substance = find_substance(name)
    names = ingredients_of(batch)
    return {
        "name": name,
        "substance": substance.name if substance else None,
        "formula": substance.formula if substance else None,
        "lot": said.get("lot"),
        "mass": views.quantity(mass),
        "of_dry": views.quantity(found.of_dry),
        "of_milk": views.quantity(found.of_milk),
        "concentration": views.quantity(found.concentration),
        "normality": views.quantity(found.normality),
        "carried_as_solid": views.quantity(_as_solid(batch, name, masses, room)),
        "hints": [_hint(hint) for hint in (hints(name, names[0]) if len(names) == 1 else ())],
        "notes": [found.note],
    }


def _density(batch: Batch, masses: Masses, components: Components) -> Quantity:
    """Return the density of the milk: by its composition, else as is usual [kg/m3]."""
    made_of = milk_of(batch, masses, components)
    if made_of is None:
        return MILK_DENSITY
    value = density(made_of, _ROOM_DEGC)
    u = _U_DENSITY_FRACTION * value
    return Quantity(value, "kg/m3", u, "by its composition", ("Choi and Okos 1986",))


def _strength(said: dict[str, Any]) -> Quantity | None:
    value = said.get("strength_fraction")
    if value is None:
        return None
    sources = ("strength as stated", "assumed: 5 % standard uncertainty of a stated strength")
    return Quantity(value, "-", _U_STRENGTH_FRACTION * value, "as stated", sources)


def _as_solid(batch: Batch, name: str, masses: Masses, room: Quantity) -> Result:
    """Return the share of gypsum that its water could not dissolve [-]."""
    substance = find_substance(name)
    if substance is None or substance.name != "gypsum":
        return NotShown("only gypsum is a suspension", Absence.NOT_APPLICABLE)
    salt, water = masses.of("coagulant"), masses.of("coagulant_water")
    if isinstance(salt, NotShown):
        return salt
    if isinstance(water, NotShown):
        return water
    slurry = hand_temperature(batch) or room
    try:
        share = gypsum_carried_as_solid(salt.value, water.value, slurry.value)
        u_solubility = gypsum_solubility(slurry.value).u / 1000.0
    except ProcessError as error:
        return NotShown(str(error))
    dissolved = 1.0 - share
    u = dissolved**2 * (salt.u / salt.value) ** 2 + (u_solubility * water.value / salt.value) ** 2
    sources = (*salt.sources, *water.sources, *slurry.sources, "PHREEQC, computed solubility")
    return Quantity(share, "-", u**0.5, "less what the water can dissolve", sources)


def _hint(hint: Any) -> dict[str, Any]:
    if isinstance(hint, Practice):
        return {"text": hint.text, "source": hint.source, "status": str(hint.status)}
    return {
        "usual": {
            "of_milk_g_per_100_g": list(hint.of_milk_g_per_100_g),
            "mmol_per_l": list(hint.mmol_per_l),
            "of_dry_g_per_100_g": list(hint.of_dry_g_per_100_g),
            "addition_degc": list(hint.addition_degc),
            "stand_min": list(hint.stand_min),
        },
        "text": f"usual with soy: {hint.curd}",
        "source": hint.source,
        "status": str(hint.status),
    }
