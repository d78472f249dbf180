# SPDX-License-Identifier: MIT
"""Heating and cooling of a pot against closed forms and the energy ledger of a simulated pot."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest

from api.process.curves import Curve
from api.process.heat_loss import HeatLoss, heat_loss
from api.process.heating import Heating, heating
from api.process.heating_inputs import HeatingInputs
from api.process.quantities import NotShown, Quantity
from collector.instruments.simulated.instruments import ProbeModel
from collector.instruments.simulated.outfit import Outfit
from collector.instruments.simulated.scenario import (
    Forming,
    Played,
    Preparation,
    Scenario,
    Standing,
    Stirring,
    Target,
    play,
)
from collector.instruments.simulated.scenario import (
    Heating as Plan,
)
from collector.instruments.simulated.vessel import Hob


def kg(value: float, u: float = 0.0) -> Quantity:
    return Quantity(value, "kg", u, "weighed")


ROOM = Quantity(20.0, "degC", 0.2, "room")


def newton(power_w: float, loss_w_per_k: float, milk_kg: float, noise_k: float = 0.0) -> Curve:
    """T = Ta + P/UA (1 - exp(-t UA/C)): heating against a constant loss, exact."""
    rng = np.random.default_rng(8)
    time_s = np.arange(0.0, 1500.0, 1.0)
    capacity = milk_kg * 3920.0
    value = 20.0 + power_w / loss_w_per_k * -np.expm1(-loss_w_per_k / capacity * time_s)
    value = value + rng.normal(0.0, noise_k, time_s.size)
    curve = Curve(time_s, value, name="milk")
    return curve.between(0.0, float(time_s[np.argmax(value > 70.0)]))


@pytest.mark.parametrize(("power_w", "loss_w_per_k", "milk_kg"), [(1000.0, 3.0, 3.0), (3000, 8, 9)])
def test_a_pot_with_newtons_loss_gives_back_its_power_and_its_loss(
    power_w: float, loss_w_per_k: float, milk_kg: float
) -> None:
    inputs = HeatingInputs(kg(milk_kg), ROOM, pot_mass=kg(0.0), covered=True)
    found = heating(newton(power_w, loss_w_per_k, milk_kg, 0.03), inputs)

    assert isinstance(found, Heating)
    assert isinstance(found.pot_power, Quantity)
    assert found.pot_power.value == pytest.approx(power_w, rel=0.02)
    if isinstance(found.loss_coefficient, Quantity):
        assert abs(found.loss_coefficient.value - loss_w_per_k) < 2 * found.loss_coefficient.u
    assert found.fits


def test_the_heat_gained_is_mass_times_heat_capacity_times_rise() -> None:
    """3 kg at 3.92 kJ/(kg K) from 20 to 100 degC: 940.8 kJ, 10.45 min at 1.5 kW (arithmetic)."""
    time_s = np.arange(0.0, 628.0, 1.0)
    curve = Curve(time_s, 20.0 + 80.0 * time_s / (10.453 * 60.0))
    found = heating(curve, HeatingInputs(kg(3.0), ROOM, pot_mass=kg(0.0)))

    assert isinstance(found, Heating)
    assert isinstance(found.net_power, Quantity)
    assert found.net_power.value == pytest.approx(1500.0, rel=0.002)
    assert isinstance(found.net_power_per_kg, Quantity)
    assert found.net_power_per_kg.value == pytest.approx(500.0, rel=0.002)
    assert isinstance(found.rate, Quantity)
    assert found.rate.value == pytest.approx(80.0 / 10.453, rel=0.002)


def test_a_cooling_in_closed_form_gives_back_its_loss() -> None:
    """C k (T - Ta) at the middle of the stretch, for T = Ta + A exp(-k t) (exact)."""
    rng = np.random.default_rng(2)
    per_s = 8.0 / (3.0 * 3920.0)
    time_s = np.arange(0.0, 400.0, 1.0)
    curve = Curve(time_s, 20.0 + 68.0 * np.exp(-per_s * time_s) + rng.normal(0.0, 0.03, 400))
    found = heat_loss(curve, HeatingInputs(kg(3.0), ROOM, pot_mass=kg(0.0)))

    assert isinstance(found, HeatLoss)
    assert found.coefficient.value == pytest.approx(8.0, rel=0.03)
    assert found.power.value == pytest.approx(8.0 * 68.0 * np.exp(-per_s * 200.0), rel=0.03)


@dataclass(frozen=True)
class Pot:
    """A played pot, with its milk probe and what is known of it."""

    played: Played
    curve: Curve
    inputs: HeatingInputs

    def mean_w(self, ledger: str, from_s: float, to_s: float) -> float:
        """Mean power of one entry of the energy ledger [W]."""
        trace = self.played.truth.trace
        first, last = np.interp([from_s, to_s], trace.time_s, getattr(trace, ledger))
        return float((last - first) / (to_s - from_s))


@pytest.fixture(scope="module", params=[(0.5, 420.0), (1.5, 300.0)])
def pot(request: pytest.FixtureRequest) -> Pot:
    """An open pot of so much dry bean on a hob of so many watts for each kilogram of milk."""
    dry_kg, watts_per_kg = request.param
    scenario = Scenario(
        preparation=Preparation(dry_kg=dry_kg),
        hob=Hob(7.2 * dry_kg * watts_per_kg),
        heating=Plan(None, 0.0, stirring=Stirring(0.8), milk_degc=35.0, lead_s=30.0),
        target=Target(84.0, "falling"),
        standing=Standing(hold_s=120.0),
        forming=Forming(ladle_s=20.0, press_s=30.0, settle_s=5.0),
        chilling=None,
        outfit=Outfit(milk=ProbeModel(time_constant_s=6.0, noise_k=0.03)),
    )
    played = play(scenario, 4)
    time_s, value = played.at("milk").usable()
    vessel, weighed = scenario.vessel, played.weighings["milk"]
    inputs = HeatingInputs(
        milk=kg(weighed.mass_kg, weighed.u_kg),
        room=Quantity(scenario.kitchen.room_degc, "degC", 0.5, "room probe"),
        boiling=Quantity(played.truth.boiling_degc, "degC", 0.2, "altitude"),
        pot_mass=kg(vessel.wall_kg, 0.05 * vessel.wall_kg),
        covered=False,
    )
    return Pot(played, Curve(time_s, value, resolution=0.0625, name="milk"), inputs)


def test_the_power_of_a_simulated_pot_agrees_with_its_ledger(pot: Pot) -> None:
    events = pot.played.truth.events_s
    found = heating(pot.curve.between(events["heat"] - 20.0, events["heat_off"]), pot.inputs)

    assert isinstance(found, Heating)
    given_w = pot.mean_w("heat_j", found.from_s, found.to_s)
    assert isinstance(found.pot_power, Quantity)
    assert abs(found.pot_power.value - given_w) < 2 * found.pot_power.u
    assert found.pot_power.value == pytest.approx(given_w, rel=0.06)
    trace = pot.played.truth.trace
    start, end = np.interp([found.from_s, found.to_s], trace.time_s, trace.mean_degc)
    gained_w = pot.inputs.milk.value * 3920.0 * (end - start) / (found.to_s - found.from_s)
    assert isinstance(found.net_power, Quantity)
    assert found.net_power.value == pytest.approx(gained_w, rel=0.03)


def test_the_loss_of_a_simulated_pot_agrees_with_its_ledger(pot: Pot) -> None:
    events = pot.played.truth.events_s
    from_s, to_s = events["heat_off"] + 60.0, events["addition"] - 5.0
    trace = pot.played.truth.trace
    # Some of the milk has boiled off by then.
    left = kg(float(np.interp((from_s + to_s) / 2, trace.time_s, trace.in_pot_kg)))
    found = heat_loss(pot.curve.between(from_s, to_s), replace(pot.inputs, milk=left))

    assert isinstance(found, HeatLoss)
    vapour_kg = np.interp([from_s, to_s], trace.time_s, trace.vapour_kg)
    # Latent heat near 90 degC, 2.28 MJ/kg (steam tables, from memory).
    vapour_w = 2.28e6 * float(np.diff(vapour_kg)[0]) / (to_s - from_s)
    lost_w = pot.mean_w("lost_j", from_s, to_s) + vapour_w
    assert found.power.value == pytest.approx(lost_w, rel=0.08)
    assert abs(found.power.value - lost_w) < 2 * found.power.u


def test_more_milk_on_the_same_hob_takes_up_the_same_power_more_slowly() -> None:
    """Identity: the same power at twice the mass heats at half the rate."""
    one = heating(newton(1000.0, 1.0, 3.0), HeatingInputs(kg(3.0), ROOM, pot_mass=kg(0.0)))
    slow = newton(1000.0, 1.0, 3.0)
    slow = replace(slow, time_s=2.0 * slow.time_s)
    two = heating(slow, HeatingInputs(kg(6.0), ROOM, pot_mass=kg(0.0)))

    assert not isinstance(one, NotShown)
    assert not isinstance(two, NotShown)
    assert isinstance(one.net_power, Quantity)
    assert isinstance(two.net_power, Quantity)
    assert two.net_power.value == pytest.approx(one.net_power.value, rel=0.02)
