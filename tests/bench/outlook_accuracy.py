# SPDX-License-Identifier: MIT
"""How well the outlook tells when milk will be at its target, over random simulated pots.

    python tests/bench/outlook_accuracy.py [kitchens] [first seed]

Every pot is played by the simulated kitchen, whose physics shares nothing with the calculation:
0.5 to 60 kg, hobs with and without inertia, lids that come off on the way, stirred and unstirred
milk, 0 to 2500 m, lost readings, gaps and lifted probes. One asks half way: after half of the time
from the heat, or from the turn, to the true crossing of the milk's mean temperature, with only the
readings up to then. The probe's own calibration and place are taken as known, so that the figures
are those of the method; its time constant is known where a dip check gave one. Beside it stand two
straight lines: through the last two minutes, and through all since the heat or the turn. "Known
mass" tells the milk's weighing as well. Fails if a goal is missed: median error within 5 % of what
remains and an interval that holds at least 85 %, rising and falling.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from api.process.boiling import boiling_point_at_pressure
from api.process.curves import Curve
from api.process.outlook import Course, Expected, course_of, time_to_boil, time_to_target
from api.process.outlook_beliefs import PotKnown
from api.process.quantities import NotShown, Quantity
from collector.instruments.simulated.scenario import Played, play, random_scenario

PASSED_DEGC = 75.0
MEDIAN_GOAL, COVERAGE_GOAL = 0.05, 0.85
SHORTEST_S = 20.0


@dataclass(frozen=True)
class Question:
    """What is asked of one batch: from when, when it truly comes, at which temperature."""

    kind: str
    from_s: float
    true_s: float
    value_degc: float | None


@dataclass(frozen=True)
class Answer:
    """How one question was answered, relative to what remained; NaN where nothing is shown."""

    kind: str
    error: float
    held: bool
    half_width: float
    last_minutes: float
    since_start: float
    took_s: float


def played_kitchens(count: int, first_seed: int) -> Iterator[Played]:
    """Yield batches, cut short after the pot: what comes later is not asked for."""
    for seed in range(first_seed, first_seed + count):
        scenario = random_scenario(np.random.default_rng(seed))
        short = replace(scenario.forming, press_s=30.0, settle_s=5.0)
        standing = replace(scenario.standing, hold_s=60.0)
        plan = replace(scenario, chilling=None, forming=short, standing=standing)
        yield play(plan, seed)


def curve_of(played: Played) -> Curve:
    """Return the milk probe's readings, its own calibration and place taken off."""
    outfit = played.scenario.outfit
    probe = outfit.milk
    time_s, shown = played.at("milk").usable()
    first = np.concatenate([[True], np.diff(time_s) > 0])
    return Curve(
        time_s[first],
        (shown[first] - probe.offset_k) / probe.gain - probe.place_bias_k,
        resolution=probe.resolution_k,
        time_constant_s=outfit.dip_s,
        u_time_constant_s=outfit.dip_u_s if outfit.dip_s is not None else 0.0,
        name="milk",
    )


def questions_of(played: Played) -> list[Question]:
    """Return target, boil, and the passing of 75 degC on the way to a boil."""
    events, trace, target = played.truth.events_s, played.truth.trace, played.scenario.target
    found = []
    if played.scenario.pours and "target" in events:
        since = events["heat" if target.approach == "rising" else "heat_off"]
        found.append(Question(target.approach, since, events["target"], target.value_degc))
    if "boil" in events:
        found.append(Question("boil", events["heat"], events["boil"], None))
        warm = (trace.time_s > events["heat"]) & (trace.mean_degc >= PASSED_DEGC)
        passed_s = float(trace.time_s[np.flatnonzero(warm)[0]])
        found.append(Question("rising", events["heat"], passed_s, PASSED_DEGC))
    return [one for one in found if one.true_s - one.from_s >= SHORTEST_S]


def straight(curve: Curve, now_s: float, span_s: float, value_degc: float) -> float:
    """Return when a straight line through the last readings gets there, from now [s]."""
    part = curve.between(now_s - span_s, now_s + 1e-6)
    if len(part) < 3:
        return float("nan")
    slope, level = np.polyfit(part.time_s - now_s, part.value, 1)
    return float((value_degc - level) / slope) if slope else float("nan")


def answer_of(played: Played, question: Question, *, mass_known: bool) -> Answer:
    """Return how one question is answered half way."""
    curve = curve_of(played)
    boiling = boiling_point_at_pressure(played.scenario.kitchen.pressure_pa)
    weighed = played.weighings.get("milk")
    milk = None
    if mass_known and weighed is not None:
        milk = Quantity(weighed.mass_kg, "kg", weighed.u_kg, "weighed")
    now_s = (question.from_s + question.true_s) / 2.0
    left_s = question.true_s - now_s
    begun = time.process_time()
    found: Expected | NotShown | Course = course_of(curve, PotKnown(boiling, milk=milk), now_s)
    if isinstance(found, Course):
        found = (
            time_to_boil(found)
            if question.value_degc is None
            else time_to_target(found, question.value_degc, question.kind)
        )
    took_s = time.process_time() - begun
    goal_degc = boiling.value if question.value_degc is None else question.value_degc
    near, far = (
        straight(curve, now_s, span_s, goal_degc) / left_s - 1.0 for span_s in (120.0, left_s)
    )
    error, half, held = float("nan"), float("nan"), False
    if isinstance(found, Expected):
        error = (found.at_s - question.true_s) / left_s
        half = (found.latest_s - found.earliest_s) / 2.0 / left_s
        held = found.earliest_s <= question.true_s <= found.latest_s
    return Answer(question.kind, error, held, half, near, far, took_s)


def line(name: str, answers: list[Answer]) -> tuple[str, float, float]:
    """Return one row of the table, its median error and its coverage."""
    error = np.abs([one.error for one in answers])
    shown = np.isfinite(error)
    held = np.array([one.held for one in answers])[shown]
    half = np.array([one.half_width for one in answers])[shown]
    near, far = np.nanmedian(np.abs([(a.last_minutes, a.since_start) for a in answers]), axis=0)
    median, p90 = np.percentile(error[shown], [50, 90])
    cells = (
        f"{name:28} {len(answers):5}",
        f"{np.mean(~shown):6.1%}",
        f"{median:6.1%} {p90:6.1%}",
        f"{np.mean(held):5.0%}",
        f"{np.median(half):6.1%}",
        f"{near:6.1%} {far:6.1%}",
    )
    return "  |  ".join(cells), float(median), float(np.mean(held))


def main() -> int:
    """Play, ask, print; 1 if a goal is missed."""
    kitchens = int(sys.argv[1]) if len(sys.argv) > 1 else 220
    first_seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    answers: dict[bool, list[Answer]] = {False: [], True: []}
    for played in played_kitchens(kitchens, first_seed):
        for question in questions_of(played):
            for known, found in answers.items():
                found.append(answer_of(played, question, mass_known=known))
    print(
        f"{kitchens} kitchens; errors relative to what remains\n"
        f"{'asked half way':28} {'asked':>5}  |  not shown  |  |error|: median, 90 %  |  in the "
        "90 % interval  |  half its width  |  straight line: last 2 min, since the start"
    )
    missed = False
    for known, found in answers.items():
        for kind in ("rising", "falling", "boil"):
            name = f"{kind}, {'known mass' if known else 'mass not told'}"
            text, median, held = line(name, [one for one in found if one.kind == kind])
            print(text)
            if kind != "boil":
                missed |= median > MEDIAN_GOAL or held < COVERAGE_GOAL
    took = [one.took_s for found in answers.values() for one in found]
    print(f"\n{1000 * np.median(took):.0f} ms each (median), {1000 * max(took):.0f} ms at most")
    return int(missed)


if __name__ == "__main__":
    sys.exit(main())
