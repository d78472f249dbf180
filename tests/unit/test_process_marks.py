# SPDX-License-Identifier: MIT
"""Marks found by the detector in curves made from closed forms, with what real kitchens do to them.

The pot of these tests: cold milk, heat on at 300 s at 5 K/min seen through a slow probe, the boil
at 96.7 degC, heat off, free cooling, a pour that takes it down by 3 K at once.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from api.process.boiling import boiling_point_at_altitude
from api.process.curves import Curve, Floats
from api.process.marks import Detector, detect
from api.process.marks_settings import MarkSettings, Proposal
from collector.errors import ProcessError

ON_S, RATE_K_S, START_DEGC, BOIL_DEGC = 300.0, 5.0 / 60.0, 16.0, 96.7
BOIL_S = ON_S + (BOIL_DEGC - START_DEGC) / RATE_K_S
OFF_S = BOIL_S + 400.0
COOLING_S, ROOM_DEGC = 3600.0, 20.0
POUR_S, POUR_TOOK_S, DROP_K = OFF_S + 900.0, 15.0, 3.0
LADLE_S, END_S = POUR_S + 1100.0, POUR_S + 1500.0
TARGET_DEGC = ROOM_DEGC + (BOIL_DEGC - ROOM_DEGC) * float(np.exp(-700.0 / COOLING_S))
SETTINGS = MarkSettings(
    boiling=boiling_point_at_altitude(1000.0, 1500.0), target_degc=TARGET_DEGC, approach="falling"
)


@dataclass(frozen=True)
class Kitchen:
    """How the pot is read."""

    interval_s: float = 2.0
    noise_k: float = 0.04
    step_k: float = 0.1
    lag_s: float = 6.0
    drop_k: float = DROP_K
    seed: int = 1

    def milk(self) -> tuple[Floats, Floats]:
        """Times and readings of the milk."""
        fine_s = np.arange(0.0, END_S, 0.5)
        degc = true_milk(fine_s, self.drop_k)
        shown = np.empty_like(degc)
        shown[0] = degc[0]
        share = 1.0 - np.exp(-0.5 / self.lag_s)
        for index in range(1, degc.size):
            shown[index] = shown[index - 1] + share * (degc[index] - shown[index - 1])
        rng = np.random.default_rng(self.seed)
        time_s = np.arange(0.0, END_S, self.interval_s)
        value = np.interp(time_s, fine_s, shown) + rng.normal(0.0, self.noise_k, time_s.size)
        if self.step_k:
            value = np.round(value / self.step_k) * self.step_k
        return time_s, value

    def scale(self) -> tuple[Floats, Floats]:
        """Times and readings of the scale under the pot: a pour of 0.4 kg, then fifteen ladles."""
        time_s = np.arange(0.7, END_S, 1.0)
        poured = np.clip((time_s - POUR_S) / POUR_TOOK_S, 0.0, 1.0)
        ladles = np.clip(np.floor((time_s - LADLE_S) / 20.0) + 1.0, 0.0, 15.0)
        mass_kg = 8.0 + 0.4 * poured - 0.5 * ladles
        stirred = np.random.default_rng(self.seed + 1).normal(0.0, 0.002, time_s.size)
        return time_s, np.round((mass_kg + stirred) / 0.005) * 0.005


def true_milk(time_s: Floats, drop_k: float = DROP_K) -> Floats:
    """Return the temperature of the milk [degC]."""
    climb = START_DEGC + RATE_K_S * (time_s - ON_S)
    cooled = ROOM_DEGC + (BOIL_DEGC - ROOM_DEGC) * np.exp(-(time_s - OFF_S) / COOLING_S)
    degc = np.clip(climb, START_DEGC, BOIL_DEGC)
    degc = np.where(time_s > OFF_S, cooled, degc)
    return degc - drop_k * np.clip((time_s - POUR_S) / POUR_TOOK_S, 0.0, 1.0)


def said(proposals: list[Proposal]) -> dict[str, Proposal]:
    """Return the proposals by kind; each kind at most once."""
    kinds = [one.kind for one in proposals]
    assert len(set(kinds)) == len(kinds), kinds
    return {one.kind: one for one in proposals}


def kinds_of(milk: tuple[Floats, Floats], options: MarkSettings = SETTINGS) -> list[str]:
    """Return the kinds found from the milk alone."""
    return [one.kind for one in Detector(options).take({"milk": milk})]


@pytest.mark.parametrize(
    "kitchen",
    [
        Kitchen(),
        Kitchen(interval_s=1.0, step_k=0.0625, noise_k=0.02, lag_s=2.0),
        Kitchen(interval_s=5.0, step_k=0.5, noise_k=0.1, lag_s=15.0),
        Kitchen(interval_s=0.25, step_k=0.0, noise_k=0.15, lag_s=8.0, seed=5),
    ],
    ids=["usual", "quick and fine", "rare, coarse and slow", "fast and noisy"],
)
def test_the_probe_alone_shows_heat_boil_target_and_addition_when_they_were(
    kitchen: Kitchen,
) -> None:
    found = said(Detector(SETTINGS).take({"milk": kitchen.milk()}))

    assert list(found) == ["heat", "boil", "target", "addition"]
    truth = {"heat": ON_S, "boil": BOIL_S, "target": OFF_S + 700.0, "addition": POUR_S}
    for kind, at_s in truth.items():
        assert abs(found[kind].at - at_s) < 25.0, (kind, found[kind])
        assert found[kind].at <= found[kind].seen_at < at_s + 95.0, (kind, found[kind])
        assert found[kind].why and 0.5 <= found[kind].confidence < 1.0


def test_a_scale_under_the_pot_shows_the_ladle_and_places_the_pour() -> None:
    kitchen = Kitchen()

    found = said(Detector(SETTINGS).take({"milk": kitchen.milk(), "under_pot": kitchen.scale()}))

    assert abs(found["ladle"].at - LADLE_S) < 3.0
    assert abs(found["addition"].at - POUR_S) < 4.0
    assert "heavier" in found["addition"].why


def test_a_pour_too_small_to_be_seen_is_not_proposed() -> None:
    found = said(Detector(SETTINGS).take({"milk": Kitchen(drop_k=0.05).milk()}))

    assert "addition" not in found


def test_no_proposal_uses_a_reading_later_than_the_one_it_was_seen_at() -> None:
    time_s, value = Kitchen().milk()
    whole = Detector(SETTINGS).take({"milk": (time_s, value)})

    for one in whole:
        upto = time_s <= one.seen_at
        again = Detector(SETTINGS).take({"milk": (time_s[upto], value[upto])})
        assert again[-1] == one
        before = time_s < one.seen_at
        assert one not in Detector(SETTINGS).take({"milk": (time_s[before], value[before])})


@settings(max_examples=3, deadline=None)
@given(cuts=st.lists(st.floats(10.0, END_S - 10.0), min_size=1, max_size=40))
def test_readings_that_come_in_pieces_show_the_same(cuts: list[float]) -> None:
    kitchen = Kitchen(interval_s=5.0)
    places = {"milk": kitchen.milk(), "under_pot": kitchen.scale()}
    whole = Detector(SETTINGS).take(places)

    detector = Detector(SETTINGS)
    pieces: list[Proposal] = []
    edges = [-1.0, *sorted(cuts), END_S + 1.0]
    for low, high in itertools.pairwise(edges):
        part = {
            place: (
                time_s[(time_s > low) & (time_s <= high)],
                value[(time_s > low) & (time_s <= high)],
            )
            for place, (time_s, value) in places.items()
        }
        pieces += detector.take(part)

    assert pieces == whole == list(detector.said)


def test_a_stored_batch_shows_what_the_live_one_did() -> None:
    time_s, value = Kitchen().milk()
    live = Detector(SETTINGS)
    for first in range(0, time_s.size, 7):
        live.take({"milk": (time_s[first : first + 7], value[first : first + 7])})

    assert detect({"milk": Curve(time_s, value)}, SETTINGS) == list(live.said)


def test_repeats_disorder_and_readings_that_are_no_numbers_change_nothing() -> None:
    time_s, value = Kitchen().milk()
    order = np.random.default_rng(3).permutation(np.repeat(np.arange(time_s.size), 2))
    mixed_s, mixed = time_s[order], value[order]
    mixed_s, mixed = np.append(mixed_s, [5.0, np.nan]), np.append(mixed, [np.nan, 80.0])

    assert Detector(SETTINGS).take({"milk": (mixed_s, mixed)}) == Detector(SETTINGS).take(
        {"milk": (time_s, value)}
    )


def test_readings_that_come_late_are_taken_in_and_nothing_is_said_twice() -> None:
    time_s, value = Kitchen().milk()
    late = (time_s > BOIL_S - 200.0) & (time_s < BOIL_S + 300.0)
    detector = Detector(SETTINGS)

    first = detector.take({"milk": (time_s[~late], value[~late])})
    then = detector.take({"milk": (time_s[late], value[late])})

    both = sorted(one.kind for one in first + then)
    assert both == ["addition", "boil", "heat", "target"]
    assert "heat" in [one.kind for one in first]


def test_a_probe_lifted_out_and_put_back_is_no_addition() -> None:
    time_s, value = Kitchen(drop_k=0.0).milk()
    for out_s, back_s in ((OFF_S + 300.0, OFF_S + 340.0), (OFF_S + 800.0, OFF_S + 960.0)):
        away = (time_s >= out_s) & (time_s < back_s)
        value[away] = 25.0 + (value[away] - 25.0) * np.exp(-(time_s[away] - out_s) / 20.0)
        cold = value[away][-1]
        back = (time_s >= back_s) & (time_s < back_s + 60.0)
        value[back] += (cold - value[back]) * np.exp(-(time_s[back] - back_s) / 6.0)

    assert "addition" not in kinds_of((time_s, value))


@pytest.mark.parametrize("wrong", [85.0, -127.0, 0.0], ids=["power-on", "disconnected", "zero"])
def test_what_a_failing_probe_says_is_no_event(wrong: float) -> None:
    time_s, value = Kitchen(drop_k=0.0).milk()
    for from_s in (100.0, 700.0, OFF_S + 200.0, OFF_S + 1200.0):
        value[(time_s >= from_s) & (time_s < from_s + 9.0)] = wrong

    assert kinds_of((time_s, value)) == ["heat", "boil", "target"]


def test_a_silence_hides_what_happened_in_it_and_makes_nothing_up() -> None:
    time_s, value = Kitchen().milk()
    spoke = (time_s < POUR_S - 60.0) | (time_s > POUR_S + 400.0)

    assert "addition" not in kinds_of((time_s[spoke], value[spoke]))


def test_warming_up_to_the_room_is_no_heat() -> None:
    time_s = np.arange(0.0, 3 * 3600.0, 10.0)
    noise = np.random.default_rng(2).normal(0.0, 0.05, time_s.size)
    value = 22.0 - 17.0 * np.exp(-time_s / 7000.0) + noise

    assert kinds_of((time_s, np.round(value, 1))) == []


def test_milk_that_only_cools_shows_nothing() -> None:
    time_s = np.arange(0.0, 2 * 3600.0, 10.0)
    noise = np.random.default_rng(4).normal(0.0, 0.05, time_s.size)

    assert kinds_of((time_s, 20.0 + 65.0 * np.exp(-time_s / 5000.0) + noise)) == []


def test_a_hold_below_the_boil_is_a_simmer() -> None:
    time_s, value = Kitchen(drop_k=0.0).milk()
    value = np.minimum(value, 90.0)

    found = said(Detector(SETTINGS).take({"milk": (time_s, value)}))

    assert "simmer" in found and "boil" not in found
    assert abs(found["simmer"].at - (ON_S + (90.0 - START_DEGC) / RATE_K_S)) < 25.0


def test_a_pot_in_the_mountains_boils_at_its_own_boiling_point() -> None:
    time_s, value = Kitchen(drop_k=0.0).milk()
    at_sea = MarkSettings(boiling=boiling_point_at_altitude(0.0, 300.0))

    assert "boil" in kinds_of((time_s, value))
    assert "boil" not in kinds_of((time_s, value), at_sea)


def press(sign: float) -> tuple[Floats, Floats]:
    """Return a scale under a press: loaded at 40 s, whey runs from 100 s."""
    time_s = np.arange(0.0, 400.0, 1.0)
    run = 0.6 * (1.0 - np.exp(-np.maximum(time_s - 100.0, 0.0) / 150.0))
    mass_kg = np.where(time_s < 40.0, 0.0, 2.0) + sign * run
    noise = np.random.default_rng(6).normal(0.0, 0.001, time_s.size)
    return time_s, np.round(mass_kg + noise, 3)


@pytest.mark.parametrize("sign", [1.0, -1.0], ids=["whey caught", "whey runs off"])
def test_whey_that_runs_is_the_press(sign: float) -> None:
    [found] = Detector(MarkSettings()).take({"under_press": press(sign)})

    assert found.kind == "press"
    assert abs(found.at - 100.0) < 8.0
    assert found.seen_at < 145.0


def test_a_block_put_into_water_chills_and_one_that_is_cold_has_ended() -> None:
    time_s = np.arange(0.0, 4 * 3600.0, 5.0)
    still = 62.0 - 6.0 * (1.0 - np.exp(-time_s / 3000.0))
    level = float(np.interp(1800.0, time_s, still))
    since_s = np.maximum(time_s - 1800.0, 0.0)
    # A core follows a new medium late: two stages, of 150 s and of 2000 s.
    core = 2.0 + (level - 2.0) * (
        2000.0 * np.exp(-since_s / 2000.0) - 150.0 * np.exp(-since_s / 150.0)
    ) / (2000.0 - 150.0)
    noise = np.random.default_rng(8).normal(0.0, 0.02, time_s.size)
    degc = np.where(time_s < 1800.0, still, core) + noise

    found = said(Detector(MarkSettings()).take({"block_core": (time_s, degc)}))

    assert abs(found["chill"].at - 1800.0) < 60.0
    cold_s = float(time_s[np.flatnonzero(core < 5.0)][0])
    assert abs(found["end"].at - cold_s) < 400.0


def test_times_and_values_that_do_not_belong_together_are_refused() -> None:
    with pytest.raises(ProcessError, match=r"shape"):
        Detector(SETTINGS).take({"milk": (np.arange(3.0), np.arange(4.0))})
