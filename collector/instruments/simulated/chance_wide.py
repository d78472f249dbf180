# SPDX-License-Identifier: MIT
"""Random batches odder than any real one, to find where a calculation breaks.

Imports numpy. Must not import `api`, and shares nothing with `api.process`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from collector.instruments.simulated.chance import random_scenario
from collector.instruments.simulated.chance_outfit import log_uniform
from collector.instruments.simulated.outfit import Sampling, Trouble
from collector.instruments.simulated.plan import Scenario

Rng = np.random.Generator


def wide_scenario(rng: Rng) -> Scenario:
    """Return a batch at random, from ranges wider than kitchens have.

    Args:
        rng: The same generator in the same state gives the same batch.

    Returns:
        As `random_scenario`, with probes to 35 s of lag and 1 K of display step, scales that need
        seconds to settle, hobs that heat on for minutes, pours of two minutes, ladles of two scoops
        or sixty, and more gaps and lifted probes.
    """
    scenario = random_scenario(rng)
    outfit, probe = scenario.outfit, scenario.outfit.milk
    lag_s = log_uniform(rng, 0.4, 35.0)
    second_s = lag_s * rng.uniform(0.2, 0.5) if rng.random() < 0.5 else 0.0
    milk = replace(
        probe,
        time_constant_s=lag_s - second_s,
        second_time_constant_s=second_s,
        noise_k=log_uniform(rng, 0.003, 0.2),
        drift_k=rng.uniform(0.0, 0.12),
        resolution_k=float(rng.choice([0.001, 0.05, 0.1, 0.2, 0.5, 1.0])),
        plume_k=rng.uniform(0.0, 0.6),
        bottom_fraction=rng.uniform(0.0, 0.7),
    )
    scale = outfit.under_pot and replace(outfit.under_pot, settle_s=rng.uniform(0.1, 4.0))
    faster = log_uniform(rng, 0.6, 1.8)
    heating = scenario.heating
    return replace(
        scenario,
        outfit=replace(
            outfit,
            milk=milk,
            under_pot=scale,
            milk_sampling=Sampling(log_uniform(rng, 0.1, 8.0), 0.02, float(rng.choice([0.0, 0.2]))),
            dip_s=None if rng.random() < 0.5 else lag_s * (1.0 + 0.1 * rng.standard_normal()),
        ),
        hob=replace(
            scenario.hob,
            power_w=scenario.hob.power_w * faster,
            time_constant_s=log_uniform(rng, 0.5, 300.0),
        ),
        heating=replace(
            heating,
            simmer_fraction=min(1.0, heating.simmer_fraction / faster),
            lead_s=rng.uniform(20.0, 600.0),
            hold_s=rng.uniform(60.0, 1800.0) if heating.hold_s > 0.0 else 0.0,
            milk_degc=rng.uniform(4.0, 45.0),
        ),
        pours=tuple(
            replace(
                pour, duration_s=log_uniform(rng, 2.0, 120.0), temperature_degc=rng.uniform(3, 70)
            )
            for pour in scenario.pours
        ),
        forming=replace(
            scenario.forming, scoops=int(rng.integers(2, 60)), ladle_s=rng.uniform(40.0, 900.0)
        ),
        troubles=(*scenario.troubles, *_more_troubles(rng, poured=bool(scenario.pours))),
    )


def _more_troubles(rng: Rng, *, poured: bool) -> Iterator[Trouble]:
    events = ["heat", "heat_off", *(("addition", "addition_end") if poured else ("uncover",))]
    for kind, longest_s in (("gap", 240.0), ("lifted", 120.0), ("lifted", 15.0)):
        if rng.random() < 0.3:
            after = str(rng.choice(events))
            offset_s, duration_s = rng.uniform(-200.0, 500.0), rng.uniform(2.0, longest_s)
            yield Trouble("gap" if kind == "gap" else "lifted", "milk", after, offset_s, duration_s)
