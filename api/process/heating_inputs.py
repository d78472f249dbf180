# SPDX-License-Identifier: MIT
"""What is known of a pot that is heated or cools, and how much heat it holds.

Pure: no I/O; imports only what is pure.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from api.process.composition import Composition
from api.process.mixing import STAINLESS_STEEL
from api.process.pour_plan import unknown_wall_fraction
from api.process.quantities import Quantity
from api.process.thermal import MILK_SPECIFIC_HEAT, specific_heat_with_u
from collector.errors import ProcessError

USUAL_ROOM = Quantity(21.0, "degC", 4.0, "usual kitchen", ("assumed: room of 21 degC",))


@dataclass(frozen=True, slots=True)
class HeatingInputs:
    """What is known of the pot.

    Attributes:
        milk: In the pot at that time, what had evaporated by then taken off [kg].
        room: Temperature of the room; None takes 21 degC with u 4 K [degC].
        boiling: Local boiling point; None takes that at one atmosphere [degC].
        milk_composition: What the milk is made of [-].
        pot_mass: Wall of the pot [kg].
        pot_specific_heat: Of the wall [J/(kg K)].
        covered: Whether it was heated under a lid, None if that isn't known.
    """

    milk: Quantity
    room: Quantity | None = None
    boiling: Quantity | None = None
    milk_composition: Composition | None = None
    pot_mass: Quantity | None = None
    pot_specific_heat: Quantity = STAINLESS_STEEL
    covered: bool | None = None

    def __post_init__(self) -> None:
        if not self.milk.value > 0:
            raise ProcessError(
                f"{self.milk.value:g} kg of milk in the pot.",
                where="heating",
                do="Give the mass of the milk, above 0.",
            )


@dataclass(frozen=True, slots=True)
class Capacity:
    """How much heat takes a pot up by a kelvin.

    Attributes:
        milk_j_per_k: The milk alone [J/K].
        u_milk_fraction: Its relative standard uncertainty [-].
        pot_j_per_k: Milk and wall, the wall left out where nobody weighed it [J/K].
        u_pot_fraction: Its relative standard uncertainty [-].
        sources: Of the heat capacity.
    """

    milk_j_per_k: float
    u_milk_fraction: float
    pot_j_per_k: float
    u_pot_fraction: float
    sources: tuple[str, ...]


def capacity(inputs: HeatingInputs, temperature_degc: float) -> Capacity:
    """Return the heat capacity of milk and pot.

    Args:
        inputs: What is known of them [kg].
        temperature_degc: Mean temperature of the milk [degC].

    Returns:
        Heat capacities [J/K] with their relative standard uncertainties [-].

    Source:
        Choi and Okos 1986, or the usual heat capacity of milk; JCGM 100:2008, 5.1.
    """
    heat = MILK_SPECIFIC_HEAT
    if inputs.milk_composition is not None:
        heat = specific_heat_with_u(inputs.milk_composition, temperature_degc)
    milk = inputs.milk.value * heat.value
    u_milk = math.hypot(inputs.milk.u / inputs.milk.value, heat.u / heat.value)
    share, u_share = 0.0, unknown_wall_fraction(inputs.milk.value)
    if inputs.pot_mass is not None and inputs.pot_mass.value > 0:
        share = inputs.pot_mass.value * inputs.pot_specific_heat.value / milk
        u_share = share * math.hypot(
            inputs.pot_mass.u / inputs.pot_mass.value,
            inputs.pot_specific_heat.u / inputs.pot_specific_heat.value,
        )
    u_pot = math.hypot(u_milk, u_share / (1.0 + share))
    return Capacity(milk, u_milk, milk * (1.0 + share), u_pot, heat.sources)
