from __future__ import annotations

import math
import random

import pytest

from api.watch.crossing import Crossing, Direction, Pursuit

ALWAYS = -math.inf


def followed(
    values: list[float],
    *,
    target: float = 80.0,
    approach: str | None = None,
    armed_s: float | None = ALWAYS,
    interval_s: float = 1.0,
) -> list[Crossing]:
    pursuit = Pursuit(target, approach)
    steps = (pursuit.step(i * interval_s, value, armed_s) for i, value in enumerate(values))
    return [crossing for crossing in steps if crossing is not None]


def ramp(start: float, end: float, by: float) -> list[float]:
    count = round(abs(end - start) / by)
    return [start + (end - start) * i / count for i in range(count + 1)]


def test_a_rising_pot_is_told_once_with_the_moment_between_two_readings() -> None:
    found = followed([78.0, 79.0, 79.75, 80.75, 82.0], approach="rising")

    assert [(c.direction, c.at_s, c.shown_s, c.value_degc) for c in found] == [
        (Direction.RISING, 2.25, 3.0, 80.75)
    ]


def test_a_falling_target_is_not_told_on_the_way_up() -> None:
    found = followed([*ramp(20, 98, 0.5), *ramp(98, 70, 0.25)], approach="falling")

    assert [c.direction for c in found] == [Direction.FALLING]
    assert found[0].at_s == pytest.approx(156 + 1 + (98 - 80) / 0.25)


@pytest.mark.parametrize("approach", [None, "either"])
def test_without_an_approach_it_is_read_from_the_side_the_pot_is_on(approach: str | None) -> None:
    assert [c.direction for c in followed(ramp(75, 85, 0.5), approach=approach)] == ["rising"]
    assert [c.direction for c in followed(ramp(85, 75, 0.5), approach=approach)] == ["falling"]


@pytest.mark.parametrize("seed", range(20))
def test_noise_at_the_target_tells_once(seed: int) -> None:
    noise = random.Random(seed)
    rising = [v + noise.gauss(0.0, 0.12) for v in [*ramp(70, 80, 0.05), *[80.0] * 600]]

    found = followed(rising)

    assert [c.direction for c in found] == [Direction.RISING]
    assert found[0].value_degc == pytest.approx(80.0, abs=0.6)


@pytest.mark.parametrize("seed", range(20))
def test_a_pot_that_only_stands_at_the_target_chatters_never(seed: int) -> None:
    noise = random.Random(seed)

    assert followed([80.0 + noise.gauss(0.0, 0.1) for _ in range(2000)]) == []


def test_a_pot_that_starts_just_below_is_told_as_soon_as_it_is_clear() -> None:
    found = followed([79.9, 79.95, 80.1, 80.3, 80.6, 81.0])

    assert [(c.direction, c.shown_s) for c in found] == [(Direction.RISING, 4.0)]


def test_a_pot_that_starts_just_above_and_rises_never_reached_it() -> None:
    assert followed([80.1, 80.3, 80.6, 81.0, 85.0]) == []


def test_the_dip_of_the_pour_is_no_second_approach() -> None:
    found = followed([*ramp(70, 82, 0.5), *ramp(82, 77, 0.5), *[77.0] * 20])

    assert [c.direction for c in found] == [Direction.RISING]


def test_milk_that_was_boiled_reaches_it_again_from_above() -> None:
    found = followed([*ramp(70, 98, 0.5), *ramp(98, 75, 0.5)])

    assert [c.direction for c in found] == [Direction.RISING, Direction.FALLING]


def test_each_direction_is_told_once_however_often_it_is_crossed() -> None:
    wave = [*ramp(70, 90, 1), *ramp(90, 70, 1)] * 4

    assert [c.direction for c in followed(wave)] == [Direction.RISING, Direction.FALLING]


def test_a_target_that_is_not_armed_tells_nothing() -> None:
    assert followed([*ramp(70, 98, 1), *ramp(98, 70, 1)], armed_s=None) == []


def test_a_crossing_before_arming_does_not_count() -> None:
    curve = [*ramp(70, 98, 1), *ramp(98, 75, 1), *ramp(75, 98, 1), *ramp(98, 75, 1)]

    found = followed(curve, approach="falling", armed_s=280.0, interval_s=4.0)

    assert [(c.direction, c.at_s, c.already) for c in found] == [("falling", 380.0, False)]


def test_a_pot_that_is_below_when_the_target_is_armed_is_told_so() -> None:
    found = followed(
        [*ramp(98, 78, 1), *[78.0] * 10], approach="falling", armed_s=102.0, interval_s=4.0
    )

    assert [(c.already, c.at_s, c.value_degc) for c in found] == [(True, 102.0, 78.0)]


def test_arming_between_the_two_readings_of_a_crossing_is_not_missed() -> None:
    found = followed([84.0, 81.0, 79.0, 78.0], approach="falling", armed_s=18.0, interval_s=10.0)

    assert [c.already for c in found] == [True]


def test_a_reading_exactly_at_the_target_reaches_it() -> None:
    found = followed([79.0, 80.0, 80.0, 81.0], approach="rising")

    assert [c.at_s for c in found] == [1.0]


def lifted(from_degc: float, seconds: int, time_constant_s: float) -> list[float]:
    return [21.5 + (from_degc - 21.5) * math.exp(-i / time_constant_s) for i in range(seconds)]


@pytest.mark.parametrize("time_constant_s", [5.0, 12.0, 30.0, 60.0])
def test_a_probe_lifted_out_of_the_hot_milk_is_no_fall_to_the_target(
    time_constant_s: float,
) -> None:
    hot = ramp(99.0, 95.0, 0.02)
    back = [95.0 - (95.0 - 30.0) * math.exp(-i / time_constant_s) for i in range(400)]
    cooling = ramp(95.0, 76.0, 0.02)

    found = followed(
        [*hot, *lifted(95.0, 90, time_constant_s), *back, *cooling], approach="falling"
    )

    assert [c.direction for c in found] == [Direction.FALLING]
    expected_s = len(hot) + 90 + 400 + (95.0 - 80.0) / 0.02
    assert found[0].at_s == pytest.approx(expected_s, abs=2.0)


def test_a_probe_that_stays_in_the_air_tells_nothing() -> None:
    found = followed([*ramp(99.0, 90.0, 0.05), *lifted(90.0, 900, 20.0)], approach="falling")

    assert found == []


def test_an_unmarked_pour_that_crosses_the_target_is_told_once_it_has_steadied() -> None:
    pour = [83.0 - 5.0 * min(i / 6.0, 1.0) for i in range(60)]

    found = followed([*ramp(90.0, 83.0, 0.05), *pour], approach="falling")

    assert [c.direction for c in found] == [Direction.FALLING]
