# SPDX-License-Identifier: MIT
"""The simulated pot against closed forms, and its balances of mass and energy."""

from __future__ import annotations

import math

import numpy as np
import pytest

from collector.errors import ProcessError
from collector.instruments.simulated.flows import Setup
from collector.instruments.simulated.physics import PotOnHob
from collector.instruments.simulated.properties import HeatCapacity, Heats
from collector.instruments.simulated.vessel import Hob, Kitchen, Pot, pot_for

# Milk of 10 % solids then has exactly 3920 J/(kg K), and water 4180 J/(kg K).
CONSTANT = Heats(HeatCapacity(4180.0), HeatCapacity(1580.0))
# No boiling below 120 degC, so that heating to 100 degC has a closed form.
PRESSURE_COOKED = Kitchen(room_degc=20.0, pressure_pa=250_000.0)


def one_lump(*, loss: bool) -> Pot:
    """A pot without wall, layers and evaporation."""
    return Pot(
        diameter_m=0.2,
        height_m=0.15,
        wall_kg=0.0,
        wall_loss_w_m2_k=11.0 if loss else 0.0,
        surface_loss_w_m2_k=10.0 if loss else 0.0,
        vapour_kg_m2_s=0.0,
        bottom_fraction=0.0,
        boiling_elevation_k=0.0,
    )


def filled(pot: Pot, hob: Hob, heats: Heats, kitchen: Kitchen, *, degc: float) -> PotOnHob:
    on_hob = PotOnHob(Setup(pot, hob, kitchen, heats))
    on_hob.pour(2.7, 0.3, degc)
    return on_hob


def balance_j(pot: PotOnHob, at_first_j: float) -> float:
    ledger = pot.ledger
    into_j = ledger.heat_j + ledger.poured_j
    return pot.enthalpy_j - at_first_j - (into_j - ledger.lost_j - ledger.vapour_j - ledger.drawn_j)


def busy_pot() -> tuple[PotOnHob, float, float]:
    """A pot that is heated, boiled, covered, poured into, and partly ladled.

    Returns:
        The pot, its enthalpy at first [J] and the mass poured in before that [kg].
    """
    setup = Setup(pot_for(3.0), Hob(2500.0, 0.8, 90.0), Kitchen(24.0, 90_000.0))
    pot = PotOnHob(setup)
    pot.wall_degc = 15.0
    at_first_j = pot.enthalpy_j
    pot.pour(2.7, 0.3, 12.0)
    pot.controls.power_fraction = 1.0
    for second in range(1500):
        pot.controls.stirring_fraction = 0.8 if second % 60 < 20 else 0.0
        pot.controls.covered = second < 300
        pot.step(1.0)
    assert pot.boiling
    pot.controls.power_fraction = 0.0
    pot.step(600.0)
    for _ in range(80):
        pot.pour(0.003, 0.0001, 8.0)
        pot.step(0.25)
    pot.controls.set = pot.controls.covered = True
    pot.step(600.0)
    pot.draw(0.9, 0.15)
    pot.step(30.0)
    return pot, at_first_j, 3.0 + 80 * 0.0031


def test_no_energy_is_lost_or_made_in_a_busy_pot() -> None:
    pot, at_first_j, _ = busy_pot()

    assert pot.ledger.heat_j > 1e6
    assert balance_j(pot, at_first_j) == pytest.approx(0.0, abs=1e-9 * pot.ledger.heat_j)


def test_no_mass_is_lost_or_made_in_a_busy_pot() -> None:
    pot, _, poured_kg = busy_pot()

    out_kg = pot.ledger.vapour_kg + pot.ledger.drawn_kg
    assert pot.ledger.vapour_kg > 0.1
    assert pot.ledger.poured_kg == pytest.approx(poured_kg, rel=1e-12)
    assert pot.mass_kg + out_kg == pytest.approx(poured_kg, rel=1e-12)


def test_cooling_follows_the_exponential() -> None:
    pot = filled(one_lump(loss=True), Hob(0.0), CONSTANT, Kitchen(20.0), degc=85.0)
    geometry = pot.setup.pot
    loss_w_k = 11.0 * geometry.outer_area_m2 + 10.0 * geometry.area_m2
    per_s = loss_w_k / (3.0 * 3920.0)

    for minutes in (1, 10, 60):
        pot.step(60.0 * minutes - pot.time_s)

        assert pot.mean_degc == pytest.approx(20.0 + 65.0 * math.exp(-per_s * pot.time_s), abs=1e-6)


def test_heating_with_loss_follows_the_exponential_and_keeps_its_energy() -> None:
    pot = filled(one_lump(loss=True), Hob(2000.0, 0.75), CONSTANT, PRESSURE_COOKED, degc=20.0)
    geometry = pot.setup.pot
    loss_w_k = 11.0 * geometry.outer_area_m2 + 10.0 * geometry.area_m2
    per_s = loss_w_k / (3.0 * 3920.0)
    pot.plate_w = 2000.0
    pot.controls.power_fraction = 1.0
    at_first_j = pot.enthalpy_j - pot.ledger.poured_j

    pot.step(500.0)

    rise_k = 1500.0 / loss_w_k * (1.0 - math.exp(-per_s * 500.0))
    assert pot.mean_degc == pytest.approx(20.0 + rise_k, abs=1e-6)
    assert balance_j(pot, at_first_j) == pytest.approx(0.0, abs=1e-3)


def test_three_kilograms_from_20_to_100_degc_take_ten_minutes_and_a_half_at_1500_w() -> None:
    pot = filled(one_lump(loss=False), Hob(1500.0, 1.0, 0.0), CONSTANT, PRESSURE_COOKED, degc=20.0)
    pot.controls.power_fraction = 1.0

    while pot.mean_degc < 100.0:
        pot.step(0.25)

    # 3 kg * 3920 J/(kg K) * 80 K / 1500 W = 627.2 s (exact)
    assert pot.time_s == pytest.approx(627.2, abs=0.25)
    assert pot.time_s / 60.0 == pytest.approx(10.45, abs=0.01)


def test_a_slow_plate_gives_all_its_heat_in_the_end() -> None:
    pot = filled(one_lump(loss=False), Hob(2000.0, 0.6, 120.0), CONSTANT, PRESSURE_COOKED, degc=20)
    pot.controls.power_fraction = 1.0
    pot.step(200.0)
    delivered_j = pot.ledger.heat_j
    pot.controls.power_fraction = 0.0
    pot.step(3000.0)

    # 2000 W * 0.6 * (200 s - 120 s * (1 - exp(-200/120))) while on (exact)
    assert delivered_j == pytest.approx(1200.0 * (200.0 - 120.0 * (1 - math.exp(-200 / 120))), 1e-6)
    assert pot.ledger.heat_j == pytest.approx(1200.0 * 200.0, rel=1e-6)


def test_cold_slurry_and_hot_milk_mix_adiabatically() -> None:
    pot = PotOnHob(Setup(one_lump(loss=False), Hob(0.0), Kitchen(20.0), CONSTANT))
    pot.pour(1.8, 0.2, 85.0)
    for _ in range(40):
        pot.pour(0.25 / 40, 0.0, 20.0)
        pot.step(0.25)
    poured_degc = pot.mean_degc
    bulk_degc = pot.zone_degc(pot.bulk)
    pot.step(600.0)

    # (2.00 * 3920 * 85 + 0.25 * 4180 * 20) / (2.00 * 3920 + 0.25 * 4180) = 77.36 (exact)
    assert poured_degc == pytest.approx(77.36, abs=0.005)
    assert bulk_degc > poured_degc + 0.5
    assert pot.zone_degc(pot.bulk) == pytest.approx(77.36, abs=0.005)


def test_stirring_mixes_the_pour_in_faster() -> None:
    left = {}
    for stirring in (0.0, 1.0):
        pot = PotOnHob(Setup(one_lump(loss=False), Hob(0.0), Kitchen(20.0), CONSTANT))
        pot.pour(1.8, 0.2, 85.0)
        pot.controls.stirring_fraction = stirring
        pot.pour(0.25, 0.0, 20.0)
        pot.step(12.0)
        left[stirring] = pot.fresh.mass_kg / 0.25

    # exp(-12 s / 25 s) and exp(-12 s / 4 s) (exact)
    assert left[0.0] == pytest.approx(math.exp(-12 / 25), rel=1e-4)
    assert left[1.0] == pytest.approx(math.exp(-12 / 4), rel=4e-3)


def test_the_bottom_runs_ahead_of_the_bulk_until_it_is_stirred() -> None:
    pot = PotOnHob(Setup(pot_for(3.0), Hob(2000.0), Kitchen(20.0)))
    pot.pour(2.7, 0.3, 20.0)
    pot.controls.power_fraction = 1.0
    pot.step(240.0)
    still_k = pot.zone_degc(pot.bottom) - pot.zone_degc(pot.bulk)
    pot.controls.stirring_fraction = 1.0
    pot.step(30.0)
    stirred_k = pot.zone_degc(pot.bottom) - pot.zone_degc(pot.bulk)

    assert still_k > 3.0
    assert 0.0 < stirred_k < still_k / 3.0


def test_evaporation_rises_steeply_with_temperature_and_the_lid_holds_it_back() -> None:
    def vapour_g(degc: float, *, covered: bool) -> float:
        pot = PotOnHob(Setup(pot_for(3.0), Hob(0.0), Kitchen(20.0)))
        pot.pour(2.7, 0.3, degc)
        pot.wall_degc = degc
        pot.controls.covered = covered
        pot.step(10.0)
        return 1000.0 * pot.ledger.vapour_kg

    grams = [vapour_g(degc, covered=False) for degc in (20.0, 50.0, 70.0, 90.0)]

    assert np.all(np.diff(grams) > 0)
    assert grams[3] / grams[1] > 5.0
    assert vapour_g(90.0, covered=True) < 0.06 * grams[3]


def test_boil_off_takes_the_net_power() -> None:
    pot = filled(one_lump(loss=False), Hob(1000.0, 1.0, 0.0), Heats(), Kitchen(20.0), degc=99.0)
    pot.controls.power_fraction = 1.0
    while not pot.boiling:
        pot.step(0.25)
    before_kg = pot.mass_kg
    pot.step(600.0)

    # 1 kW for 10 min over 2256.5 kJ/kg = 0.266 kg (steam tables at 100 degC, from memory)
    assert before_kg - pot.mass_kg == pytest.approx(0.266, abs=0.001)


def test_no_more_can_be_drawn_than_there_is() -> None:
    pot = filled(one_lump(loss=False), Hob(0.0), Heats(), Kitchen(), degc=20.0)

    with pytest.raises(ProcessError, match=r"5 kg of water .* 2\.7 kg"):
        pot.draw(5.0, 0.0)
    with pytest.raises(ProcessError, match="still in the pot"):
        pot.empty()
    with pytest.raises(ProcessError, match="can't be poured"):
        pot.pour(-1.0, 0.0, 20.0)


def test_an_empty_pot_cools_to_the_room() -> None:
    pot = PotOnHob(Setup(pot_for(3.0), Hob(1000.0), Kitchen(22.0)))
    pot.pour(2.7, 0.3, 80.0)
    pot.wall_degc = 80.0
    drawn = pot.draw(2.7, 0.3)
    pot.empty()
    pot.step(4 * 3600.0)

    assert drawn.temperature_degc == pytest.approx(80.0, abs=1e-9)
    assert pot.mass_kg == 0.0
    assert pot.mean_degc == pytest.approx(22.0, abs=0.1)
