# SPDX-License-Identifier: MIT
"""A pot of milk on a hob, stepped through time by its own numerical integration.

Pure: standard library only. Must not import `api`, and shares nothing with `api.process`.

The liquid is held in three well-mixed zones, each with water, solids and enthalpy: the *bulk*, a
hot *bottom* layer that the hob heats first, and the *fresh* liquid that was poured and is not yet
mixed in. The wall of the pot is a node of its own, and so is a slow hob plate. What crosses the
border (vapour, loss to the room, heat from the hob) is integrated beside them in flux form by the
midpoint rule, so that mass and energy balance to rounding.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from collector.errors import ProcessError
from collector.instruments.simulated.flows import (
    EMPTY_KG,
    HEAT_J,
    LOST_J,
    PLATE,
    VAPOUR_J,
    VAPOUR_KG,
    WALL,
    Setup,
    rates,
)
from collector.instruments.simulated.properties import boiling_point_degc, latent_heat_j_kg
from collector.instruments.simulated.vessel import Controls, Drawn, Ledger, Zone

STEP_S = 0.25
EMPTY_STEP_S = 5.0


@dataclass(slots=True)
class PotOnHob:
    """A pot with milk on a hob: change `controls`, `pour`, `draw`; then `step`.

    Attributes:
        setup: Pot, hob, kitchen and what the liquid is like.
        controls: What the maker does now.
        bulk: Most of the milk.
        bottom: The hot layer.
        fresh: What was poured and isn't mixed in yet.
        wall_degc: Temperature of the wall [degC].
        plate_w: Power that the hob gives off now, before its efficiency [W].
        ledger: What crossed the border.
        time_s: Since the beginning [s].
        boiling: Milk boiled off in the last step.
        boiling_degc: The boiling point of the milk here [degC].
    """

    setup: Setup
    controls: Controls = field(default_factory=Controls)
    bulk: Zone = field(default_factory=Zone)
    bottom: Zone = field(default_factory=Zone)
    fresh: Zone = field(default_factory=Zone)
    wall_degc: float = 21.0
    plate_w: float = 0.0
    ledger: Ledger = field(default_factory=Ledger)
    time_s: float = 0.0
    boiling: bool = False
    boiling_degc: float = field(init=False)

    def __post_init__(self) -> None:
        boiling = boiling_point_degc(self.setup.kitchen.pressure_pa)
        self.boiling_degc = boiling + self.setup.pot.boiling_elevation_k
        self.wall_degc = self.setup.kitchen.room_degc

    @property
    def zones(self) -> tuple[Zone, Zone, Zone]:
        """Bulk, bottom and fresh."""
        return self.bulk, self.bottom, self.fresh

    @property
    def mass_kg(self) -> float:
        """Everything in the pot [kg]."""
        return self.bulk.mass_kg + self.bottom.mass_kg + self.fresh.mass_kg

    @property
    def enthalpy_j(self) -> float:
        """Of the liquid and the wall, above 0 degC [J]."""
        wall = self.setup.pot.wall_kg * self.setup.pot.wall_heat_j_kg_k * self.wall_degc
        return sum(zone.enthalpy_j for zone in self.zones) + wall

    def zone_degc(self, zone: Zone) -> float:
        """Return the temperature of one zone, of the wall if it is empty [degC]."""
        if zone.mass_kg <= EMPTY_KG:
            return self.wall_degc
        return self.setup.heats.temperature(zone.water_kg, zone.solids_kg, zone.enthalpy_j)

    @property
    def mean_degc(self) -> float:
        """What the liquid would have if it were mixed at once; the wall's if empty [degC]."""
        whole = Zone()
        for zone in self.zones:
            whole.add(zone.water_kg, zone.solids_kg, zone.enthalpy_j)
        return self.zone_degc(whole)

    def pour(self, water_kg: float, solids_kg: float, temperature_degc: float) -> None:
        """Pour liquid in; it mixes in over the next seconds, or at once into an empty pot.

        Args:
            water_kg: [kg].
            solids_kg: [kg].
            temperature_degc: [degC].

        Raises:
            ProcessError: A mass is below zero or nothing is poured.
        """
        mass_kg = water_kg + solids_kg
        if min(water_kg, solids_kg) < 0.0 or mass_kg <= 0.0:
            raise ProcessError(
                f"{water_kg:.6g} kg of water and {solids_kg:.6g} kg of solids can't be poured.",
                where="simulated pot",
                do="Pour more than 0 kg.",
            )
        enthalpy_j = mass_kg * self.setup.heats.specific_enthalpy(
            solids_kg / mass_kg, temperature_degc
        )
        empty = self.mass_kg <= EMPTY_KG
        (self.bulk if empty else self.fresh).add(water_kg, solids_kg, enthalpy_j)
        self.ledger.poured_kg += mass_kg
        self.ledger.poured_j += enthalpy_j
        if empty:
            self.bulk.move(self.bottom, self.setup.pot.bottom_fraction)

    def draw(self, water_kg: float, solids_kg: float) -> Drawn:
        """Take liquid or curd out, from all zones alike.

        Args:
            water_kg: At most what is there [kg].
            solids_kg: At most what is there [kg].

        Returns:
            What was taken, with its temperature.

        Raises:
            ProcessError: There isn't so much in the pot.
        """
        zones = self.zones
        water = sum(zone.water_kg for zone in zones)
        solids = sum(zone.solids_kg for zone in zones)
        slack = 1e-9
        if not (0.0 <= water_kg <= water + slack and 0.0 <= solids_kg <= solids + slack):
            raise ProcessError(
                f"{water_kg:.6g} kg of water and {solids_kg:.6g} kg of solids can't be drawn; "
                f"{water:.6g} kg and {solids:.6g} kg are in the pot.",
                where="simulated pot",
                do="Draw no more than there is.",
            )
        water_share = min(water_kg / water, 1.0) if water else 0.0
        solids_share = min(solids_kg / solids, 1.0) if solids else 0.0
        taken = Zone()
        for zone in zones:
            zone.split(taken, water_share, solids_share, self.setup.heats)
        temperature_degc = self.zone_degc(taken)
        self.ledger.drawn_kg += taken.mass_kg
        self.ledger.drawn_j += taken.enthalpy_j
        return Drawn(taken.water_kg, taken.solids_kg, temperature_degc)

    def empty(self) -> None:
        """Forget the traces that rounding left in an emptied pot.

        Raises:
            ProcessError: There is still something in it.
        """
        if self.mass_kg > 1e-6:
            raise ProcessError(
                f"{self.mass_kg:.6g} kg are still in the pot.",
                where="simulated pot",
                do="Draw all of it first.",
            )
        self.bulk, self.bottom, self.fresh = Zone(), Zone(), Zone()

    def step(self, duration_s: float = STEP_S) -> None:
        """Go on in time, in equal steps of at most `STEP_S`.

        Args:
            duration_s: Above 0 [s].
        """
        count = max(1, math.ceil(duration_s / STEP_S - 1e-9))
        if self.mass_kg <= EMPTY_KG:
            count = math.ceil(duration_s / EMPTY_STEP_S)  # only the wall cools
        for _ in range(count):
            self._midpoint(duration_s / count)
        self.time_s += duration_s

    def _midpoint(self, step_s: float) -> None:
        setup, controls, boiling = self.setup, self.controls, self.boiling
        here = [*self.bulk.values, *self.bottom.values, *self.fresh.values]
        here += [self.wall_degc, self.plate_w, 0.0, 0.0, 0.0, 0.0]
        half = step_s / 2.0
        slope = rates(here, setup, controls, boiling=boiling)
        middle = [y + half * rate for y, rate in zip(here, slope, strict=True)]
        slope = rates(middle, setup, controls, boiling=boiling)
        there = [y + step_s * rate for y, rate in zip(here, slope, strict=True)]
        for index, zone in enumerate(self.zones):
            zone.water_kg, zone.solids_kg, zone.enthalpy_j = there[3 * index : 3 * index + 3]
        self.wall_degc = there[WALL]
        self.plate_w = there[PLATE]
        if self.setup.hob.time_constant_s <= 0.0:
            self.plate_w = self.setup.hob.power_w * self.controls.power_fraction
        self.ledger.vapour_kg += there[VAPOUR_KG]
        self.ledger.vapour_j += there[VAPOUR_J]
        self.ledger.lost_j += there[LOST_J]
        self.ledger.heat_j += there[HEAT_J]
        self._boil()
        if self.setup.pot.wall_kg <= 0.0:
            self.wall_degc = self.zone_degc(self.bulk)

    def _boil(self) -> None:
        """Turn what is above the boiling point into vapour; bubbles of the bottom heat the bulk."""
        limit = self.boiling_degc
        self.boiling = False
        excess_j = self.bottom.excess_j(limit, self.setup.heats)
        if excess_j > 0.0:
            self.bottom.enthalpy_j -= excess_j
            self.bulk.enthalpy_j += excess_j
        excess_j = self.bulk.excess_j(limit, self.setup.heats)
        if excess_j <= 0.0 or self.bulk.mass_kg <= EMPTY_KG:
            return
        latent = latent_heat_j_kg(limit)
        vapour_kg = min(excess_j / latent, self.bulk.water_kg)
        vapour_j = vapour_kg * (self.setup.heats.water.enthalpy(limit) + latent)
        self.bulk.add(-vapour_kg, 0.0, -vapour_j)
        self.ledger.vapour_kg += vapour_kg
        self.ledger.vapour_j += vapour_j
        self.ledger.boiled_kg += vapour_kg
        self.boiling = True
