# SPDX-License-Identifier: MIT
"""The statistics and physics behind the marks, against bounds, tables and other libraries."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import least_squares
from scipy.stats import norm

from api.process.boiling import boiling_point_at_altitude
from api.process.curves import Floats
from api.process.marks import Detector
from api.process.marks_bend import bends, find_bend, find_step
from api.process.marks_heat import HOB_LAGS_S, LEAST_LOG_ODDS, NOISE_LASTS_S
from api.process.marks_plateau import boil_share
from api.process.marks_settings import MarkSettings

SLOPES = (0.2 / 60.0, 5.0 / 60.0)


def remembering(rng: np.random.Generator, time_s: Floats, spread: float, memory_s: float) -> Floats:
    """Return noise of a first-order memory (Ornstein and Uhlenbeck 1930, exact recursion)."""
    white = rng.normal(0.0, spread, time_s.size)
    kept = math.exp(-float(time_s[1] - time_s[0]) / memory_s)
    noise = np.empty_like(white)
    noise[0] = white[0]
    for index in range(1, white.size):
        noise[index] = kept * noise[index - 1] + math.sqrt(1.0 - kept**2) * white[index]
    return noise


@pytest.mark.parametrize("log_odds", [1.0, 2.0, 3.0])
def test_noise_alone_passes_for_a_bend_no_more_often_than_evidence_allows(log_odds: float) -> None:
    # Where there is no bend, odds of k to 1 for one turn up at most once in k times (Markov's
    # inequality applied to the likelihood ratio; Good 1950 names it after Turing; from memory).
    rng = np.random.default_rng(11)
    time_s = np.arange(-120.0, 0.1, 2.5)
    candidates = bends(np.arange(-100.0, -4.0, 3.0), HOB_LAGS_S, ((5.0, 0.0),))
    times = 1200
    passed = 0
    for _ in range(times):
        slope = rng.normal(0.0, SLOPES[0])
        value = 20.0 + slope * time_s + remembering(rng, time_s, 0.05, NOISE_LASTS_S)
        found = find_bend(time_s, value, candidates, noise=(0.05, NOISE_LASTS_S), spreads=SLOPES)
        assert found is not None
        passed += found.log_odds > log_odds

    allowed = math.exp(-log_odds)
    assert passed / times < allowed + 3.0 * math.sqrt(allowed / times)


def test_the_evidence_asked_for_heat_makes_less_than_one_in_four_hundred_of_noise() -> None:
    assert math.exp(-LEAST_LOG_ODDS) < 1.0 / 400.0  # the same bound, computed


@pytest.mark.parametrize("memory_s", [0.5, 4.0, 10.0])
def test_where_a_bend_lies_agrees_with_least_squares_of_another_library(memory_s: float) -> None:
    rng = np.random.default_rng(5)
    time_s = np.arange(-150.0, 0.1, 2.5)
    true_s, slope, lag_s = -52.0, 4.0 / 60.0, 6.0

    def lagged(params: Floats) -> Floats:
        level, before, after, at_s = params
        since = np.maximum(time_s - at_s, 0.0)
        ramp = since - lag_s * -np.expm1(-since / lag_s)
        result: Floats = level + before * time_s + after * ramp
        return result

    truth = lagged(np.array([18.0, 0.0, slope, true_s]))
    value = truth + remembering(rng, time_s, 0.04, memory_s)
    fitted = least_squares(lambda p: lagged(p) - value, [value[0], 0.0, 0.05, -40.0]).x

    found = find_bend(
        time_s,
        value,
        bends(np.arange(-140.0, -4.0, 1.0), (0.4,), ((lag_s, 0.0),)),
        noise=(0.04, memory_s),
        spreads=SLOPES,
    )

    assert found is not None
    assert found.at_s == pytest.approx(fitted[3], abs=3.0)
    assert found.after_per_s == pytest.approx(fitted[1] + fitted[2], rel=0.06)
    assert abs(found.at_s - true_s) < 3.0 * max(found.u_s, 1.0)


def test_a_probe_put_into_warmer_milk_looks_more_like_a_step_than_a_bend() -> None:
    time_s = np.arange(-120.0, 0.1, 2.5)
    # First-order step, IEC 60751's way of stating a response time (definition).
    value = 20.0 + 6.0 * -np.expm1(-np.maximum(time_s + 60.0, 0.0) / 8.0)
    starts = np.arange(-110.0, -4.0, 3.0)
    noise = (0.05, NOISE_LASTS_S)

    bend = find_bend(
        time_s, value, bends(starts, HOB_LAGS_S, ((8.0, 0.0),)), noise=noise, spreads=SLOPES
    )
    step = find_step(time_s, value, starts, noise=noise, spreads=(SLOPES[0], 10.0))

    assert bend is not None
    assert step > bend.log_odds


@pytest.mark.parametrize("level", [94.0, 95.5, 96.3, 96.7, 97.4, 98.5])
def test_boil_or_simmer_is_bayes_rule_with_a_normal_density(level: float) -> None:
    mean, spread = 96.7, 0.5
    density = float(norm.pdf(level, mean, spread))
    # Simmers: even over 8 K, fading out with a logistic edge 0.8 K below the boil (ours).
    simmer = 1.0 / (1.0 + math.exp((level - mean + 0.8) / 0.2)) / 8.0
    expected = max(density, 1e-6 if level > mean else 0.0) / (
        max(density, 1e-6 if level > mean else 0.0) + simmer
    )

    assert boil_share(level, (mean, spread)) == pytest.approx(expected, rel=1e-6)


def heated_pot(boils_at_degc: float) -> tuple[Floats, Floats]:
    """Return a pot brought to the boil: a lumped heat balance solved by scipy."""

    def slope(time_s: float, degc: Floats) -> Floats:
        power_w = 2200.0 if time_s > 240.0 else 0.0
        heat_w = power_w - 4.0 * (degc - 21.0)
        return np.where((degc >= boils_at_degc) & (heat_w > 0.0), 0.0, heat_w / (5.0 * 3950.0))

    time_s = np.arange(0.0, 1800.0, 2.0)
    solved = solve_ivp(slope, (0.0, 1800.0), [17.0], t_eval=time_s, max_step=1.0)
    noise = np.random.default_rng(9).normal(0.0, 0.04, time_s.size)
    return time_s, np.minimum(solved.y[0], boils_at_degc) + noise


@pytest.mark.parametrize(
    ("altitude_m", "boils_at_degc"),
    [
        # Boiling points of water in the standard atmosphere: IAPWS-IF97 region 4 at ICAO pressures
        # (computed with the iapws package's tables; they stand in tests/outside too).
        (0.0, 99.97),
        (500.0, 98.31),
        (1000.0, 96.65),
        (1500.0, 94.98),
        (2500.0, 91.64),
    ],
)
def test_the_boil_is_found_at_the_boiling_point_of_each_altitude(
    altitude_m: float, boils_at_degc: float
) -> None:
    settings = MarkSettings(boiling=boiling_point_at_altitude(altitude_m, 1500.0))
    time_s, degc = heated_pot(boils_at_degc)

    found = {one.kind: one for one in Detector(settings).take({"milk": (time_s, degc)})}

    assert set(found) == {"heat", "boil"}
    assert found["heat"].at == pytest.approx(240.0, abs=20.0)
    reached_s = float(time_s[np.flatnonzero(degc > boils_at_degc - 0.1)][0])
    assert found["boil"].at == pytest.approx(reached_s, abs=20.0)
