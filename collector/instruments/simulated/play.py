# SPDX-License-Identifier: MIT
"""A whole simulated batch at once: its truth, what the instruments said, what the maker wrote down.

Imports numpy. Must not import `api`, and shares nothing with `api.process`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from collector.instruments.simulated.instruments import Place, ProbeModel, ScaleModel, quantised
from collector.instruments.simulated.outfit import Sampling
from collector.instruments.simulated.plan import Scenario
from collector.instruments.simulated.run import BatchRun
from collector.instruments.simulated.samples import (
    Reads,
    Samples,
    probe_samples,
    scale_samples,
    times_s,
    windows,
)
from collector.instruments.simulated.truth import Floats, HoldTruth, Trace, Truth

DEFAULT_START_MS = 1_767_254_400_000  # 2026-01-01T08:00:00Z
AFTER_LADLE_S = 120.0
MARKED = (
    *("soak", "grind", "strain", "settle", "heat", "simmer", "boil", "addition", "cover"),
    *("set", "ladle", "press", "unmould", "chill", "end"),
)
SMALL_KG = 0.2


@dataclass(frozen=True, slots=True)
class Weighed:
    """What the maker wrote down for one stream.

    Attributes:
        mass_kg: [kg].
        u_kg: Its standard uncertainty, residues not included [kg].
    """

    mass_kg: float
    u_kg: float


@dataclass(frozen=True, slots=True)
class Played:
    """A batch that was played.

    Attributes:
        scenario: The plan.
        seed: Of its noise.
        start_ms: Time 0 of the run [ms since 1970 UTC].
        truth: What really was.
        readings: What the instruments said, by series.
        marks_s: When the maker marked what [s since 1970 UTC].
        weighings: What the maker weighed, by stream.
    """

    scenario: Scenario
    seed: int
    start_ms: int
    truth: Truth
    readings: Mapping[str, Samples]
    marks_s: Mapping[str, float]
    weighings: Mapping[str, Weighed]

    def at(self, place: str) -> Samples:
        """Return the readings taken at a place: `milk under_pot under_press block_core …`.

        Raises:
            KeyError: No instrument was there.
        """
        for samples in self.readings.values():
            if samples.place == place:
                return samples
        raise KeyError(place)


def play(scenario: Scenario, seed: int = 0, *, start_ms: int = DEFAULT_START_MS) -> Played:
    """Play a whole batch.

    Args:
        scenario: The plan.
        seed: Of the noise of instruments and maker; the physics has none.
        start_ms: When the milk stands in the pot, a little before the heat [ms since 1970 UTC].

    Returns:
        Its truth and everything that was said of it; the same for the same arguments.

    Raises:
        ProcessError: The plan can't be carried out.
    """
    run = BatchRun(scenario)
    trace = _trace(run)
    readings = {
        samples.series: samples for samples in _readings(scenario, run, trace, seed, start_ms)
    }
    rng = np.random.default_rng([seed, 100])
    return Played(
        scenario=scenario,
        seed=seed,
        start_ms=start_ms,
        truth=_truth(run, trace, start_ms / 1000.0),
        readings=readings,
        marks_s=_marks(scenario, run.events_s, rng, start_ms / 1000.0),
        weighings=_weighings(scenario, run.streams.mass_kg, rng),
    )


def _trace(run: BatchRun) -> Trace:
    rows = [_row(run)]
    while run.advance() > 0.0:
        rows.append(_row(run))
    return Trace(*np.array(rows).T.copy())


def _row(run: BatchRun) -> tuple[float, ...]:
    pot, block = run.pot, run.block
    return (
        run.time_s,
        pot.mean_degc,
        pot.zone_degc(pot.bulk),
        pot.zone_degc(pot.bottom),
        max(pot.controls.stirring_fraction, float(run.ladling)),
        pot.controls.power_fraction,
        float(pot.controls.covered),
        pot.mass_kg,
        run.on_scale_kg,
        pot.ledger.vapour_kg,
        pot.ledger.heat_j,
        pot.ledger.lost_j,
        run.press_whey_kg,
        math.nan if block is None else block.core_degc,
        math.nan if block is None else block.bath_degc,
    )


def _readings(
    scenario: Scenario, run: BatchRun, trace: Trace, seed: int, start_ms: int
) -> Iterator[Samples]:
    outfit, events, end_s = scenario.outfit, run.events_s, float(trace.time_s[-1])
    pot_end_s = min(events["ladle_end"] + AFTER_LADLE_S, end_s)

    def reads(place: str, number: int, sampling: Sampling, span_s: tuple[float, float]) -> Reads:
        rng = np.random.default_rng([seed, number])
        return Reads(
            series=f"{scenario.name}/{place.replace('_', '-')}",
            place=place,
            at_s=times_s(sampling, *span_s, rng),
            wrong=windows(scenario.troubles, place, events),
            start_ms=start_ms,
            room_degc=scenario.kitchen.room_degc,
        )

    def noise(number: int) -> np.random.Generator:
        return np.random.default_rng([seed, number, 1])

    milk = reads("milk", 1, outfit.milk_sampling, (0.0, pot_end_s))
    places = _milk_places(trace, events["ladle"], scenario.kitchen.room_degc)
    yield probe_samples(milk, outfit.milk, trace.time_s, places, noise(1))
    if outfit.under_pot is not None:
        load = (trace.on_scale_kg, trace.stirring_fraction)
        under_pot = reads("under_pot", 2, outfit.scale_sampling, (0.0, pot_end_s))
        yield scale_samples(under_pot, outfit.under_pot, trace.time_s, load, noise(2))
    if outfit.under_press is not None:
        span_s = (events["press"] - 30.0, events["press_end"])
        under_press = reads("under_press", 3, outfit.scale_sampling, span_s)
        yield _tray(under_press, outfit.under_press, trace, noise(3))
    if scenario.chilling is not None:
        span_s = (events["unmould"], end_s)
        core = reads("block_core", 4, outfit.block_sampling, span_s)
        yield _in_block(core, outfit.block, trace, trace.core_degc, noise(4))
        bath = reads("chill_water", 5, outfit.block_sampling, (events["chill"], events["fridge"]))
        water = replace(outfit.block, place_bias_k=0.0)
        yield _in_block(bath, water, trace, trace.bath_degc, noise(5))


def _milk_places(trace: Trace, lifted_s: float, room_degc: float) -> list[Place]:
    return [
        Place(
            bulk_degc=bulk_degc,
            bottom_degc=bottom_degc,
            stirring_fraction=stirring,
            air_degc=room_degc if time_s >= lifted_s else None,
            heated=power > 0.0,
        )
        for time_s, bulk_degc, bottom_degc, stirring, power in zip(
            trace.time_s.tolist(),
            trace.bulk_degc.tolist(),
            trace.bottom_degc.tolist(),
            trace.stirring_fraction.tolist(),
            trace.power_fraction.tolist(),
            strict=True,
        )
    ]


def _tray(reads: Reads, model: ScaleModel, trace: Trace, rng: np.random.Generator) -> Samples:
    start = max(0, int(np.searchsorted(trace.time_s, reads.at_s[0])) - 1) if reads.at_s else 0
    load = (trace.press_whey_kg[start:], np.zeros_like(trace.time_s[start:]))
    return scale_samples(reads, model, trace.time_s[start:], load, rng)


def _in_block(
    reads: Reads, model: ProbeModel, trace: Trace, degc: Floats, rng: np.random.Generator
) -> Samples:
    start = max(0, int(np.searchsorted(trace.time_s, reads.at_s[0])) - 1) if reads.at_s else 0
    places = [Place(value, value) for value in degc[start:].tolist()]
    return probe_samples(reads, model, trace.time_s[start:], places, rng)


def _truth(run: BatchRun, trace: Trace, start_s: float) -> Truth:
    events = {kind: start_s + at_s for kind, at_s in run.events_s.items() if kind != "set_begins"}
    shifted = replace(trace, time_s=trace.time_s + start_s)
    holds = {}
    hot_from_s = events.get("boil", events.get("simmer"))
    if hot_from_s is not None:
        holds["hot"] = _hold(shifted, hot_from_s, events["hold_end"])
    covered_from_s = events.get("cover", events.get("addition_end", events["heat_off"]))
    holds["covered"] = _hold(shifted, covered_from_s, events["uncover"])
    return Truth(
        events_s=events,
        pours=tuple(
            replace(pour, start_s=start_s + pour.start_s, end_s=start_s + pour.end_s)
            for pour in run.pours
        ),
        streams_kg=dict(run.streams.mass_kg),
        solids_kg=dict(run.streams.solids_kg),
        residues_kg=dict(run.streams.residue_kg),
        holds=holds,
        boiling_degc=run.pot.boiling_degc,
        trace=shifted,
    )


def _hold(trace: Trace, start_s: float, end_s: float) -> HoldTruth:
    inside = (trace.time_s >= start_s) & (trace.time_s <= end_s)
    degc = trace.mean_degc[inside]
    return HoldTruth(start_s, end_s, float(degc.min()), float(degc.max()), float(degc.mean()))


def _marks(
    scenario: Scenario, events_s: Mapping[str, float], rng: np.random.Generator, start_s: float
) -> dict[str, float]:
    marks = {}
    for kind in MARKED:
        error_s = scenario.outfit.mark_s * float(rng.standard_normal())
        if kind == "addition":
            error_s = scenario.outfit.addition_mark_s
        if kind in events_s:
            marks[kind] = start_s + events_s[kind] + error_s
    return marks


def _weighings(
    scenario: Scenario, streams_kg: Mapping[str, float], rng: np.random.Generator
) -> dict[str, Weighed]:
    weighings = {}
    for stream, true_kg in streams_kg.items():
        if stream == "evaporation":
            continue
        share = 0.1 if true_kg < SMALL_KG else 1.0  # small things go on a finer scale
        spread_kg = scenario.outfit.weighing_kg * share
        step_kg = scenario.outfit.weighing_step_kg * share
        shown_kg = quantised(true_kg + spread_kg * float(rng.standard_normal()), step_kg)
        weighings[stream] = Weighed(max(shown_kg, 0.0), math.hypot(spread_kg, step_kg / 12**0.5))
    return weighings
