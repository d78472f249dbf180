# SPDX-License-Identifier: MIT
"""How well marks are found from temperature and mass alone, over random simulated pots.

    python tests/bench/marks_found.py [pots] [first seed]

Every pot is played by the simulated kitchen, whose physics shares nothing with the detector: half
of them by the generator as it is, half with ranges made wider still (probes to 35 s of lag and 1 K
of display step, scales that need seconds to settle, hobs that heat on for minutes, ladles of two
scoops or sixty, more gaps and lifted probes). What happened counts as visible by a rule on the
truth alone, which is printed; what is found of the rest is neither counted nor held against it.
Beside it stand plain thresholds on the same readings.
"""

from __future__ import annotations

import itertools
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from api.process.boiling import boiling_point_at_pressure
from api.process.curves import Floats
from api.process.marks import Detector
from api.process.marks_settings import MarkSettings, Proposal
from api.process.pour_search import Lag
from collector.instruments.simulated.chance import random_scenario
from collector.instruments.simulated.chance_wide import wide_scenario
from collector.instruments.simulated.scenario import Played, Scenario, play

KINDS = ("heat", "boil", "simmer", "target", "addition", "ladle", "press", "chill", "end")
# How far off a proposal may be and still be of that event [s].
SAME_S = {"chill": 300.0, "end": 3600.0}
USUAL_SAME_S = 90.0
VISIBLE = """\
visible: an addition that cools the milk by more than 0.4 K, two display steps and five times what
the probe strays, a minute or more after the one before, with the probe in the milk and speaking;
heat and target with the probe in the milk and speaking, the target passed by 0.5 K within a minute;
a simmer of more than 100 s that holds within 2.5 K; a chill in water; the ladle where a scale is
under the pot; boil and press always; no end, since the readings end with it"""
PLACES = ("milk", "under_pot", "under_press", "block_core")


@dataclass(frozen=True)
class Happened:
    """What really happened."""

    kind: str
    at_s: float
    visible: bool


@dataclass(frozen=True)
class Said:
    """What was said, and of what it was true."""

    proposal: Proposal
    happened: Happened | None
    right: bool


def settings_of(played: Played, rng: np.random.Generator) -> MarkSettings:
    """Return what the maker could have told: barometer or altitude, dip check, target."""
    scenario, outfit = played.scenario, played.scenario.outfit
    weather = 1.0 + 0.012 * rng.uniform(-1.0, 1.0)
    lags = {} if outfit.dip_s is None else {"milk": Lag(outfit.dip_s, outfit.dip_u_s)}
    target = scenario.target if scenario.pours else None
    return MarkSettings(
        boiling=boiling_point_at_pressure(scenario.kitchen.pressure_pa / weather, 1500.0),
        target_degc=None if target is None else target.value_degc,
        approach=None if target is None else target.approach,
        lags=lags,
    )


def happened(played: Played) -> list[Happened]:
    """Return all that happened, and whether readings could show it."""
    truth, events = played.truth, played.truth.events_s
    found = [Happened("heat", events["heat"], _spoke(played, events["heat"] - 25.0, 65.0))]
    if "boil" in events:
        found.append(Happened("boil", events["boil"], True))
    if "simmer" in events:
        at_s = events["simmer"]
        trace = truth.trace
        held = (trace.time_s >= at_s) & (trace.time_s <= at_s + 120.0)
        steady = float(np.ptp(trace.mean_degc[held])) < 2.5
        found.append(Happened("simmer", at_s, steady and events["heat_off"] - at_s > 100.0))
    if truth.pours:
        found += _target(played)
    found += [
        Happened("addition", pour.start_s, _dips(played, number))
        for number, pour in enumerate(truth.pours)
    ]
    places = {samples.place for samples in played.readings.values()}
    if "under_pot" in places:
        found.append(Happened("ladle", events["ladle"], True))
    if "under_press" in places:
        found.append(Happened("press", events["press"], True))
    if played.scenario.chilling is not None:
        in_water = played.scenario.chilling.bath_s > 0.0
        found.append(Happened("chill", events["chill"], in_water))
        found.append(Happened("end", events["end"], False))
    return found


def _spoke(played: Played, from_s: float, span_s: float) -> bool:
    """Tell whether the probe was in the milk and spoke throughout a stretch."""
    milk, outfit = played.at("milk"), played.scenario.outfit
    time_s = milk.time_ms / 1000.0
    inside = time_s[(time_s > from_s) & (time_s < from_s + span_s)]
    longest_s = max(15.0, 4.0 / outfit.milk_sampling.rate_hz)
    if inside.size < 3 or np.diff([from_s, *inside, from_s + span_s]).max() > longest_s:
        return False
    lag_s = outfit.milk.time_constant_s + outfit.milk.second_time_constant_s
    events = played.truth.events_s
    return not any(
        from_s - trouble.duration_s - 4.0 * lag_s
        < events[trouble.after] + trouble.offset_s
        < from_s + span_s
        for trouble in played.scenario.troubles
        if trouble.after in events and trouble.kind in ("lifted", "power_on", "disconnected")
    )


def _target(played: Played) -> list[Happened]:
    truth, target = played.truth, played.scenario.target
    time_s, degc = truth.trace.time_s, truth.trace.mean_degc
    rising = target.approach == "rising"
    from_s = truth.events_s["heat" if rising else "heat_off"]
    past_k = (degc - target.value_degc) * (1.0 if rising else -1.0)
    on_way = (time_s >= from_s) & (time_s <= truth.pours[0].start_s)
    passed = np.flatnonzero(on_way & (past_k >= 0.0))
    if not passed.size:
        return []
    at_s = float(time_s[passed[0]])
    soon = on_way & (time_s >= at_s) & (time_s <= at_s + 60.0)
    clear = float(past_k[soon].max()) > 0.5
    return [Happened("target", at_s, clear and _spoke(played, at_s - 45.0, 60.0))]


def _dips(played: Played, number: int) -> bool:
    trace, pour = played.truth.trace, played.truth.pours[number]
    start_s, end_s = pour.start_s, pour.end_s
    earlier = trace.milk_degc(start_s - 30.0)
    trend = min(0.0, (trace.milk_degc(start_s) - earlier) / 30.0)
    dip_k = (
        trace.milk_degc(start_s) - trace.milk_degc(end_s + 15.0) + trend * (end_s + 15 - start_s)
    )
    time_s, shown = played.at("milk").usable()
    before = (time_s > start_s - 120.0) & (time_s < start_s) & (shown > 0.0) & (shown < 115.0)
    strays = shown[before] - np.interp(time_s[before], trace.time_s, trace.mean_degc)
    stray_k = float(np.std(strays)) if strays.size > 4 else 0.0
    if number and start_s - played.truth.pours[number - 1].end_s < 60.0:
        return False
    least_k = max(0.4, 2.0 * played.scenario.outfit.milk.resolution_k, 5.0 * min(stray_k, 2.0))
    return dip_k > least_k and _spoke(played, start_s - 50.0, end_s + 110.0 - start_s)


def readings_of(played: Played) -> dict[str, tuple[Floats, Floats]]:
    """Return what came from each place, faults and all; probes by their calibration."""
    outfit = played.scenario.outfit
    probes = {"milk": outfit.milk, "block_core": outfit.block}
    found = {}
    for samples in played.readings.values():
        if samples.place not in PLACES:
            continue
        value = samples.value
        if samples.place in probes:
            probe = probes[samples.place]
            value = (value - probe.offset_k) / probe.gain
        found[samples.place] = (samples.time_ms / 1000.0, value)
    return found


def plain_thresholds(played: Played, settings: MarkSettings) -> list[Proposal]:
    """Return what fixed thresholds on the same readings would say."""
    milk_s, degc = (array for array in readings_of(played)["milk"])
    found: dict[str, float] = {}
    earlier = np.interp(milk_s - 30.0, milk_s, degc)
    rules: dict[str, Floats] = {
        "heat": milk_s[degc > earlier + 1.0],
        "boil": milk_s[degc > settings.boiling.value - 1.0],
        "addition": milk_s[(degc < earlier - 1.0) & (degc > 50.0)],
    }
    if settings.target_degc is not None:
        past = degc - settings.target_degc
        rising = settings.approach == "rising"
        after_s = found.get("boil", -np.inf)
        rules["target"] = milk_s[(past > 0.0) if rising else (past < 0.0) & (milk_s > after_s)]
    scale = readings_of(played).get("under_pot")
    if scale is not None:
        mass_s, mass_kg = scale
        rules["ladle"] = mass_s[mass_kg < 0.95 * np.interp(mass_s - 60.0, mass_s, mass_kg)]
    press = readings_of(played).get("under_press")
    if press is not None and press[0].size:
        rules["press"] = press[0][press[1] > press[1][0] + 0.02]
    return [
        Proposal(kind, float(times_s[0]), 10.0, float(times_s[0]), 1.0, "threshold")
        for kind, times_s in rules.items()
        if times_s.size
    ]


def judged(played: Played, proposals: Sequence[Proposal]) -> tuple[list[Said], list[Happened]]:
    """Return each proposal with what it was of, and what was missed."""
    open_events = happened(played)
    said = []
    for proposal in proposals:
        within_s = SAME_S.get(proposal.kind, USUAL_SAME_S)
        near = [
            one
            for one in open_events
            if one.kind == proposal.kind and abs(proposal.at - one.at_s) < within_s
        ]
        best = min(near, key=lambda one: abs(proposal.at - one.at_s), default=None)
        if best is not None:
            open_events.remove(best)
        said.append(Said(proposal, best, best is not None or _true_as_said(played, proposal)))
    return said, open_events


def _true_as_said(played: Played, proposal: Proposal) -> bool:
    """Tell whether what was said is so though the batch's own list has no such event."""
    trace = played.truth.trace
    if proposal.kind == "target":
        near = np.abs(trace.time_s - proposal.at) < 30.0
        off_k = np.abs(trace.mean_degc[near] - played.scenario.target.value_degc)
        place_k = abs(played.scenario.outfit.milk.place_bias_k)  # the probe's place, not its fault
        return bool(off_k.size and off_k.min() < 0.3 + place_k)
    if proposal.kind == "boil":
        since = (trace.time_s > proposal.at - 20.0) & (trace.time_s < proposal.seen_at)
        return bool(trace.mean_degc[since].max(initial=0.0) > played.truth.boiling_degc - 0.1)
    return False


@dataclass
class Tally:
    """What came of all pots."""

    visible: Counter[str]
    hits: dict[str, list[Said]]
    false: Counter[str]
    sure: list[tuple[float, bool]]
    pots: int = 0

    def add(self, played: Played, proposals: Sequence[Proposal]) -> None:
        """Count one pot."""
        said, missed = judged(played, proposals)
        self.pots += 1
        for one in said:
            self.sure.append((one.proposal.confidence, one.right))
            if one.happened is not None:
                self.hits[one.proposal.kind].append(one)
                self.visible[one.proposal.kind] += one.happened.visible
            self.false[one.proposal.kind] += not one.right
        for happening in missed:
            self.visible[happening.kind] += happening.visible

    def lines(self) -> Iterator[str]:
        """Yield the rows of the table."""
        late: list[float] = []
        off: list[float] = []
        found = 0
        for kind in KINDS:
            hits = self.hits[kind]
            seen = sum(one.happened is not None and one.happened.visible for one in hits)
            found += seen
            if not self.visible[kind] and not hits and not self.false[kind]:
                continue
            errors = [abs(one.proposal.at - one.happened.at_s) for one in hits if one.happened]
            waits = [one.proposal.seen_at - one.happened.at_s for one in hits if one.happened]
            off += errors if kind != "end" else []
            late += waits if kind != "end" else []
            spread = [e < 2.0 * one.proposal.u_at for e, one in zip(errors, hits, strict=True)]
            yield _row(kind, (self.visible[kind], seen, self.false[kind]), errors, waits, spread)
        counts = (sum(self.visible.values()), found, sum(self.false.values()))
        yield _row("all", counts, off, late, [])
        yield f"false proposals a batch: {counts[2] / self.pots:.3f}"

    def calibration(self) -> Iterator[str]:
        """Yield how often proposals of a confidence are right."""
        sure = np.array(self.sure)
        edges = (0.0, 0.7, 0.85, 0.95, 0.98, 1.01)
        for low, high in itertools.pairwise(edges):
            these = sure[(sure[:, 0] >= low) & (sure[:, 0] < high)]
            if these.size:
                mean, right = these.mean(axis=0)
                yield f"said with {mean:.2f}: {right:.3f} of {len(these)} right"


def _row(
    name: str,
    counts: tuple[int, int, int],
    errors: Sequence[float],
    waits: Sequence[float],
    held: Sequence[bool],
) -> str:
    visible, seen, false = counts
    cells = [f"{name:12} {visible:5} {seen / max(visible, 1):6.1%} {false:5}"]
    if errors:
        middle, far = np.percentile(errors, [50, 95])
        wait, longest = np.percentile(waits, [50, 95])
        within = np.mean(np.array(waits) <= 45.0)
        cells.append(f"{middle:6.1f} {far:6.1f}  {wait:6.0f} {longest:6.0f} {within:6.0%}")
    if held:
        cells.append(f"{np.mean(held):5.0%}")
    return "  ".join(cells)


def main() -> None:
    """Play, find, print."""
    pots = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    first_seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    makers: tuple[Callable[[np.random.Generator], Scenario], ...] = (random_scenario, wide_scenario)
    names = ("the generator's kitchens", "wider than those")
    took_s = 0.0
    head = (
        "event        visible  found false   error s: 50, 95 %   said after s: 50, 95 %, <=45  2u"
    )
    print(VISIBLE)
    for maker, name in zip(makers, names, strict=True):
        found, plain = (Tally(Counter(), defaultdict(list), Counter(), []) for _ in range(2))
        for seed in range(first_seed, first_seed + pots // 2):
            rng = np.random.default_rng(seed)
            played = play(maker(rng), seed)
            settings = settings_of(played, rng)
            begun = time.process_time()
            proposals = Detector(settings).take(readings_of(played))
            took_s += time.process_time() - begun
            found.add(played, proposals)
            plain.add(played, plain_thresholds(played, settings))
        for title, tally in ((name, found), (f"{name}, by plain thresholds", plain)):
            print(f"\n{title}, {tally.pots} pots\n{head}")
            print("\n".join(tally.lines()))
        print("\n".join(found.calibration()))
    print(f"\n{1000 * took_s / pots:.0f} ms of processor for a whole batch")


if __name__ == "__main__":
    main()
