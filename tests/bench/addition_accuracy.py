# SPDX-License-Identifier: MIT
"""How well the temperature at the addition is measured, over random simulated pots.

    python tests/bench/addition_accuracy.py [pots] [first seed]

Every pot is played by the simulated kitchen, whose physics shares nothing with the calculation:
0.5 to 60 kg of milk, doses of 0.1 to 13 %, probes of first and second order with lags of 0.7 to
25 s, display steps of 0.01 to 0.5 K, 0.2 to 5 readings a second, lost readings, gaps, lifted
probes, and marks that are up to 40 s late or early. Beside it stands what a maker gets who reads
the thermometer by hand when the mark is made. The probe's own calibration and place are taken as
known, so that the figures are those of the method.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from api.process.addition import Addition, AdditionMark, temperature_at_addition
from api.process.addition_mixture import AdditionInputs
from api.process.curves import Curve
from api.process.quantities import Quantity, Result
from collector.instruments.simulated.chance import random_scenario
from collector.instruments.simulated.scenario import Played, play


@dataclass(frozen=True)
class Outcome:
    """One addition: what was, what was computed, and what a hand reading would have said."""

    before_k: float
    u_before_k: float
    after_k: float
    u_after_k: float
    loss_k: float
    u_loss_k: float
    hand_k: float
    by_dip: bool
    lag_known: bool
    slope_k_per_min: float
    drop_k: float
    took_s: float


def played_pots(pots: int, first_seed: int) -> Iterator[Played]:
    """Yield batches that have an addition; what comes after the ladle is cut short."""
    seed = first_seed
    while pots:
        scenario = random_scenario(np.random.default_rng(seed))
        if scenario.pours:
            short = replace(scenario.forming, press_s=30.0, settle_s=5.0)
            yield play(replace(scenario, chilling=None, forming=short), seed)
            pots -= 1
        seed += 1


def curve_of(played: Played) -> Curve:
    """Return the milk probe's readings, its own calibration and place taken off."""
    outfit = played.scenario.outfit
    probe = outfit.milk
    time_s, shown = played.at("milk").usable()
    first = np.concatenate([[True], np.diff(time_s) > 0])
    value = (shown[first] - probe.offset_k) / probe.gain - probe.place_bias_k
    return Curve(
        time_s[first],
        value,
        resolution=probe.resolution_k,
        time_constant_s=outfit.dip_s,
        u_time_constant_s=outfit.dip_u_s if outfit.dip_s is not None else 0.0,
        name="milk",
    )


def inputs_of(played: Played) -> AdditionInputs:
    """Return what the maker weighed, and the slurry as measured by hand."""

    def weighed(stream: str) -> Quantity | None:
        one = played.weighings.get(stream)
        return None if one is None else Quantity(one.mass_kg, "kg", one.u_kg, "weighed")

    if len(played.truth.pours) > 1:
        return AdditionInputs()
    slurry = Quantity(played.truth.pours[0].slurry_degc, "degC", 1.0, "by hand")
    return AdditionInputs(weighed("milk"), weighed("coagulant"), weighed("coagulant_water"), slurry)


def mark_of(played: Played) -> AdditionMark:
    """Return the mark of the first addition, bounded by that of a second one."""
    at_s = played.marks_s["addition"]
    if len(played.truth.pours) == 1:
        return AdditionMark(at_s, latest_s=played.marks_s.get("ladle"))
    late = played.scenario.outfit.addition_mark_s
    next_s = played.truth.pours[1].start_s + late
    return AdditionMark(at_s, latest_s=next_s, latest_start_s=(at_s + next_s) / 2)


def error_of(result: Result, truth: float) -> tuple[float, float]:
    """Return error and u, NaN where nothing is shown."""
    if isinstance(result, Quantity):
        return result.value - truth, result.u
    return float("nan"), float("nan")


def outcome_of(played: Played) -> Outcome:
    """Return how one addition came out."""
    curve, mark, pour = curve_of(played), mark_of(played), played.truth.pours[0]
    begun = time.process_time()
    addition: Addition = temperature_at_addition(curve, mark, inputs_of(played))
    took_s = time.process_time() - begun
    before_k, u_before_k = error_of(addition.before, pour.before_degc)
    after_k, u_after_k = error_of(addition.after, pour.after_degc)
    loss_k, u_loss_k = error_of(addition.loss, 0.0)
    trace = played.truth.trace
    earlier = trace.milk_degc(pour.start_s - 30.0)
    return Outcome(
        before_k,
        u_before_k,
        after_k,
        u_after_k,
        loss_k,
        u_loss_k,
        float(np.interp(mark.time_s, curve.time_s, curve.value)) - pour.before_degc,
        addition.placed_by == "dip",
        curve.time_constant_s is not None,
        2.0 * (pour.before_degc - earlier),
        pour.before_degc - pour.after_degc,
        took_s,
    )


def line(name: str, outcomes: list[Outcome]) -> str:
    """Return one row of the table."""
    if not outcomes:
        return f"{name:34} {0:5}"
    before = np.array([(one.before_k, one.u_before_k) for one in outcomes]).T
    after = np.array([(one.after_k, one.u_after_k) for one in outcomes]).T
    hand = np.abs([one.hand_k for one in outcomes])
    cells = [f"{name:34} {len(outcomes):5}"]
    for error, u in (before, after):
        shown = np.isfinite(error)
        size = np.abs(error[shown])
        middle, far = np.percentile(size, [50, 95]) if size.size else (np.nan, np.nan)
        held = np.mean(size < 2 * u[shown]) if size.size else np.nan
        cells.append(f"{np.mean(shown):5.0%} {middle:6.3f} {far:6.3f} {held:5.0%}")
    cells.append(f"{np.median(hand):6.3f} {np.percentile(hand, 95):6.3f}")
    return "  |  ".join(cells)


def main() -> None:
    """Play, measure, print."""
    pots = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    first_seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    outcomes = [outcome_of(played) for played in played_pots(pots, first_seed)]
    rows: dict[str, Callable[[Outcome], bool]] = {
        "all": lambda _: True,
        "slope within 2 K/min": lambda one: abs(one.slope_k_per_min) <= 2.0,
        "placed by a dip": lambda one: one.by_dip,
        "  of them, lag known": lambda one: one.by_dip and one.lag_known,
        "  of them, lag not known": lambda one: one.by_dip and not one.lag_known,
        "  of them, slope within 2 K/min": lambda one: (
            one.by_dip and abs(one.slope_k_per_min) <= 2.0
        ),
        "placed by the mark": lambda one: not one.by_dip,
        "drop above 0.5 K": lambda one: one.drop_k > 0.5,
    }
    head = "  |  ".join(
        [
            f"{'absolute error [K]':34} {'pots':>5}",
            "before: shown, median, 95 %, |e|<2u",
            "after: the same",
            "hand: median, 95 %",
        ]
    )
    print(head)
    for name, chosen in rows.items():
        print(line(name, [one for one in outcomes if chosen(one)]))
    took = [one.took_s for one in outcomes]
    print(f"\n{1000 * np.median(took):.0f} ms each (median), {1000 * max(took):.0f} ms at most")


if __name__ == "__main__":
    main()
