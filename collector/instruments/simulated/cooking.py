# SPDX-License-Identifier: MIT
"""What the maker does while the milk is in the pot: heat, hold, cool, pour, cover, wait.

Each function carries a run on and yields the length of every step [s]. Must not import `api`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from collector.errors import ProcessError
from collector.instruments.simulated.physics import STEP_S
from collector.instruments.simulated.plan import Pour, Preparation
from collector.instruments.simulated.truth import PourTruth

if TYPE_CHECKING:
    from collector.instruments.simulated.run import BatchRun

LONGEST_WAIT_S = 4 * 3600.0


def before(plan: Preparation) -> Mapping[str, float]:
    """Return when soaking, grinding and straining began, before the run [s]."""
    events = {"grind": -1500.0, "strain": -600.0}
    if plan.starch_fraction > 0.0:
        events = {"grind": -6900.0, "strain": -6000.0, "settle": -5400.0}
    if plan.soak_ratio > 0.0:
        events["soak"] = events["grind"] - plan.soak_s
    return events


def heat(run: BatchRun) -> Iterator[float]:
    """Heat to the goal, hold it there if the plan says so, and switch off."""
    plan, pot = run.scenario.heating, run.pot
    yield from run.on_hob(plan.lead_s)
    run.mark("heat")
    pot.controls.power_fraction = 1.0
    start_s, cold_degc = run.time_s, pot.mean_degc
    goal_degc = pot.boiling_degc if plan.to_degc is None else plan.to_degc
    lid_off_degc = cold_degc + plan.covered_fraction * (goal_degc - cold_degc)
    while not (pot.boiling if plan.to_degc is None else pot.mean_degc >= goal_degc):
        pot.controls.covered = pot.mean_degc < lid_off_degc
        yield from _stirred_step(run)
        _limited(run, start_s, "heating")
    pot.controls.covered = False
    if plan.hold_s > 0.0:
        run.mark("boil" if plan.to_degc is None else "simmer")
        yield from _hold_hot(run, goal_degc)
        run.mark("hold_end")
    pot.controls.power_fraction = 0.0
    pot.controls.on_hob = not plan.taken_off
    run.mark("heat_off")


def _hold_hot(run: BatchRun, goal_degc: float) -> Iterator[float]:
    plan, pot = run.scenario.heating, run.pot
    end_s = run.time_s + plan.hold_s
    while run.time_s < end_s - 1e-9:
        low = pot.mean_degc < goal_degc - 0.5
        high = plan.to_degc is not None and pot.mean_degc > goal_degc + 0.5
        pot.controls.power_fraction = 1.0 if low else 0.0 if high else plan.simmer_fraction
        yield from _stirred_step(run)


def _stirred_step(run: BatchRun) -> Iterator[float]:
    """Let one step pass on the heat, and see what the milk does."""
    plan, pot = run.scenario, run.pot
    pot.controls.stirring_fraction = plan.heating.stirring.at(run.time_s)
    yield from run.on_hob(STEP_S)
    if plan.pours and plan.target.approach == "rising":
        if pot.mean_degc >= plan.target.value_degc:
            run.mark("target")
    elif not plan.pours:
        _self_set(run)


def _self_set(run: BatchRun) -> None:
    plan = run.scenario.standing
    if run.pot.mean_degc >= plan.set_degc:
        run.mark("set_begins")
    begun_s = run.events_s.get("set_begins")
    if begun_s is not None and run.time_s - begun_s >= plan.set_after_s:
        run.pot.controls.set = True
        run.mark("set")


def _limited(run: BatchRun, since_s: float, doing: str) -> None:
    if run.time_s - since_s > LONGEST_WAIT_S:
        raise ProcessError(
            f"The milk is at {run.pot.mean_degc:.1f} degC after 4 h of {doing}.",
            where=f"simulated pot {run.scenario.name}",
            do="Give the plan a stronger hob, another target or another room temperature.",
        )


def cool(run: BatchRun) -> Iterator[float]:
    """Wait until the maker believes that the milk is at its target, and a moment more."""
    target, pot = run.scenario.target, run.pot
    if run.scenario.pours and target.approach == "falling":
        start_s = run.time_s
        while pot.mean_degc > target.value_degc + target.maker_error_k:
            yield from _stirred_step(run)
            _see_fallen(run)
            _limited(run, start_s, "cooling")
    reaction_end_s = run.time_s + target.reaction_s
    while run.time_s < reaction_end_s - 1e-9:
        yield from _stirred_step(run)
        _see_fallen(run)


def _see_fallen(run: BatchRun) -> None:
    target = run.scenario.target
    falling = run.scenario.pours and target.approach == "falling"
    if falling and run.pot.mean_degc <= target.value_degc:
        run.mark("target")


def pour(run: BatchRun, plan: Pour) -> Iterator[float]:
    """Pour one addition in, stirring, and stir on for a while."""
    pot = run.pot
    if plan.wait_s > 0.0:
        pot.controls.stirring_fraction = 0.0
        yield from run.on_hob(plan.wait_s)
    run.mark("addition")
    start_s, before_degc, pot_kg = run.time_s, pot.mean_degc, pot.mass_kg
    pot.controls.stirring_fraction = 1.0
    poured_s = 0.0
    while poured_s < plan.duration_s - 1e-9:
        step_s = min(STEP_S, plan.duration_s - poured_s)
        share = step_s / plan.duration_s
        pot.pour(plan.water_kg * share, plan.coagulant_kg * share, plan.temperature_degc)
        yield from run.on_hob(step_s)
        poured_s += step_s
    after_degc = pot.mean_degc
    truth = PourTruth(
        start_s=start_s,
        end_s=run.time_s,
        before_degc=before_degc,
        after_degc=after_degc,
        settled_degc=after_degc,
        pot_kg=pot_kg,
        coagulant_kg=plan.coagulant_kg,
        water_kg=plan.water_kg,
        slurry_degc=plan.temperature_degc,
    )
    run.pours.append(truth)
    run.events_s["addition_end"] = run.time_s
    run.streams.put("coagulant", plan.coagulant_kg, plan.coagulant_kg)
    run.streams.put("coagulant_water", plan.water_kg, 0.0)
    yield from run.on_hob(plan.stirred_s)


def stand(run: BatchRun) -> Iterator[float]:
    """Cover, let it set, and wait for the hold; then take the lid off."""
    plan, controls = run.scenario.standing, run.pot.controls
    controls.stirring_fraction = 0.0
    yield from _standing(run, plan.cover_after_s)
    if plan.lid:
        controls.covered = True
        run.mark("cover")
    yield from _standing(run, plan.hold_s)
    controls.covered = False
    run.mark("uncover")


def _standing(run: BatchRun, duration_s: float) -> Iterator[float]:
    end_s = run.time_s + duration_s
    while run.time_s < end_s - 1e-9:
        yield from run.on_hob(min(STEP_S, end_s - run.time_s))
        if not run.pours:
            _self_set(run)
        elif run.time_s >= run.pours[-1].end_s + run.scenario.standing.set_after_s:
            run.pot.controls.set = True
            run.mark("set")
