# SPDX-License-Identifier: MIT
"""The temperature at the addition against simulated pots, and its uncertainty by Monte Carlo.

The pots are played by the simulated kitchen: wall, hot bottom layer, slurry that mixes in, lag,
noise, display. Its physics shares nothing with the calculation; its truth is computed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from api.process.addition import Addition, AdditionMark, temperature_at_addition
from api.process.addition_mixture import AdditionInputs, expected_mixture
from api.process.composition import SOYMILK
from api.process.curves import Curve
from api.process.quantities import NotShown, Quantity
from api.process.thermal import enthalpy_difference, specific_heat
from collector.instruments.simulated.instruments import ProbeModel
from collector.instruments.simulated.outfit import Outfit, Sampling
from collector.instruments.simulated.scenario import (
    Forming,
    Heating,
    Played,
    Pour,
    Preparation,
    Scenario,
    Standing,
    Stirring,
    Target,
    play,
)
from collector.instruments.simulated.vessel import Hob

BRIEF = Forming(ladle_s=20.0, press_s=30.0, settle_s=5.0)


def _scenario(seed: int, *, pour: bool) -> Scenario:
    """A pot heated by some degrees, left to cool or poured into while it rises."""
    rng = np.random.default_rng(seed)
    dry_kg = rng.uniform(0.4, 2.0)
    milk_kg = 7.2 * dry_kg
    rising = bool(rng.random() < 0.4)
    target_degc = rng.uniform(74.0, 85.0)
    dose = np.exp(rng.uniform(np.log(0.02), np.log(0.14)))
    slurry = Pour(
        0.004 * milk_kg,
        dose * milk_kg,
        rng.uniform(12.0, 28.0),
        duration_s=rng.uniform(5.0, 25.0),
        stirred_s=rng.uniform(5.0, 25.0),
    )
    lag_s = np.exp(rng.uniform(np.log(2.0), np.log(20.0)))
    return Scenario(
        preparation=Preparation(dry_kg=dry_kg),
        hob=Hob(milk_kg * rng.uniform(80.0, 180.0)),
        heating=Heating(
            to_degc=target_degc if rising else target_degc + rng.uniform(2.0, 4.0),
            hold_s=0.0,
            milk_degc=target_degc - rng.uniform(6.0, 9.0),
            stirring=Stirring(0.7, 60.0, 0.6),
        ),
        target=Target(target_degc, "rising" if rising else "falling"),
        pours=(slurry,) if pour else (),
        standing=Standing(cover_after_s=rng.uniform(10.0, 60.0), hold_s=240.0, set_degc=60.0),
        forming=BRIEF,
        chilling=None,
        outfit=Outfit(
            milk=ProbeModel(
                time_constant_s=lag_s,
                noise_k=float(rng.choice([0.01, 0.03, 0.08])),
                drift_k=0.03,
                resolution_k=float(rng.choice([0.01, 0.0625, 0.1, 0.25])),
            ),
            milk_sampling=Sampling(float(rng.choice([0.5, 1.0, 2.0])), loss_fraction=0.01),
            dip_s=lag_s * (1.0 + 0.06 * rng.standard_normal()),
            dip_u_s=0.06 * lag_s,
            addition_mark_s=float(np.clip(rng.normal(0.0, 30.0), -60.0, 60.0)),
        ),
    )


def _curve(played: Played) -> Curve:
    outfit = played.scenario.outfit
    time_s, value = played.at("milk").usable()
    return Curve(
        time_s,
        value,
        resolution=outfit.milk.resolution_k,
        time_constant_s=outfit.dip_s,
        u_time_constant_s=outfit.dip_u_s,
        name="milk",
    )


@dataclass(frozen=True)
class Measured:
    """A played pot with the addition as measured from its readings."""

    played: Played
    addition: Addition
    naive_k: float


@pytest.fixture(scope="module")
def pots() -> list[Measured]:
    """Ten pots, played and measured once."""
    measured = []
    for seed in range(10):
        played = play(_scenario(seed, pour=True), seed)
        curve, mark_s = _curve(played), played.marks_s["addition"]
        weighed = {
            stream: Quantity(one.mass_kg, "kg", one.u_kg, "weighed")
            for stream, one in played.weighings.items()
        }
        pour = played.truth.pours[0]
        inputs = AdditionInputs(
            weighed["milk"],
            weighed["coagulant"],
            weighed["coagulant_water"],
            Quantity(pour.slurry_degc, "degC", 0.5, "by hand"),
        )
        addition = temperature_at_addition(curve, AdditionMark(mark_s), inputs)
        hand = float(np.interp(mark_s, curve.time_s, curve.value))
        measured.append(Measured(played, addition, hand - pour.before_degc))
    return measured


def _errors(pots: list[Measured], side: str) -> tuple[np.ndarray, np.ndarray]:
    errors, us = [], []
    for pot in pots:
        result = getattr(pot.addition, side)
        truth = getattr(pot.played.truth.pours[0], f"{side}_degc")
        assert isinstance(result, Quantity)
        errors.append(result.value - truth)
        us.append(result.u)
    return np.array(errors), np.array(us)


def test_the_dip_places_every_pour(pots: list[Measured]) -> None:
    assert all(pot.addition.placed_by == "dip" for pot in pots)
    for pot in pots:
        start = pot.addition.pour_start
        assert isinstance(start, Quantity)
        assert start.value == pytest.approx(pot.played.truth.pours[0].start_s, abs=8.0)


def test_before_is_within_what_the_trade_needs(pots: list[Measured]) -> None:
    errors, us = _errors(pots, "before")

    assert np.median(np.abs(errors)) < 0.15
    assert np.max(np.abs(errors)) < 0.6
    assert np.mean(np.abs(errors) < 2 * us) > 0.9


def test_after_is_within_what_the_trade_needs(pots: list[Measured]) -> None:
    errors, us = _errors(pots, "after")

    assert np.median(np.abs(errors)) < 0.15
    assert np.max(np.abs(errors)) < 0.6
    assert np.mean(np.abs(errors) < 2 * us) > 0.9


def test_it_beats_a_hand_reading_at_the_mark(pots: list[Measured]) -> None:
    errors, _ = _errors(pots, "before")
    naive = np.array([pot.naive_k for pot in pots])

    assert np.sqrt(np.mean(errors**2)) < 0.25 * np.sqrt(np.mean(naive**2))


def test_the_loss_is_covered_by_its_uncertainty(pots: list[Measured]) -> None:
    """The truth: the balance of milk and slurry at their true temperatures, less what was."""
    covered = []
    for pot in pots:
        pour, loss = pot.played.truth.pours[0], pot.addition.loss
        assert isinstance(loss, Quantity)
        hot = pour.pot_kg * specific_heat(SOYMILK, 80.0)
        cold = (pour.water_kg + 0.26 * pour.coagulant_kg) * 4180.0
        balance = (hot * pour.before_degc + cold * pour.slurry_degc) / (hot + cold)
        covered.append(abs(loss.value - (balance - pour.after_degc)) < 2 * loss.u)

    assert np.mean(covered) > 0.9


@pytest.mark.parametrize("seed", [100, 101, 102, 103])
def test_stirring_and_hob_without_a_pour_are_not_taken_for_one(seed: int) -> None:
    played = play(_scenario(seed, pour=False), seed)
    curve = _curve(played)
    mark_s = played.truth.events_s["heat_off"]

    addition = temperature_at_addition(curve, AdditionMark(mark_s))

    assert addition.placed_by == "mark"


def _shown(rng: np.random.Generator, drop_k: float) -> tuple[Curve, float]:
    """Ten minutes of a stirred pot: hob switched, lid moved, wobble, lag, noise, display."""
    time_s = np.arange(0.0, 600.0, 1.0)
    slopes = rng.normal(-0.3, 0.7, 3) / 60.0
    edges = np.sort(rng.uniform(200.0, 400.0, 2))
    degc = 82.0 + np.cumsum(slopes[np.searchsorted(edges, time_s)])
    degc -= drop_k * np.clip((time_s - 300.0) / rng.uniform(5.0, 20.0), 0.0, 1.0)
    wobble_k, keep = rng.choice([0.0, 0.05, 0.12]), np.exp(-1.0 / rng.uniform(2.0, 10.0))
    lag_s = np.exp(rng.uniform(np.log(2.0), np.log(25.0)))
    drift, shown, readings = 0.0, degc[0] - slopes[0] * lag_s, np.empty(time_s.size)
    for at in range(time_s.size):
        drift = drift * keep + wobble_k * np.sqrt(1.0 - keep**2) * rng.standard_normal()
        shown += (degc[at] + drift - shown) * -np.expm1(-1.0 / lag_s)
        readings[at] = shown + 0.03 * rng.standard_normal()
    step = float(rng.choice([0.01, 0.0625, 0.1]))
    known = bool(rng.random() < 0.6)
    curve = Curve(
        time_s,
        np.round(readings / step) * step,
        resolution=step,
        time_constant_s=lag_s if known else None,
        u_time_constant_s=0.08 * lag_s,
    )
    return curve, float(rng.uniform(260.0, 340.0))


@pytest.mark.parametrize(("drop_k", "least", "most"), [(0.0, 0.0, 0.08), (1.5, 0.85, 1.0)])
def test_how_often_a_dip_is_seen_with_and_without_a_pour(
    drop_k: float, least: float, most: float
) -> None:
    """False alarms and misses over 60 pots; Monte Carlo, seed fixed."""
    rng = np.random.default_rng(31)
    seen = []
    for _ in range(60):
        curve, mark_s = _shown(rng, drop_k)
        seen.append(temperature_at_addition(curve, AdditionMark(mark_s)).placed_by == "dip")

    assert least <= np.mean(seen) <= most


def test_uncertainty_of_the_prediction_holds_in_a_monte_carlo() -> None:
    """JCGM 101 style: 4 000 draws of what was weighed and measured, mixture solved for each."""
    rng = np.random.default_rng(5)
    before = Quantity(82.0, "degC", 0.25, "fit")
    inputs = AdditionInputs(
        milk=Quantity(3.0, "kg", 0.03, "weighed"),
        coagulant=Quantity(0.0, "kg", 0.0, "none"),
        coagulant_water=Quantity(0.25, "kg", 0.005, "weighed"),
        slurry_temperature=Quantity(20.0, "degC", 2.0, "by hand"),
        milk_composition=SOYMILK,
        pot_mass=Quantity(0.8, "kg", 0.05, "weighed"),
    )
    expected = expected_mixture(before, inputs)
    assert not isinstance(expected, NotShown)
    n = 4000
    milk_kg, water_kg = 3.0 + 0.03 * rng.normal(size=n), 0.25 + 0.005 * rng.normal(size=n)
    pot_kg, steel = 0.8 + 0.05 * rng.normal(size=n), 500.0 + 20.0 * rng.normal(size=n)
    milk_degc, slurry_degc = 82.0 + 0.25 * rng.normal(size=n), 20.0 + 2.0 * rng.normal(size=n)
    # Mean heat capacity of the milk over the way it cools.
    heat = enthalpy_difference(SOYMILK, 77.0, 82.0) / 5.0 * (1.0 + 0.0025 * rng.normal(size=n))
    hot, cold = milk_kg * heat + pot_kg * steel, water_kg * 4184.0
    drawn = (hot * milk_degc + cold * slurry_degc) / (hot + cold)

    assert expected.mixture.value == pytest.approx(float(np.mean(drawn)), abs=0.03)
    assert expected.mixture.u == pytest.approx(float(np.std(drawn)), rel=0.05)
