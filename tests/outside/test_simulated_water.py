# SPDX-License-Identifier: MIT
"""Water, steam and air of the simulated kitchen against IAPWS-IF97 (library `iapws`)."""

from __future__ import annotations

import pytest
from iapws import IAPWS97

from collector.errors import ProcessError
from collector.instruments.simulated.flows import Setup
from collector.instruments.simulated.physics import PotOnHob
from collector.instruments.simulated.properties import (
    WATER_HEAT,
    boiling_point_degc,
    latent_heat_j_kg,
    saturation_pressure_pa,
    standard_pressure_pa,
)
from collector.instruments.simulated.vessel import Hob, Kitchen, pot_for

# Standard atmosphere, ISO 2533 table (from memory; equal to the printed digits)
ATMOSPHERE_KPA = [(0, 101.325), (500, 95.461), (1000, 89.875), (1500, 84.556), (2500, 74.683)]


@pytest.mark.parametrize(("altitude_m", "kpa"), ATMOSPHERE_KPA)
def test_air_pressure_falls_with_altitude(altitude_m: float, kpa: float) -> None:
    assert standard_pressure_pa(altitude_m) / 1000.0 == pytest.approx(kpa, abs=0.001)


@pytest.mark.parametrize("pressure_kpa", [70.0, 75.0, 84.556, 95.0, 101.325, 110.0, 250.0])
def test_water_boils_where_if97_says(pressure_kpa: float) -> None:
    expected_degc = IAPWS97(P=pressure_kpa / 1000.0, x=0).T - 273.15

    assert boiling_point_degc(pressure_kpa * 1000.0) == pytest.approx(expected_degc, abs=0.01)


@pytest.mark.parametrize("degc", [1.0, 20.0, 50.0, 80.0, 99.0])
def test_saturation_pressure_is_that_of_if97(degc: float) -> None:
    expected_pa = IAPWS97(T=degc + 273.15, x=0).P * 1e6

    assert saturation_pressure_pa(degc) == pytest.approx(expected_pa, rel=5e-4)


@pytest.mark.parametrize("degc", [5.0, 20.0, 50.0, 80.0, 100.0])
def test_heat_of_water_and_of_evaporation_are_those_of_if97(degc: float) -> None:
    liquid, vapour = (IAPWS97(T=degc + 273.15, x=x) for x in (0, 1))

    assert latent_heat_j_kg(degc) == pytest.approx((vapour.h - liquid.h) * 1000.0, rel=5e-4)
    assert WATER_HEAT.at(degc) == pytest.approx(liquid.cp * 1000.0, rel=3e-3)
    assert WATER_HEAT.enthalpy(degc) == pytest.approx(liquid.h * 1000.0, rel=4e-3)


@pytest.mark.parametrize("altitude_m", [0.0, 1000.0, 2500.0])
def test_boiling_milk_stays_on_its_plateau_at_any_altitude(altitude_m: float) -> None:
    kitchen = Kitchen(pressure_pa=standard_pressure_pa(altitude_m))
    pot = PotOnHob(Setup(pot_for(2.0), Hob(3000.0), kitchen))
    pot.pour(1.8, 0.2, 70.0)
    pot.controls.power_fraction = 1.0
    seen = []
    while pot.time_s < 900.0:
        pot.step(1.0)
        seen.append(pot.mean_degc)

    water_degc = IAPWS97(P=kitchen.pressure_pa / 1e6, x=0).T - 273.15
    elevation_k = pot.setup.pot.boiling_elevation_k
    assert max(seen) == pytest.approx(water_degc + elevation_k, abs=0.01)
    assert seen[-1] == pytest.approx(max(seen), abs=1e-9)
    assert pot.ledger.boiled_kg > 0.2


def test_a_pressure_that_no_kitchen_has_is_refused() -> None:
    with pytest.raises(ProcessError, match=r"1013\.25 Pa"):
        boiling_point_degc(1013.25)
