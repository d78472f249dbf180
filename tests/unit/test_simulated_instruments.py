# SPDX-License-Identifier: MIT
"""What simulated probes and scales show of a truth that is known."""

from __future__ import annotations

import math

import numpy as np
import pytest

from collector.instruments.simulated.instruments import (
    Fault,
    Place,
    Probe,
    ProbeModel,
    Scale,
    ScaleModel,
    quantised,
)
from collector.instruments.simulated.outfit import Sampling, Trouble
from collector.instruments.simulated.samples import (
    Reads,
    probe_samples,
    scale_samples,
    times_s,
    windows,
)

CLEAN = ProbeModel(time_constant_s=8.0, noise_k=0.0, resolution_k=0.0)


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def on_a_ramp(model: ProbeModel, rate_k_s: float, duration_s: float) -> float:
    """Return how far the probe lags at the end [K]."""
    probe, degc = Probe(model, rng(), 20.0), 20.0
    for _ in range(int(duration_s / 0.25)):
        degc += rate_k_s * 0.25
        probe.follow(Place(degc, degc), 0.25)
    return degc - probe.indication(1.0)


@pytest.mark.parametrize(("first_s", "second_s"), [(8.0, 0.0), (20.0, 0.0), (6.0, 2.5)])
def test_the_lag_on_a_ramp_is_the_rate_times_the_time_constant(
    first_s: float, second_s: float
) -> None:
    model = ProbeModel(
        time_constant_s=first_s, second_time_constant_s=second_s, noise_k=0.0, resolution_k=0.0
    )

    lag_k = on_a_ramp(model, 3.0 / 60.0, 600.0)

    # 3 K/min over 8 s: 0.40 K (exact; time constants in a row add up)
    assert lag_k == pytest.approx(3.0 / 60.0 * (first_s + second_s), rel=1e-9)


def test_a_step_is_followed_by_63_percent_in_one_time_constant() -> None:
    probe = Probe(CLEAN, rng(), 22.0)
    probe.follow(Place(82.0, 82.0), 1e-6)
    for _ in range(32):
        probe.follow(Place(82.0, 82.0), 0.25)

    # 22 + 0.6321 * 60 = 59.93 (exact)
    assert probe.indication(1.0) == pytest.approx(59.93, abs=0.005)


@pytest.mark.parametrize(
    ("value", "step", "shown"),
    [(82.2, 0.0625, 82.1875), (82.2, 0.5, 82.0), (82.26, 0.5, 82.5), (-3.3, 0.25, -3.25)],
)
def test_values_are_rounded_to_the_display_step(value: float, step: float, shown: float) -> None:
    assert quantised(value, step) == pytest.approx(shown, abs=1e-12)


def test_every_indication_is_a_whole_number_of_steps() -> None:
    probe = Probe(ProbeModel(noise_k=0.3, resolution_k=0.125), rng(), 61.3)
    shown = []
    for _ in range(200):
        probe.follow(Place(61.3, 61.3), 1.0)
        shown.append(probe.indication(1.0) / 0.125)

    assert np.allclose(shown, np.rint(shown), atol=1e-9)
    assert len(set(shown)) > 5


def test_calibration_offset_and_gain_and_place_bias_are_seen() -> None:
    model = ProbeModel(noise_k=0.0, resolution_k=0.0, offset_k=0.3, gain=1.002, place_bias_k=-0.5)
    probe = Probe(model, rng(), 80.0)
    for _ in range(400):
        probe.follow(Place(80.0, 80.0), 1.0)

    assert probe.indication(1.0) == pytest.approx((80.0 - 0.5) * 1.002 + 0.3, abs=1e-9)


def test_noise_has_the_spread_and_the_memory_that_were_asked_for() -> None:
    model = ProbeModel(noise_k=0.03, drift_k=0.08, drift_s=20.0, resolution_k=0.0)
    probe = Probe(model, rng(), 50.0)
    shown = np.empty(40_000)
    for index in range(shown.size):
        probe.follow(Place(50.0, 50.0), 1.0)
        shown[index] = probe.indication(1.0) - 50.0

    lagged = float(np.mean(shown[:-20] * shown[20:]))
    assert float(shown.std()) == pytest.approx(math.hypot(0.03, 0.08), rel=0.05)
    # exp(-20 s / 20 s) of the wandering part is left after 20 s (exact in the long run)
    assert lagged == pytest.approx(0.08**2 * math.exp(-1.0), rel=0.2)


def test_an_unstirred_probe_sees_some_of_the_bottom_layer() -> None:
    probe = Probe(ProbeModel(bottom_fraction=0.4), rng(), 50.0)

    assert probe.place_degc(Place(50.0, 60.0, stirring_fraction=0.0)) == pytest.approx(54.0)
    assert probe.place_degc(Place(50.0, 60.0, stirring_fraction=1.0)) == pytest.approx(50.0)


def samples_of(*troubles: Trouble) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    time_s = np.arange(0.0, 600.25, 0.25)
    at_s = [float(second) for second in range(1, 600)]
    wrong = windows(troubles, "milk", {"addition": 300.0})
    reads = Reads("north/milk", "milk", at_s, wrong, 1_000_000, 20.0)
    places = [Place(80.0, 80.0)] * time_s.size
    samples = probe_samples(reads, CLEAN, time_s, places, rng())
    return samples.time_ms - 1_000_000, samples.value, samples.fault


def test_a_gap_leaves_readings_out() -> None:
    time_ms, value, _ = samples_of(Trouble("gap", "milk", "addition", 0.0, 90.0))

    assert int(np.max(np.diff(time_ms))) == 91_000
    assert value == pytest.approx(80.0)


def test_a_lifted_probe_falls_toward_the_room_and_comes_back() -> None:
    time_ms, value, fault = samples_of(Trouble("lifted", "milk", "addition", -10.0, 40.0))
    lifted = fault == Fault.LIFTED

    # 20 + 60 * exp(-40 s / (4 * 8 s)) in air at the end (exact)
    assert float(value[lifted][-1]) == pytest.approx(20 + 60 * math.exp(-39.0 / 32.0), abs=0.5)
    assert float(value[time_ms == 500_000][0]) == pytest.approx(80.0, abs=0.01)


@pytest.mark.parametrize(("kind", "shown"), [("power_on", 85.0), ("disconnected", -127.0)])
def test_false_values_are_said_and_marked(kind: str, shown: float) -> None:
    trouble = Trouble(
        "power_on" if kind == "power_on" else "disconnected", "milk", "addition", 5, 3
    )

    _, value, fault = samples_of(trouble)

    assert list(value[fault != Fault.NONE]) == [shown] * 3


def test_repeats_have_the_same_time_and_value() -> None:
    time_ms, value, fault = samples_of(Trouble("repeated", "milk", "addition", 5.0, 2.0))
    repeated = np.flatnonzero(fault == Fault.REPEATED)

    assert repeated.size == 2
    assert np.array_equal(time_ms[repeated], time_ms[repeated - 1])
    assert np.array_equal(value[repeated], value[repeated - 1])


def test_trouble_after_an_event_that_never_came_does_not_happen() -> None:
    assert windows([Trouble("gap", "milk", "boil", 0.0, 9.0)], "milk", {"heat": 1.0}) == ()


def test_reading_times_are_whole_milliseconds_and_strictly_increasing() -> None:
    times = times_s(Sampling(5.0, jitter_s=0.15, loss_fraction=0.05), 0.0, 400.0, rng())
    ms = np.asarray(times) * 1000.0

    assert 1800 < len(times) < 1990
    assert np.all(np.diff(ms) > 0.5)
    assert np.allclose(ms, np.rint(ms), atol=1e-6)


def test_a_scale_is_unstable_while_it_moves_and_shows_whole_steps() -> None:
    scale = Scale(ScaleModel(noise_kg=0.0, settle_s=0.6, resolution_kg=0.005), rng())
    scale.follow(12.3412, 0.0, 0.25)
    moving = scale.indication()
    for _ in range(40):
        scale.follow(12.3412, 0.0, 0.25)
    still = scale.indication()

    assert not moving.stable
    assert still.stable
    assert still.mass_kg == pytest.approx(12.34, abs=1e-9)


def test_stirring_makes_a_scale_noisy_and_the_tare_is_taken_off() -> None:
    scale = Scale(ScaleModel(noise_kg=0.0, stirring_noise_kg=0.05), rng(), load_kg=2.0)
    scale.tare()
    shown = []
    for _ in range(300):
        scale.follow(5.0, 1.0, 1.0)
        indicated = scale.indication()
        shown.append(indicated.mass_kg)
    kept = np.array(shown[20:], dtype=float)

    assert float(kept.mean()) == pytest.approx(3.0, abs=0.02)
    assert float(kept.std()) == pytest.approx(0.05, rel=0.2)


def test_overload_has_no_value() -> None:
    scale = Scale(ScaleModel(capacity_kg=30.0), rng())
    for _ in range(20):
        scale.follow(31.0, 0.0, 1.0)

    assert scale.indication().mass_kg is None


def test_the_zero_of_a_scale_drifts() -> None:
    time_s = np.arange(0.0, 7201.0, 1.0)
    model = ScaleModel(noise_kg=0.0, drift_kg_h=0.01)
    reads = Reads("north/under-pot", "under_pot", [7200.0], (), 0, 20.0)

    samples = scale_samples(reads, model, time_s, (np.full(7201, 4.0), np.zeros(7201)), rng())

    assert float(samples.value[0]) == pytest.approx(4.02, abs=1e-6)
