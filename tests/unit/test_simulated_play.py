# SPDX-License-Identifier: MIT
"""A played batch: its masses, its order of events, its readings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from collector.instruments.simulated.scenario import Played, Scenario, play
from collector.instruments.simulated.streams import NODES


@pytest.fixture(scope="module")
def played() -> Played:
    return play(Scenario(), 7)


@pytest.mark.parametrize("node", ["soak", "grind", "strain", "set", "press"])
def test_what_enters_a_node_leaves_it_or_stays_as_residue(played: Played, node: str) -> None:
    streams = played.truth.streams_kg
    into, out = NODES[node]
    names = {"raw_milk": "milk"} if node == "strain" else {}

    entered = sum(streams[name] for name in into)
    left = sum(streams[names.get(name, name)] for name in out)

    assert left + played.truth.residues_kg[node] == pytest.approx(entered, rel=1e-12)
    assert played.truth.residues_kg[node] > 0.0


@pytest.mark.parametrize("node", ["set", "press"])
def test_solids_never_grow(played: Played, node: str) -> None:
    solids = played.truth.solids_kg
    into, out = NODES[node]

    entered = sum(solids[name] for name in into)
    left = sum(solids[name] for name in out)

    assert 0.99 * entered < left <= entered * (1.0 + 1e-12)


def test_events_come_in_the_order_of_the_trade(played: Played) -> None:
    order = "soak grind strain heat boil hold_end target addition addition_end cover set ladle"
    order += " ladle_end press press_end chill fridge end"

    times = [played.truth.events_s[kind] for kind in order.split()]

    assert times == sorted(times)


def test_the_same_seed_gives_the_same_readings_and_another_seed_others() -> None:
    short = replace(Scenario(), chilling=None)
    first, again, other = play(short, 7), play(short, 7), play(short, 8)

    for series, samples in first.readings.items():
        assert np.array_equal(samples.value, again.readings[series].value)
        assert np.array_equal(samples.time_ms, again.readings[series].time_ms)
    assert not np.array_equal(first.at("milk").value, other.at("milk").value)
    assert other.truth.streams_kg == first.truth.streams_kg


def test_the_scale_under_the_pot_sees_the_pour_the_lid_and_the_ladle(played: Played) -> None:
    time_s, value = played.at("under_pot").usable()
    events, pour = played.truth.events_s, played.truth.pours[0]
    lid_kg = played.scenario.vessel.lid_kg

    def median_kg(start_s: float, end_s: float) -> float:
        return float(np.median(value[(time_s > start_s) & (time_s < end_s)]))

    before = median_kg(pour.start_s - 10.0, pour.start_s)
    poured = median_kg(pour.end_s + 5.0, events["cover"] - 2.0)
    covered = median_kg(events["cover"] + 4.0, events["cover"] + 30.0)
    emptied = median_kg(events["ladle_end"] + 10.0, events["ladle_end"] + 60.0)

    assert poured - before == pytest.approx(0.525, abs=0.02)
    assert covered - poured == pytest.approx(lid_kg, abs=0.02)
    assert emptied == pytest.approx(0.0, abs=0.005)
