# SPDX-License-Identifier: MIT
"""What a simulated pot is made of: the kitchen, the pot, the hob, the liquid in its zones.

Pure: standard library only. Must not import `api`, and shares nothing with `api.process`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from collector.instruments.simulated.properties import (
    LIQUID_DENSITY_KG_M3,
    STANDARD_PRESSURE_PA,
    Heats,
)


@dataclass(frozen=True, slots=True)
class Kitchen:
    """The air round the pot.

    Attributes:
        room_degc: [degC].
        pressure_pa: Absolute air pressure [Pa].
        vapour_pa: Partial pressure of water vapour in the room [Pa].
    """

    room_degc: float = 21.0
    pressure_pa: float = STANDARD_PRESSURE_PA
    vapour_pa: float = 1200.0


@dataclass(frozen=True, slots=True)
class Pot:
    """A round pot.

    Attributes:
        diameter_m: Inner diameter [m].
        height_m: Height of the wall [m].
        wall_kg: Mass of wall and bottom; 0 for no wall node at all [kg].
        wall_heat_j_kg_k: 500 for stainless steel, 900 for aluminium [J/(kg K)].
        lid_kg: Mass of the lid, as a scale under the pot sees it [kg].
        wall_loss_w_m2_k: Wall to room, convection and radiation [W/(m2 K)].
        surface_loss_w_m2_k: Dry heat from the open surface to the room [W/(m2 K)].
        lid_loss_w_m2_k: Surface to room through the lid [W/(m2 K)].
        vapour_kg_m2_s: Mass transfer coefficient of the open surface [kg/(m2 s)].
        lid_leak_fraction: Share of the open surface's evaporation that passes the lid [-].
        bottom_fraction: Share of the milk in the hot layer at the bottom; 0 for none [-].
        boiling_elevation_k: By what is dissolved in the milk [K].
    """

    diameter_m: float
    height_m: float
    wall_kg: float
    wall_heat_j_kg_k: float = 500.0
    lid_kg: float = 0.3
    wall_loss_w_m2_k: float = 11.0
    surface_loss_w_m2_k: float = 10.0
    lid_loss_w_m2_k: float = 5.0
    vapour_kg_m2_s: float = 0.0032
    lid_leak_fraction: float = 0.04
    bottom_fraction: float = 0.08
    boiling_elevation_k: float = 0.1

    @property
    def area_m2(self) -> float:
        """The open surface, and the bottom [m2]."""
        return math.pi * self.diameter_m**2 / 4.0

    @property
    def outer_area_m2(self) -> float:
        """The wall that the room sees [m2]."""
        return math.pi * self.diameter_m * self.height_m


def pot_for(milk_kg: float, *, fill_fraction: float = 0.65) -> Pot:
    """Return a stainless pot of usual proportions that holds so much milk.

    Args:
        milk_kg: [kg].
        fill_fraction: How full it is then [-].
    """
    volume_m3 = milk_kg / LIQUID_DENSITY_KG_M3 / fill_fraction
    diameter_m = (volume_m3 / (0.75 * math.pi / 4.0)) ** (1.0 / 3.0)
    height_m = 0.75 * diameter_m
    steel_m2 = math.pi * diameter_m * (height_m + diameter_m / 4.0)
    return Pot(
        diameter_m=diameter_m,
        height_m=height_m,
        wall_kg=steel_m2 * 7900.0 * 0.0012,
        lid_kg=math.pi * diameter_m**2 / 4.0 * 7900.0 * 0.0009,
    )


@dataclass(frozen=True, slots=True)
class Hob:
    """What heats the pot.

    Attributes:
        power_w: Full power taken in [W].
        efficiency_fraction: Share of it that reaches the pot [-].
        time_constant_s: Thermal inertia of the plate; 0 for none [s].
    """

    power_w: float
    efficiency_fraction: float = 0.85
    time_constant_s: float = 1.0


@dataclass(slots=True)
class Zone:
    """A well-mixed part of the liquid.

    Attributes:
        water_kg: [kg].
        solids_kg: [kg].
        enthalpy_j: Above 0 degC [J].
    """

    water_kg: float = 0.0
    solids_kg: float = 0.0
    enthalpy_j: float = 0.0

    @property
    def mass_kg(self) -> float:
        """Water and solids [kg]."""
        return self.water_kg + self.solids_kg

    @property
    def values(self) -> tuple[float, float, float]:
        """Water [kg], solids [kg], enthalpy [J]."""
        return self.water_kg, self.solids_kg, self.enthalpy_j

    def add(self, water_kg: float, solids_kg: float, enthalpy_j: float) -> None:
        """Add masses [kg] with their enthalpy [J]."""
        self.water_kg += water_kg
        self.solids_kg += solids_kg
        self.enthalpy_j += enthalpy_j

    def move(self, other: Zone, share_fraction: float) -> None:
        """Move a share of this zone into another one [-]."""
        part = [value * share_fraction for value in self.values]
        self.add(-part[0], -part[1], -part[2])
        other.add(part[0], part[1], part[2])

    def split(
        self, taken: Zone, water_fraction: float, solids_fraction: float, heats: Heats
    ) -> None:
        """Move shares of water and solids into `taken`, at this zone's temperature.

        Args:
            taken: What receives them.
            water_fraction: Share of the water [-].
            solids_fraction: Share of the solids [-].
            heats: Heat capacities.
        """
        if self.mass_kg <= 0.0:
            return
        temperature_degc = heats.temperature(*self.values)
        water_kg = self.water_kg * water_fraction
        solids_kg = self.solids_kg * solids_fraction
        enthalpy_j = water_kg * heats.water.enthalpy(temperature_degc)
        enthalpy_j += solids_kg * heats.solids.enthalpy(temperature_degc)
        if water_fraction >= 1.0 and solids_fraction >= 1.0:
            enthalpy_j = self.enthalpy_j
        self.add(-water_kg, -solids_kg, -enthalpy_j)
        taken.add(water_kg, solids_kg, enthalpy_j)

    def excess_j(self, temperature_degc: float, heats: Heats) -> float:
        """Return the enthalpy that is above that of a temperature, below 0 if colder [J]."""
        full_j = self.water_kg * heats.water.enthalpy(temperature_degc)
        full_j += self.solids_kg * heats.solids.enthalpy(temperature_degc)
        return self.enthalpy_j - full_j


@dataclass(frozen=True, slots=True)
class Drawn:
    """What was taken out of the pot.

    Attributes:
        water_kg: [kg].
        solids_kg: [kg].
        temperature_degc: Its mean temperature [degC].
    """

    water_kg: float
    solids_kg: float
    temperature_degc: float

    @property
    def mass_kg(self) -> float:
        """Water and solids [kg]."""
        return self.water_kg + self.solids_kg


@dataclass(slots=True)
class Ledger:
    """What crossed the border of the pot since the beginning.

    Attributes:
        heat_j: From the hob [J].
        lost_j: To the room, dry [J].
        vapour_kg: Water evaporated and boiled off [kg].
        vapour_j: Enthalpy that left with it [J].
        poured_kg: Liquid poured in [kg].
        poured_j: Enthalpy that came with it [J].
        drawn_kg: Liquid taken out [kg].
        drawn_j: Enthalpy that left with it [J].
        boiled_kg: Of the vapour, what boiled off at the boiling point [kg].
    """

    heat_j: float = 0.0
    lost_j: float = 0.0
    vapour_kg: float = 0.0
    vapour_j: float = 0.0
    poured_kg: float = 0.0
    poured_j: float = 0.0
    drawn_kg: float = 0.0
    drawn_j: float = 0.0
    boiled_kg: float = 0.0


@dataclass(frozen=True, slots=True)
class Mixing:
    """How fast the zones mix.

    Attributes:
        stirred_s: Exchange time of bottom and bulk while stirred [s].
        rising_s: The same unstirred, bottom hotter than bulk (natural convection) [s].
        layered_s: The same unstirred, bottom colder than bulk [s].
        fresh_stirred_s: Time for poured liquid to mix in while stirred [s].
        fresh_still_s: The same unstirred [s].
        gel_fraction: What is left of the exchange once the milk has set [-].
    """

    stirred_s: float = 3.0
    rising_s: float = 20.0
    layered_s: float = 120.0
    fresh_stirred_s: float = 4.0
    fresh_still_s: float = 25.0
    gel_fraction: float = 0.1


@dataclass(slots=True)
class Controls:
    """What the maker does.

    Attributes:
        power_fraction: Setting of the hob, 0 is off [-].
        covered: The lid is on.
        stirring_fraction: 0 still, 1 stirred well [-].
        set: The milk has become curd.
        on_hob: The pot stands on the hob.
    """

    power_fraction: float = 0.0
    covered: bool = False
    stirring_fraction: float = 0.0
    set: bool = False
    on_hob: bool = True
