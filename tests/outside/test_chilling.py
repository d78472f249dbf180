# SPDX-License-Identifier: MIT
"""Chilling: the legs of the rule in closed form, textbook cooling, a simulated block."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from api.process.chill_rules import US_TWO_STAGE
from api.process.chilling import chilling
from api.process.cooling_forecast import Forecast, NewtonFit, fit_cooling, forecast
from api.process.curves import Curve
from api.process.newton_cooling import rate_constant, time_to_reach
from api.process.quantities import NotShown, Quantity, Verdict
from collector.instruments.simulated.scenario import (
    Chilling,
    Forming,
    Heating,
    Preparation,
    Scenario,
    Standing,
    Target,
    play,
)

HOUR_S = 3600.0


@pytest.mark.parametrize(
    ("ambient_degc", "first_leg", "second_leg"),
    [
        # FDA Food Code 3-501.14(A), seen: 57 to 21 degC in 2 h, to 5 degC in 6 h. With air at
        # exactly 3 degC both ask for ln 3 / 2 = ln 27 / 6 (exact); the others computed.
        (3.0, 0.54931, 0.54931),
        (0.0, 0.4993, 0.4056),
        (4.0, 0.5685, 0.6617),
    ],
)
def test_what_the_two_stages_ask_of_a_cooling(
    ambient_degc: float, first_leg: float, second_leg: float
) -> None:
    one, two = US_TWO_STAGE.limits
    start = US_TWO_STAGE.start_degc
    assert start is not None

    first = rate_constant(start, one.to_degc, ambient_degc, one.within_s)
    second = rate_constant(start, two.to_degc, ambient_degc, two.within_s)

    assert HOUR_S * first == pytest.approx(first_leg, abs=5e-5)
    assert HOUR_S * second == pytest.approx(second_leg, abs=5e-5)


def test_a_textbook_cup_of_coffee() -> None:
    """200 degF in a room of 70 degF is at 180 degF after 2 min; when at 175, when at 155?

    OpenStax Calculus volume 1, section 6.8 (from memory): 2.5 and 5 min to the half minute;
    2.56 and 5.09 computed.
    """
    per_min = 60.0 * rate_constant(200.0, 180.0, 70.0, 120.0)

    assert per_min == pytest.approx(0.083527, abs=1e-6)
    assert time_to_reach(200.0, 175.0, 70.0, per_min / 60.0) / 60.0 == pytest.approx(
        2.56, abs=0.005
    )
    assert time_to_reach(200.0, 155.0, 70.0, per_min / 60.0) / 60.0 == pytest.approx(
        5.09, abs=0.005
    )


def _cooling(rate_per_h: float, ambient_degc: float = 3.0) -> Curve:
    time_s = np.arange(0.0, 7.0 * HOUR_S, 30.0)
    value = ambient_degc + (75.0 - ambient_degc) * np.exp(-rate_per_h * time_s / HOUR_S)
    return Curve(time_s, value, 0.05, 0.01, time_constant_s=5.0, name="core")


def test_a_cooling_just_fast_enough_is_met_and_one_just_too_slow_is_not() -> None:
    """The border is ln 3 / 2 per hour at 3 degC (exact)."""
    border = math.log(3.0) / 2.0
    now_s = 7.0 * HOUR_S

    assert chilling(_cooling(1.03 * border), US_TWO_STAGE, now_s=now_s).verdict is Verdict.MET
    assert chilling(_cooling(0.97 * border), US_TWO_STAGE, now_s=now_s).verdict is Verdict.NOT_MET
    assert chilling(_cooling(border), US_TWO_STAGE, now_s=now_s).verdict is Verdict.NOT_SHOWN


def _slab(ambient_degc: float, first_per_h: float) -> Curve:
    """The core of a slab plunged into a cold bath: the exact series, its first 40 terms."""
    time_s = np.arange(0.0, 8.0 * HOUR_S, 10.0)
    n = np.arange(40)
    odd = 2 * n + 1
    decay = np.exp(-np.outer(first_per_h * time_s / HOUR_S, odd**2))
    share = decay @ (4.0 / math.pi * (-1.0) ** n / odd)
    return Curve(time_s, ambient_degc + (60.0 - ambient_degc) * np.clip(share, 0.0, 1.0))


@pytest.mark.parametrize("measured", [True, False])
def test_the_forecast_covers_what_comes(measured: bool) -> None:
    """Monte Carlo over slabs (exact series of conduction), noise, step, and how much was seen."""
    rng = np.random.default_rng(17)
    covered, widths = [], []
    for _ in range(60):
        ambient_degc, first = rng.uniform(2.0, 10.0), rng.uniform(0.4, 2.0)
        whole = _slab(ambient_degc, first)
        target = 21.0
        truth = float(np.interp(-target, -whole.value, whole.time_s))
        seen = whole.time_s < rng.uniform(0.4, 0.8) * truth
        shown = whole.value[seen] + rng.normal(0.0, 0.03, int(seen.sum()))
        curve = Curve(whole.time_s[seen], np.round(shown / 0.0625) * 0.0625, resolution=0.0625)
        around = Quantity(ambient_degc + rng.normal(0.0, 0.5), "degC", 0.5, "measured")
        found = forecast(curve, target, around if measured else None)
        if isinstance(found, Forecast):
            covered.append(found.earliest_s <= truth <= found.latest_s)
            widths.append(abs(found.at_s - truth) / truth)

    assert len(covered) > 50
    assert np.mean(covered) > 0.9
    assert np.median(widths) < 0.08


def test_the_constant_of_a_slab_is_that_of_its_first_term() -> None:
    """Exact: the first term of the series rules in the end."""
    whole = _slab(4.0, 0.9)
    curve = Curve(whole.time_s[:900], whole.value[:900])

    fit = fit_cooling(curve, Quantity(4.0, "degC", 0.2, "measured"))

    assert isinstance(fit, NewtonFit)
    assert abs(HOUR_S * fit.rate_per_s.value - 0.9) < max(2 * HOUR_S * fit.rate_per_s.u, 0.02)
    assert abs(fit.ambient.value - 4.0) < 2 * fit.ambient.u


@pytest.mark.parametrize(
    ("bath", "verdict"),
    [
        (Chilling(2400.0, 8.0, changes=3, fridge_film_w_m2_k=20.0, until_degc=4.0), Verdict.MET),
        (Chilling(bath_s=0.0, fridge_film_w_m2_k=2.0), Verdict.NOT_MET),
    ],
)
def test_a_simulated_block_is_judged_as_its_truth_says(bath: Chilling, verdict: Verdict) -> None:
    """The simulated kitchen's core, its truth computed by physics of its own."""
    scenario = Scenario(
        preparation=Preparation(dry_kg=0.25),
        heating=Heating(to_degc=84.0, hold_s=0.0, milk_degc=78.0, lead_s=10.0),
        target=Target(80.0, "falling"),
        standing=Standing(hold_s=300.0),
        forming=Forming(ladle_s=60.0, press_s=120.0, settle_s=5.0),
        chilling=bath,
    )
    played = play(scenario, 3)
    trace = played.truth.trace
    warm = np.flatnonzero(trace.core_degc >= 57.0)
    assert warm.size
    start_s = float(trace.time_s[warm[-1]])
    after = trace.time_s >= start_s
    truly = []
    for limit in US_TWO_STAGE.limits:
        cold = np.flatnonzero(after & (trace.core_degc <= limit.to_degc))
        took_s = float(trace.time_s[cold[0]]) - start_s if cold.size else math.inf
        truly.append(took_s <= limit.within_s)
    time_s, value = played.at("block_core").usable()
    model = scenario.outfit.block
    core = Curve(time_s, value, 0.1, model.resolution_k, name="core")

    made_s = played.truth.events_s["ladle"]
    result = chilling(core, US_TWO_STAGE, earliest_start_s=made_s, now_s=float(time_s[-1]))

    assert all(truly) == (verdict is Verdict.MET)
    assert result.verdict is verdict
    for leg, held in zip(result.legs, truly, strict=True):
        assert leg.verdict is not (Verdict.NOT_MET if held else Verdict.MET)
    assert not isinstance(result.start, NotShown)


def test_an_hour_more_in_a_gap_is_an_hour_more() -> None:
    """Identity: the same readings with the clock of the later ones put forward."""
    curve = _cooling(0.7)
    cut = int(np.flatnonzero(curve.value < 30.0)[0])
    later = curve.time_s.copy()
    later[cut:] += HOUR_S
    gap = replace(curve, time_s=later)

    without = chilling(curve, US_TWO_STAGE, now_s=1e9).legs[1]
    with_gap = chilling(gap, US_TWO_STAGE, now_s=1e9).legs[1]

    assert with_gap.at_most_s == pytest.approx(without.at_most_s + HOUR_S)
    assert with_gap.at_least_s == pytest.approx(without.at_least_s + HOUR_S)
