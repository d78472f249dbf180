# SPDX-License-Identifier: MIT
"""Random instruments for random batches, and random faults of theirs.

Imports numpy. Must not import `api`, and shares nothing with `api.process`.
"""

from __future__ import annotations

import math

import numpy as np

from collector.instruments.simulated.instruments import ProbeModel, ScaleModel
from collector.instruments.simulated.outfit import Outfit, Sampling, Trouble, TroubleKind

Rng = np.random.Generator


def log_uniform(rng: Rng, low: float, high: float) -> float:
    """Return a number between low and high, each power of ten alike."""
    return math.exp(rng.uniform(math.log(low), math.log(high)))


def random_outfit(rng: Rng, milk_kg: float) -> Outfit:
    """Return the instruments of one batch at random, for so much milk [kg]."""
    milk, spread_k = _probe(rng)
    rate_hz = log_uniform(rng, 0.2, 5.0)
    step_kg = 0.001 if milk_kg < 6.0 else float(rng.choice([0.002, 0.005, 0.01]))
    scale = ScaleModel(
        noise_kg=step_kg * rng.uniform(0.2, 1.0),
        stirring_noise_kg=milk_kg * log_uniform(rng, 0.0005, 0.01),
        settle_s=rng.uniform(0.2, 1.5),
        resolution_kg=step_kg,
        drift_kg_h=step_kg * float(rng.standard_normal()),
        gain=1.0 + 0.0005 * float(rng.standard_normal()),
    )
    lag_s = milk.time_constant_s + milk.second_time_constant_s
    dip_u_s = lag_s * rng.uniform(0.03, 0.15)
    dip_s = lag_s + dip_u_s * float(rng.standard_normal())
    return Outfit(
        milk=milk,
        milk_sampling=Sampling(
            rate_hz,
            jitter_s=rng.uniform(0.0, 0.05) / rate_hz,
            loss_fraction=float(rng.choice([0.0, 0.0, 0.01, 0.05])),
        ),
        under_pot=scale if rng.random() < 0.6 else None,
        scale_sampling=Sampling(log_uniform(rng, 0.2, 2.0)),
        weighing_kg=step_kg,
        weighing_step_kg=step_kg,
        milk_calibration_u_k=spread_k,
        dip_s=max(dip_s, 0.3) if rng.random() < 0.7 else None,
        dip_u_s=dip_u_s,
        mark_s=rng.uniform(2.0, 15.0),
        addition_mark_s=rng.uniform(-40.0, 40.0),
    )


def _probe(rng: Rng) -> tuple[ProbeModel, float]:
    """Return a probe, and how well its correction and place are known [K]."""
    lag_s = log_uniform(rng, 0.7, 25.0)
    second = lag_s * rng.uniform(0.1, 0.4) if rng.random() < 0.5 else 0.0
    offset_u_k, bias_u_k = rng.uniform(0.02, 0.2), rng.uniform(0.02, 0.2)
    model = ProbeModel(
        time_constant_s=lag_s - second,
        second_time_constant_s=second,
        still_factor=rng.uniform(1.0, 1.4),
        air_factor=rng.uniform(2.5, 6.0),
        place_bias_k=bias_u_k * float(rng.standard_normal()),
        bottom_fraction=rng.uniform(0.0, 0.5),
        plume_k=rng.uniform(0.0, 0.3),
        offset_k=offset_u_k * float(rng.standard_normal()),
        gain=1.0 + 0.0005 * float(rng.standard_normal()),
        noise_k=log_uniform(rng, 0.005, 0.1),
        drift_k=rng.uniform(0.0, 0.06),
        drift_s=log_uniform(rng, 5.0, 120.0),
        resolution_k=float(rng.choice([0.01, 0.0625, 0.1, 0.125, 0.25, 0.5])),
    )
    return model, math.hypot(offset_u_k, bias_u_k, 0.0005 * 80.0)


def random_troubles(rng: Rng, *, self_set: bool) -> tuple[Trouble, ...]:
    """Return what goes wrong with the milk probe at random, in most batches nothing."""
    events = ["heat", "heat_off", "uncover"] if self_set else ["heat", "addition", "addition_end"]
    chances: tuple[tuple[TroubleKind, float, float], ...] = (
        ("gap", 0.3, 120.0),
        ("lifted", 0.25, 90.0),
        ("power_on", 0.1, 5.0),
        ("disconnected", 0.1, 20.0),
        ("repeated", 0.1, 60.0),
    )
    return tuple(
        Trouble(
            kind=kind,
            place="milk",
            after=str(rng.choice(events)),
            offset_s=rng.uniform(-120.0, 300.0),
            duration_s=rng.uniform(2.0, longest_s),
        )
        for kind, chance, longest_s in chances
        if rng.random() < chance
    )
