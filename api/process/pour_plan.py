# SPDX-License-Identifier: MIT
"""How hot the milk, or how much slurry, for a wanted temperature after the addition.

Pure: no I/O; imports only the ground and what is pure.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from api.process.composition import Composition
from api.process.mixing import (
    STAINLESS_STEEL,
    Part,
    milk_temperature_for,
    mixture,
    part_of,
    slurry_mass_for,
)
from api.process.quantities import NotShown, Quantity, Result
from api.process.thermal import MILK_SPECIFIC_HEAT
from collector.errors import ProcessError

# Water with up to a twentieth of salt in it (computed from 4.18 and 1.1 kJ/(kg K)).
SLURRY_SPECIFIC_HEAT = Quantity(
    4180.0, "J/(kg K)", 80.0, "water with a little salt", ("Choi and Okos 1986",)
)
# The wall of a pot that nobody weighed holds 5 % of the heat of 3 kg of milk, give or take as much;
# of more milk less, as surface goes to volume (computed for 1 to 2.5 mm of steel).
_WALL_FRACTION, _WALL_AT_KG = 0.05, 3.0


@dataclass(frozen=True, slots=True)
class Pour:
    """What is known of a pour that is yet to come.

    Attributes:
        milk_mass: Milk in the pot [kg].
        slurry_temperature: Of the coagulant in its water [degC].
        milk_temperature: As planned, None if it is what is asked for [degC].
        slurry_mass: Coagulant and its water together, None if it is what is asked for [kg].
        milk_composition: What the milk is made of, None if not known [-].
        pot_mass: Wall of the pot that the milk touches, None if not known [kg].
        pot_specific_heat: Of the wall [J/(kg K)].
    """

    milk_mass: Quantity
    slurry_temperature: Quantity
    milk_temperature: Quantity | None = None
    slurry_mass: Quantity | None = None
    milk_composition: Composition | None = None
    pot_mass: Quantity | None = None
    pot_specific_heat: Quantity = STAINLESS_STEEL


@dataclass(frozen=True, slots=True)
class PourPlan:
    """What lands the mixture on its target.

    Attributes:
        milk_temperature: Of the milk when the given slurry goes in [degC].
        slurry_mass: Of the slurry when it goes into the milk as it is [kg].
        mixture: What the two would give as they are [degC].
    """

    milk_temperature: Result
    slurry_mass: Result
    mixture: Result


def milk_and_wall(pour: Pour, milk_temperature: Quantity) -> list[Part]:
    """Return the parts that are hot before a pour: the milk, and the wall if it is known.

    Args:
        pour: What is known [kg, degC].
        milk_temperature: Of both [degC].

    Returns:
        One or two parts that share the temperature [kg, degC, J/(kg K)].

    Raises:
        ProcessError: A value is not one to mix with.

    Source:
        Definition; usual heat capacity of milk where its composition is not known.
    """
    if pour.milk_composition is not None:
        parts = [part_of("milk", pour.milk_mass, milk_temperature, pour.milk_composition)]
    else:
        parts = [Part("milk", pour.milk_mass, milk_temperature, MILK_SPECIFIC_HEAT)]
    if pour.pot_mass is not None:
        wall = Part("wall of the pot", pour.pot_mass, milk_temperature, pour.pot_specific_heat)
        parts.append(wall)
    return parts


def unknown_wall_fraction(milk_kg: float) -> float:
    """Return how much heat the wall of a pot may hold, as a share of the milk's.

    Args:
        milk_kg: Milk in the pot [kg].

    Returns:
        Root mean square of a share that is anything from 0 to 0.1 for 3 kg [-].

    Source:
        Steel of 1 to 2.5 mm round pots of usual proportions (computed); surface to volume goes with
        the inverse third root of the mass (definition); JCGM 100:2008, 4.3.7 for the rectangle.
    """
    mean = _WALL_FRACTION * (_WALL_AT_KG / max(milk_kg, 0.1)) ** (1.0 / 3.0)
    return float(mean * math.hypot(1.0, 1.0 / math.sqrt(3.0)))


def widened_for_wall(value: Quantity, drop_k: float, pour: Pour) -> Quantity:
    """Return a mixing temperature with the doubt about a wall that nobody weighed.

    Args:
        value: Temperature by the balance of milk and slurry [degC].
        drop_k: How far the slurry cools the milk [K].
        pour: Says whether the wall is known.

    Returns:
        The same value, with a larger u where the wall is not known [degC].

    Source:
        As `unknown_wall_fraction`.
    """
    if pour.pot_mass is not None:
        return value
    u = math.hypot(value.u, unknown_wall_fraction(pour.milk_mass.value) * drop_k)
    sources = (*value.sources, "wall of the pot not weighed, left out")
    return Quantity(value.value, value.unit, u, value.method, sources)


def plan_pour(target_degc: float, pour: Pour) -> PourPlan:
    """Return what lands the mixture of milk and slurry on a wanted temperature.

    Args:
        target_degc: Wanted temperature of the mixture [degC].
        pour: What is known; milk temperature, slurry mass, or both [kg, degC].

    Returns:
        Milk temperature for the slurry, slurry mass for the milk, and the mixture as it stands;
        each NotShown where its input is missing or no answer exists [degC, kg].

    Raises:
        ProcessError: A mass, a temperature or a unit makes no sense.

    Source:
        Energy balance (definition), Choi and Okos 1986 for heat capacities.

    Example:
        >>> def known(value, unit):
        ...     return Quantity(value, unit, 0.0, "given")
        >>> plan = plan_pour(73.89, Pour(known(3.0, "kg"), known(21.11, "degC"),
        ...                              milk_temperature=known(82.22, "degC")))
        >>> plan.slurry_mass.value
        0.444
    """
    unit = Quantity(1.0, "kg", 0.0, "unit mass")
    slurry = Part("slurry", pour.slurry_mass or unit, pour.slurry_temperature, SLURRY_SPECIFIC_HEAT)
    milk_temperature: Result = NotShown("The mass of the slurry is not given; weigh it.")
    slurry_mass: Result = NotShown("The temperature of the milk is not given.")
    mixed: Result = NotShown("Give both the temperature of the milk and the mass of the slurry.")
    if pour.slurry_mass is not None:
        milk_temperature = _milk_temperature(target_degc, slurry, pour)
    if pour.milk_temperature is not None:
        hot = milk_and_wall(pour, pour.milk_temperature)
        slurry_mass = _slurry_mass(target_degc, slurry, hot, pour)
        if pour.slurry_mass is not None:
            whole = mixture([*hot, slurry])
            drop_k = abs(pour.milk_temperature.value - whole.value)
            mixed = widened_for_wall(whole, drop_k, pour)
    return PourPlan(milk_temperature, slurry_mass, mixed)


def _milk_temperature(target_degc: float, slurry: Part, pour: Pour) -> Result:
    aimed = Quantity(target_degc, "degC", 0.0, "target")
    try:
        found = milk_temperature_for(target_degc, slurry, milk_and_wall(pour, aimed))
    except ProcessError as error:
        return NotShown(str(error))
    return widened_for_wall(found, abs(found.value - target_degc), pour)


def _slurry_mass(target_degc: float, slurry: Part, hot: list[Part], pour: Pour) -> Result:
    try:
        found = slurry_mass_for(target_degc, slurry, hot)
    except ProcessError as error:
        return NotShown(str(error))
    if pour.pot_mass is not None:
        return found
    u = math.hypot(found.u, unknown_wall_fraction(pour.milk_mass.value) * found.value)
    sources = (*found.sources, "wall of the pot not weighed, left out")
    return Quantity(found.value, "kg", u, found.method, sources)
