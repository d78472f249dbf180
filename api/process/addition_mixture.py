# SPDX-License-Identifier: MIT
"""What the weighings and the slurry's temperature lead one to expect of an addition.

Pure: no I/O; imports only the ground and what is pure.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from api.process.composition import WATER, Composition
from api.process.mixing import COAGULANT, STAINLESS_STEEL, Part, mixture, part_of
from api.process.pour_plan import Pour, milk_and_wall, unknown_wall_fraction, widened_for_wall
from api.process.quantities import NotShown, Quantity
from api.process.thermal import MILK_SPECIFIC_HEAT

# Half-width of what the slurry may differ from the room, where nobody measured it, and a usual
# kitchen where nobody measured the room either (common practice).
ROOM_HALF_WIDTH_K = 5.0
USUAL_ROOM = Quantity(21.0, "degC", 3.0, "usual kitchen", ("assumed: room of 21 degC",))
# Coagulant that nobody weighed: from none to a tenth of its water.
_COAGULANT_FRACTION = 0.05
# Heats of solution and hydration, a few grams to the litre (order of magnitude; no source read).
_SOLUTION_U_K = 0.03
_USUAL_MILK_KG = 3.0


@dataclass(frozen=True, slots=True)
class AdditionInputs:
    """What was weighed and measured for one addition; None where nobody did.

    Attributes:
        milk: Milk in the pot before this addition [kg].
        coagulant: [kg].
        coagulant_water: Water it was stirred into; 0 for a liquid coagulant [kg].
        slurry_temperature: As measured by hand [degC].
        room_temperature: [degC].
        milk_composition: What the milk is made of [-].
        pot_mass: Wall of the pot that the milk touches [kg].
        pot_specific_heat: Of the wall [J/(kg K)].
    """

    milk: Quantity | None = None
    coagulant: Quantity | None = None
    coagulant_water: Quantity | None = None
    slurry_temperature: Quantity | None = None
    room_temperature: Quantity | None = None
    milk_composition: Composition | None = None
    pot_mass: Quantity | None = None
    pot_specific_heat: Quantity = STAINLESS_STEEL


@dataclass(frozen=True, slots=True)
class Expected:
    """The mixture that the balance of heat leads to.

    Attributes:
        mixture: Its temperature, with u from everything [degC].
        from_before_fraction: How much of an error of the milk's temperature passes on [-].
        u_apart_k: Standard uncertainty without that of the milk's temperature [K].
    """

    mixture: Quantity
    from_before_fraction: float
    u_apart_k: float


def slurry_temperature(inputs: AdditionInputs) -> Quantity:
    """Return the temperature of the slurry: measured, else that of the room.

    Args:
        inputs: What was measured [degC].

    Returns:
        The temperature, with what was assumed among its sources [degC].

    Source:
        A slurry stands in the room for a while, taken as within 5 K of it, rectangular (common
        practice).
    """
    if inputs.slurry_temperature is not None:
        return inputs.slurry_temperature
    room = inputs.room_temperature or USUAL_ROOM
    return Quantity(
        value=room.value,
        unit="degC",
        u=math.hypot(room.u, ROOM_HALF_WIDTH_K / math.sqrt(3.0)),
        method="taken from the room",
        sources=(*room.sources, "assumed: slurry within 5 K of the room"),
    )


def wall_fraction(inputs: AdditionInputs) -> float:
    """Return the heat of the pot's wall as a share of the milk's.

    Args:
        inputs: Milk and pot, as far as they were weighed [kg].

    Returns:
        The share if both were weighed, else what it may be [-].

    Source:
        Ratio of heat capacities (definition), else as `unknown_wall_fraction`.
    """
    milk_kg = inputs.milk.value if inputs.milk is not None else _USUAL_MILK_KG
    if inputs.pot_mass is None or milk_kg <= 0:
        return unknown_wall_fraction(milk_kg)
    wall_j_per_k = inputs.pot_mass.value * inputs.pot_specific_heat.value
    return wall_j_per_k / (milk_kg * MILK_SPECIFIC_HEAT.value)


def expected_mixture(before: Quantity, inputs: AdditionInputs) -> Expected | NotShown:
    """Return the temperature that the mixture would have if no heat came or went.

    Args:
        before: Milk at the start of the pour [degC].
        inputs: What was weighed and measured [kg, degC].

    Returns:
        The mixture and how it depends on `before`, or which weighing is missing [degC].

    Raises:
        ProcessError: A mass or a temperature makes no sense.

    Source:
        Energy balance (definition); heat capacities by Choi and Okos 1986; propagation by JCGM
        100:2008, 5.1 and 5.2; heats of solution left out, within 0.05 K.
    """
    if inputs.milk is None:
        return NotShown("The milk was not weighed; weigh what is in the pot before the addition.")
    if inputs.coagulant_water is None:
        return NotShown(
            "The water of the coagulant was not weighed; weigh it, or give 0 for a liquid one."
        )
    pour = Pour(
        milk_mass=inputs.milk,
        slurry_temperature=slurry_temperature(inputs),
        milk_composition=inputs.milk_composition,
        pot_mass=inputs.pot_mass,
        pot_specific_heat=inputs.pot_specific_heat,
    )
    slurry = _slurry(inputs, pour.slurry_temperature)
    hot = milk_and_wall(pour, before)
    whole = _mixed([*hot, *slurry], before, pour)
    sure = Quantity(before.value, "degC", 0.0, before.method)
    apart = _mixed([*milk_and_wall(pour, sure), *slurry], sure, pour)
    hot_j_per_k = sum(part.heat_capacity(whole.value) for part in hot)
    cold_j_per_k = sum(part.heat_capacity(whole.value) for part in slurry)
    return Expected(whole, hot_j_per_k / (hot_j_per_k + cold_j_per_k), apart.u)


def expected_drop(before: Quantity, inputs: AdditionInputs) -> tuple[float, float] | None:
    """Return how far the pour should cool the milk, generously uncertain.

    Args:
        before: Milk before the addition, roughly [degC].
        inputs: What was weighed and measured [kg, degC].

    Returns:
        The drop and a standard deviation that also allows for a fifth of it and 0.15 K [K]; None
        where it can't be told or the slurry is not colder than the milk.

    Raises:
        ProcessError: A mass or a temperature makes no sense.

    Source:
        As `expected_mixture`; the allowance is ours, for heat lost and gained meanwhile.
    """
    expected = expected_mixture(before, inputs)
    if isinstance(expected, NotShown):
        return None
    drop_k = before.value - expected.mixture.value
    if drop_k <= 0:
        return None
    return drop_k, math.hypot(0.2 * drop_k + 0.15, expected.u_apart_k)


def _slurry(inputs: AdditionInputs, temperature: Quantity) -> list[Part]:
    water = inputs.coagulant_water or Quantity(0.0, "kg", 0.0, "none")
    coagulant = inputs.coagulant
    if coagulant is None:
        share = _COAGULANT_FRACTION * water.value
        coagulant = Quantity(
            value=share,
            unit="kg",
            u=share / math.sqrt(3.0),
            method="assumed",
            sources=("assumed: coagulant up to a tenth of its water",),
        )
    return [
        part_of("water of the coagulant", water, temperature, WATER),
        Part("coagulant", coagulant, temperature, COAGULANT),
    ]


def _mixed(parts: list[Part], before: Quantity, pour: Pour) -> Quantity:
    mixed = mixture(parts)
    widened = widened_for_wall(mixed, abs(before.value - mixed.value), pour)
    return replace(widened, u=math.hypot(widened.u, _SOLUTION_U_K))
