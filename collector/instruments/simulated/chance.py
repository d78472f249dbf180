# SPDX-License-Identifier: MIT
"""Random batches, as unlike as real kitchens are; for trying out calculations on many of them.

Imports numpy. Must not import `api`, and shares nothing with `api.process`. The ranges are common
practice and wide on purpose; no share of them is made easy.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from collector.instruments.simulated.chance_outfit import (
    log_uniform,
    random_outfit,
    random_troubles,
)
from collector.instruments.simulated.fern_lane import INGREDIENTS, preparation_of
from collector.instruments.simulated.plan import (
    Chilling,
    Forming,
    Heating,
    Pour,
    Scenario,
    Standing,
    Stirring,
    Target,
)
from collector.instruments.simulated.properties import boiling_point_degc, standard_pressure_pa
from collector.instruments.simulated.streams import prepared
from collector.instruments.simulated.vessel import Hob, Kitchen, Mixing, Pot, pot_for

Rng = np.random.Generator
Way = Literal["boil", "hold", "rising", "self-set"]
# Open milk at its boiling point loses about so much [W/m2] (computed with this physics).
_BOILING_LOSS_W_M2 = 17_000.0


def random_scenario(rng: Rng) -> Scenario:
    """Return a batch at random.

    Args:
        rng: The same generator in the same state gives the same batch.

    Returns:
        A plan of 0.5 to 60 kg of milk at 0 to 2500 m, boiled or held hot or only heated, with one
        addition, two, one too small to be seen, or none; read 0.2 to 5 times a second in steps of
        0.01 to 0.5 K by a probe with lag, bias, noise and now and then a fault.
    """
    ingredient = INGREDIENTS[int(rng.choice(len(INGREDIENTS), p=[0.6, 0.25, 0.15]))]
    milk_kg = log_uniform(rng, 0.5, 60.0)
    probe_run = prepared(preparation_of(ingredient, 1.0))
    preparation = preparation_of(ingredient, milk_kg / probe_run.mass_kg["milk"])
    kitchen = _kitchen(rng)
    pot = _pot(rng, milk_kg)
    way: Way = rng.choice(["boil", "hold", "rising", "self-set"], p=[0.45, 0.2, 0.25, 0.1])
    hob = _hob(rng, milk_kg, pot)
    boiling_degc = boiling_point_degc(kitchen.pressure_pa)
    target = _target(rng, way, boiling_degc)
    pours = () if way == "self-set" else _pours(rng, milk_kg)
    return Scenario(
        name=f"pot-{int(rng.integers(1000)):03d}",
        preparation=preparation,
        pot=pot,
        hob=hob,
        kitchen=kitchen,
        mixing=_mixing(rng),
        heating=_heating(rng, way, (target, boiling_degc), (hob, pot)),
        target=target,
        pours=pours,
        standing=_standing(rng),
        forming=_forming(rng),
        chilling=_chilling(rng, milk_kg) if rng.random() < 0.5 else None,
        outfit=random_outfit(rng, milk_kg),
        troubles=random_troubles(rng, self_set=not pours),
    )


def _kitchen(rng: Rng) -> Kitchen:
    weather = 1.0 + 0.012 * rng.uniform(-1.0, 1.0)
    return Kitchen(
        room_degc=rng.uniform(12.0, 32.0),
        pressure_pa=standard_pressure_pa(rng.uniform(0.0, 2500.0)) * weather,
        vapour_pa=rng.uniform(700.0, 2000.0),
    )


def _pot(rng: Rng, milk_kg: float) -> Pot:
    usual = pot_for(milk_kg, fill_fraction=rng.uniform(0.45, 0.85))
    aluminium = rng.random() < 0.2
    return Pot(
        diameter_m=usual.diameter_m * rng.uniform(0.9, 1.15),
        height_m=usual.height_m,
        wall_kg=usual.wall_kg * rng.uniform(0.7, 2.0),
        wall_heat_j_kg_k=900.0 if aluminium else 500.0,
        lid_kg=usual.lid_kg,
        wall_loss_w_m2_k=rng.uniform(5.0, 14.0),
        surface_loss_w_m2_k=rng.uniform(7.0, 13.0),
        lid_loss_w_m2_k=rng.uniform(3.0, 7.0),
        vapour_kg_m2_s=rng.uniform(0.002, 0.0045),
        lid_leak_fraction=rng.uniform(0.01, 0.1),
        bottom_fraction=rng.uniform(0.04, 0.15),
        boiling_elevation_k=rng.uniform(0.05, 0.25),
    )


def _hob(rng: Rng, milk_kg: float, pot: Pot) -> Hob:
    """Return a hob that brings this pot to the boil in reasonable time."""
    efficiency, inertia_s = [
        (rng.uniform(0.8, 0.9), 1.0),  # induction
        (rng.uniform(0.35, 0.55), rng.uniform(3.0, 10.0)),  # gas
        (rng.uniform(0.6, 0.75), rng.uniform(60.0, 180.0)),  # electric plate
    ][int(rng.choice(3, p=[0.4, 0.35, 0.25]))]
    rate_k_s = log_uniform(rng, 2.0, 8.0) / 60.0 * (milk_kg / 3.0) ** -0.2
    net_w = milk_kg * 3950.0 * rate_k_s + _boiling_loss_w(pot)
    return Hob(net_w / efficiency, efficiency, inertia_s)


def _boiling_loss_w(pot: Pot) -> float:
    return _BOILING_LOSS_W_M2 * pot.area_m2 * pot.vapour_kg_m2_s / 0.0032 + (
        pot.wall_loss_w_m2_k * pot.outer_area_m2 * 85.0
    )


def _target(rng: Rng, way: Way, boiling_degc: float) -> Target:
    approach: Literal["rising", "falling"] = "rising" if way == "rising" else "falling"
    highest = min(88.0, boiling_degc - (3.0 if way == "rising" else 7.0))
    return Target(
        value_degc=round(rng.uniform(66.0, highest), 1),
        approach=approach,
        maker_error_k=0.7 * float(rng.standard_normal()),
        reaction_s=rng.uniform(0.0, 30.0),
    )


def _heating(rng: Rng, way: Way, goals: tuple[Target, float], heat: tuple[Hob, Pot]) -> Heating:
    target, boiling_degc = goals
    hob, pot = heat
    to_degc, hold_s = None, rng.uniform(120.0, 900.0)
    if way == "hold":
        to_degc = rng.uniform(target.value_degc + 4.0, boiling_degc - 1.5)
    elif way == "rising":
        to_degc, hold_s = target.value_degc + target.maker_error_k, 0.0
    elif way == "self-set":
        to_degc = rng.uniform(88.0, boiling_degc - 1.5)
    period_s = 0.0 if rng.random() < 0.3 else rng.uniform(20.0, 120.0)
    simmer = _boiling_loss_w(pot) / (hob.power_w * hob.efficiency_fraction)
    return Heating(
        to_degc=to_degc,
        hold_s=hold_s,
        simmer_fraction=min(1.0, simmer * rng.uniform(0.9, 1.5)),
        stirring=Stirring(rng.uniform(0.2, 1.0), period_s, rng.uniform(0.2, 0.8)),
        milk_degc=rng.uniform(6.0, 30.0),
        lead_s=rng.uniform(30.0, 180.0),
        covered_fraction=rng.uniform(0.6, 0.95) if rng.random() < 0.4 else 0.0,
        taken_off=bool(rng.random() < (0.7 if hob.time_constant_s > 20.0 else 0.2)),
    )


def _pours(rng: Rng, milk_kg: float) -> tuple[Pour, ...]:
    unseen = rng.random() < 0.15
    water = log_uniform(rng, 0.0008, 0.004) if unseen else log_uniform(rng, 0.015, 0.13)
    longest_s = 25.0 + milk_kg
    first = Pour(
        coagulant_kg=milk_kg * log_uniform(rng, 0.0015, 0.005),
        water_kg=milk_kg * water,
        temperature_degc=rng.uniform(5.0, 45.0),
        duration_s=rng.uniform(5.0, longest_s),
        stirred_s=rng.uniform(2.0, 30.0),
    )
    if rng.random() >= 0.25:
        return (first,)
    share = rng.uniform(0.3, 0.8)
    second = Pour(
        coagulant_kg=first.coagulant_kg * share,
        water_kg=first.water_kg * share,
        temperature_degc=first.temperature_degc,
        duration_s=rng.uniform(5.0, longest_s),
        stirred_s=rng.uniform(2.0, 20.0),
        wait_s=rng.uniform(20.0, 300.0),
    )
    return first, second


def _mixing(rng: Rng) -> Mixing:
    return Mixing(
        stirred_s=rng.uniform(2.0, 6.0),
        rising_s=rng.uniform(10.0, 40.0),
        layered_s=rng.uniform(60.0, 240.0),
        fresh_stirred_s=rng.uniform(2.0, 8.0),
        fresh_still_s=rng.uniform(15.0, 40.0),
        gel_fraction=rng.uniform(0.05, 0.3),
    )


def _standing(rng: Rng) -> Standing:
    return Standing(
        cover_after_s=rng.uniform(5.0, 90.0),
        set_after_s=rng.uniform(10.0, 240.0),
        hold_s=rng.uniform(480.0, 1500.0),
        lid=bool(rng.random() < 0.85),
    )


def _forming(rng: Rng) -> Forming:
    return Forming(
        whey_first_fraction=rng.uniform(0.05, 0.35),
        scoops=int(rng.integers(4, 30)),
        ladle_s=rng.uniform(90.0, 480.0),
        recovery_fraction=rng.uniform(0.6, 0.88),
        curd_water_fraction=rng.uniform(0.86, 0.92),
        residue_fraction=log_uniform(rng, 0.0003, 0.004),
        settle_s=rng.uniform(5.0, 120.0),
        press_s=rng.uniform(600.0, 2700.0),
        run_off_fraction=rng.uniform(0.15, 0.4),
        fast_fraction=rng.uniform(0.3, 0.75),
        fast_s=rng.uniform(30.0, 120.0),
        slow_s=rng.uniform(400.0, 1500.0),
    )


def _chilling(rng: Rng, milk_kg: float) -> Chilling:
    bath = rng.random() < 0.8
    return Chilling(
        bath_s=rng.uniform(900.0, 5400.0) if bath else 0.0,
        bath_degc=rng.uniform(4.0, 20.0),
        bath_ratio=rng.uniform(2.0, 10.0),
        changes=int(rng.integers(0, 3)),
        fridge_degc=rng.uniform(1.0, 4.5),
        fridge_film_w_m2_k=rng.uniform(5.0, 15.0),
        wait_s=rng.uniform(10.0, 600.0),
        blocks=max(1, round(milk_kg / rng.uniform(1.0, 8.0))),
    )
