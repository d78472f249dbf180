# SPDX-License-Identifier: MIT
from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from api.process.curves import Curve
from api.process.heat_loss import HeatLoss, heat_loss
from api.process.heating import Heating, heating
from api.process.heating_inputs import HeatingInputs
from api.process.heating_stretch import Stretch, heating_stretch
from api.process.quantities import NotShown, Quantity
from collector.errors import ProcessError

MILK = HeatingInputs(Quantity(3.0, "kg", 0.01, "weighed", ("weighing of the milk",)))


def rising(k_per_min: float = 6.0, start_degc: float = 30.0, wait_s: float = 120.0) -> Curve:
    """Still, then rising to 97 degC and staying there."""
    time_s = np.arange(0.0, 1200.0)
    value = start_degc + k_per_min / 60.0 * np.clip(time_s - wait_s, 0.0, None)
    return Curve(time_s, np.minimum(value, 97.0), name="milk")


def why(result: object) -> str:
    assert isinstance(result, NotShown)
    return result.why


def test_the_stretch_leaves_out_the_wait_and_the_boil() -> None:
    found = heating_stretch(rising(), Quantity(97.2, "degC", 0.2, "altitude"))

    assert isinstance(found, Stretch)
    assert found.time_s[0] > 120.0
    assert found.value[-1] < 94.5
    assert found.value[0] < 40.0


def test_the_stretch_ends_where_the_hob_is_turned_down() -> None:
    time_s = np.arange(0.0, 1200.0)
    value = np.interp(time_s, [0.0, 400.0, 1200.0], [30.0, 70.0, 72.0])

    found = heating_stretch(Curve(time_s, value), None)

    assert isinstance(found, Stretch)
    assert 65.0 < found.value[-1] < 71.5


def test_a_curve_that_shows_no_heating_says_why() -> None:
    flat = Curve(np.arange(600.0), np.full(600, 80.0))
    cooling = Curve(np.arange(600.0), 80.0 - 0.01 * np.arange(600.0))
    whole = rising()
    gap = (whole.time_s < 300.0) | (whole.time_s > 420.0)

    assert "too few" in why(heating(whole.between(0.0, 8.0), MILK))
    assert "shorter than three minutes" in why(heating(whole.between(120.0, 240.0), MILK))
    assert "warmer" in why(heating(flat, MILK))
    assert "warmer" in why(heating(cooling, MILK))
    assert "less than 10 K" in why(heating(rising(k_per_min=0.3), MILK))
    gapped = replace(whole, time_s=whole.time_s[gap], value=whole.value[gap])
    assert "gap" in why(heating(gapped, MILK))


def test_what_was_assumed_stands_in_the_result() -> None:
    found = heating(rising(), MILK)

    assert isinstance(found, Heating)
    assert "room was taken as 21 degC" in found.why
    assert "wall of the pot was not weighed" in found.why
    assert isinstance(found.net_power, Quantity)
    assert "weighing of the milk" in found.net_power.sources


def test_losses_are_not_told_without_knowing_of_the_lid() -> None:
    found = heating(rising(), MILK)

    assert isinstance(found, Heating)
    assert "lid" in why(found.loss_coefficient)
    assert "lid" in why(found.evaporation_power)
    assert "lid" in why(found.time_constant)


def test_a_quick_heating_does_not_tell_the_loss_from_the_power() -> None:
    found = heating(rising(k_per_min=15.0), replace(MILK, covered=True))

    assert isinstance(found, Heating)
    assert "does not tell" in why(found.loss_coefficient)


def test_an_uncertain_mass_makes_an_uncertain_power() -> None:
    sure = heating(rising(), MILK)
    unsure = heating(rising(), replace(MILK, milk=Quantity(3.0, "kg", 0.3, "guess")))

    assert isinstance(sure, Heating)
    assert isinstance(unsure, Heating)
    assert isinstance(sure.net_power, Quantity)
    assert isinstance(unsure.net_power, Quantity)
    assert unsure.net_power.u == pytest.approx(0.1 * unsure.net_power.value, rel=0.05)
    assert sure.net_power.u < 0.03 * sure.net_power.value


def test_a_hob_that_is_switched_on_and_off_does_not_fit() -> None:
    time_s = np.arange(0.0, 1200.0)
    on = (time_s % 300.0) < 200.0
    value = 30.0 + np.cumsum(np.where(on, 0.1, 0.04))

    found = heating(Curve(time_s, value), MILK)

    assert isinstance(found, Heating)
    assert not found.fits
    assert "one setting" in found.why


def test_no_milk_has_no_power() -> None:
    with pytest.raises(ProcessError, match="above 0"):
        HeatingInputs(Quantity(0.0, "kg", 0.0, "weighed"))


def test_a_cooling_that_shows_nothing_says_so() -> None:
    time_s = np.arange(0.0, 300.0)
    still = Curve(time_s, np.full(300, 85.0))
    cold = Curve(time_s, 22.0 - 0.005 * time_s)

    assert "two minutes" in why(heat_loss(still.between(0.0, 60.0), MILK))
    assert "does not cool enough" in why(heat_loss(still, MILK))
    assert "no warmer than the room" in why(heat_loss(cold, MILK))


def test_the_loss_of_a_cooling_pot_knows_its_doubt() -> None:
    rng = np.random.default_rng(6)
    time_s = np.arange(0.0, 400.0)
    value = 88.0 - 0.012 * time_s + rng.normal(0.0, 0.05, 400)
    curve = Curve(time_s, np.round(value / 0.0625) * 0.0625, 0.1, 0.0625, name="milk")

    found = heat_loss(curve, MILK)

    assert isinstance(found, HeatLoss)
    assert found.rate.value == pytest.approx(0.72, abs=2 * found.rate.u)
    assert found.power.value == pytest.approx(0.012 * 3.0 * 3920.0, abs=2 * found.power.u)
    assert found.temperature.value == pytest.approx(85.6, abs=0.1)
