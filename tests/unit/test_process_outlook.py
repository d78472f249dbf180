# SPDX-License-Identifier: MIT
from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from api.process.curves import Curve, Floats
from api.process.outlook import Course, Expected, course_of, time_to_boil, time_to_target
from api.process.outlook_beliefs import PotKnown, Taught
from api.process.outlook_lifts import step_seen, without_lifts
from api.process.outlook_stretch import moving
from api.process.outlook_taught import Lesson, lessons_of, taught_by
from api.process.quantities import NotShown, Quantity

BOILING = Quantity(99.9, "degC", 0.2, "stated")
KNOWN = PotKnown(BOILING, milk=Quantity(3.0, "kg", 0.01, "weighed"))
START_S = 1_767_254_400.0


def curve_through(shape: Callable[[Floats], Floats], end_s: float, noise_k: float = 0.03) -> Curve:
    """Return readings each second of a course of temperature, by a probe without lag."""
    time_s = np.arange(0.0, end_s, 1.0)
    value = shape(time_s) + noise_k * np.random.default_rng(5).standard_normal(time_s.size)
    return Curve(START_S + time_s, value, time_constant_s=0.5, u_time_constant_s=0.1, name="milk")


def warming(time_s: Floats) -> Floats:
    """Return milk at 20 degC for a minute, then warmed by 5 K/min, ever more slowly."""
    on = np.maximum(time_s - 60.0, 0.0)
    return 20.0 + 400.0 * (1.0 - np.exp(-on * 5.0 / 60.0 / 400.0))


def cooling(time_s: Floats) -> Floats:
    """Return milk held at 95 degC for five minutes, then cooling."""
    off = np.maximum(time_s - 300.0, 0.0)
    return 50.0 + 45.0 * np.exp(-off / 1500.0)


def course(curve: Curve, now_s: float, known: PotKnown = KNOWN) -> Course:
    found = course_of(curve, known, START_S + now_s)
    assert isinstance(found, Course)
    return found


def expected(found: Expected | NotShown) -> Expected:
    assert isinstance(found, Expected), found
    return found


def why(found: object) -> str:
    assert isinstance(found, NotShown), found
    return found.why


def test_warming_milk_is_told_when_it_will_be_at_its_target() -> None:
    found = expected(time_to_target(course(curve_through(warming, 400.0), 399.0), 75.0, "rising"))
    true_s = START_S + 60.0 - np.log(1.0 - 55.0 / 400.0) * 400.0 * 60.0 / 5.0

    assert found.at_s == pytest.approx(true_s, abs=0.1 * (true_s - START_S - 399.0))
    assert found.earliest_s < true_s < found.latest_s


def test_cooling_milk_is_told_when_it_will_be_at_its_target_from_above() -> None:
    found = expected(time_to_target(course(curve_through(cooling, 480.0), 479.0), 84.0, "falling"))
    true_s = START_S + 300.0 - 1500.0 * np.log(34.0 / 45.0)

    assert found.at_s == pytest.approx(true_s, abs=0.1 * (true_s - START_S - 479.0))
    assert found.earliest_s < true_s < found.latest_s


def test_bounds_enclose_the_estimate_and_never_lie_in_the_past() -> None:
    curve = curve_through(warming, 700.0)
    for now_s in range(150, 700, 50):
        found = time_to_target(course(curve, now_s), 74.0, "rising")
        if isinstance(found, Expected):
            assert START_S + now_s <= found.earliest_s <= found.at_s <= found.latest_s


def test_a_forecast_does_not_look_at_later_readings() -> None:
    long = curve_through(warming, 700.0)
    short = long.between(0.0, START_S + 400.5)

    assert time_to_target(course(long, 400.0), 80.0) == time_to_target(course(short, 400.0), 80.0)


def test_the_same_readings_give_the_same_forecast() -> None:
    curve = curve_through(warming, 400.0)

    assert time_to_boil(course(curve, 399.0)) == time_to_boil(course(curve, 399.0))


def test_milk_that_stands_still_is_on_its_way_nowhere() -> None:
    curve = curve_through(lambda t: np.full_like(t, 20.0), 400.0)

    assert "neither rises nor falls" in why(course_of(curve, KNOWN, START_S + 399.0))


def test_a_falling_target_is_not_timed_before_the_milk_turns() -> None:
    found = time_to_target(course(curve_through(warming, 700.0), 699.0), 60.0, "falling")

    assert "still warming" in why(found)


def test_a_falling_target_above_the_warming_milk_waits_for_more_heat() -> None:
    found = time_to_target(course(curve_through(warming, 400.0), 399.0), 80.0, "falling")

    assert "hotter first" in why(found)


def test_a_rising_target_is_not_timed_while_the_milk_cools() -> None:
    found = time_to_target(course(curve_through(cooling, 700.0), 699.0), 97.0, "rising")

    assert "cooling" in why(found)


def test_a_target_that_is_passed_is_not_timed() -> None:
    found = time_to_target(course(curve_through(warming, 700.0), 699.0), 40.0, "rising")

    assert "already above 40 degC" in why(found)


def test_a_target_above_the_boiling_point_is_never_reached() -> None:
    found = time_to_target(course(curve_through(warming, 400.0), 399.0), 104.0, "rising")

    assert "boils here at 99.9 degC" in why(found)


def test_a_weak_heat_that_levels_off_gets_no_time() -> None:
    curve = curve_through(lambda t: 55.0 - 35.0 * np.exp(-t / 500.0), 1500.0)

    assert "levels off near" in why(time_to_target(course(curve, 1499.0), 85.0, "rising"))


def test_cooling_milk_is_not_on_its_way_to_the_boil() -> None:
    assert "to the boil" in why(time_to_boil(course(curve_through(cooling, 700.0), 699.0)))


def test_an_uncertain_boiling_point_widens_the_time_to_boil() -> None:
    curve = curve_through(warming, 700.0)
    vague = PotKnown(Quantity(99.9, "degC", 2.0, "altitude"), milk=KNOWN.milk)
    sure = expected(time_to_boil(course(curve, 699.0)))
    unsure = expected(time_to_boil(course(curve, 699.0, vague)))

    assert unsure.latest_s - unsure.earliest_s > sure.latest_s - sure.earliest_s


def test_old_readings_give_no_forecast() -> None:
    assert "no usable reading" in why(
        course_of(curve_through(warming, 400.0), KNOWN, START_S + 600.0)
    )


def test_an_empty_curve_gives_no_forecast() -> None:
    empty = Curve(np.zeros(0), np.zeros(0))

    assert "too few readings" in why(course_of(empty, KNOWN, START_S))


def test_a_stretch_begins_where_the_heat_came_and_where_the_milk_turned() -> None:
    warm, cold = (curve_through(shape, 600.0) for shape in (warming, cooling))
    rising, falling = (moving(curve, START_S + 599.0) for curve in (warm, cold))

    assert not isinstance(rising, NotShown) and not isinstance(falling, NotShown)
    assert rising.rising and rising.from_s - START_S == pytest.approx(60.0, abs=30.0)
    assert not falling.rising and falling.from_s - START_S == pytest.approx(300.0, abs=30.0)


def test_a_probe_that_was_lifted_and_put_back_moves_a_forecast_little() -> None:
    plain = curve_through(warming, 420.0)
    value = plain.value.copy()
    value[300:340] -= 25.0
    lifted = Curve(plain.time_s, value, time_constant_s=0.5, u_time_constant_s=0.1, name="milk")
    before, after = (
        expected(time_to_target(course(curve, 419.0), 75.0)) for curve in (plain, lifted)
    )

    assert after.at_s == pytest.approx(before.at_s, abs=15.0)


def test_what_lies_before_a_jump_for_good_is_left_out() -> None:
    plain = curve_through(lambda t: np.where(t < 50.0, 31.0, 10.0), 400.0)

    assert float(without_lifts(plain).value.max()) < 11.0


def test_a_gap_in_the_readings_does_not_stop_a_forecast() -> None:
    plain = curve_through(warming, 420.0)
    keep = (plain.time_s < START_S + 250.0) | (plain.time_s > START_S + 330.0)
    broken = Curve(plain.time_s[keep], plain.value[keep], time_constant_s=0.5, name="milk")

    found = expected(time_to_target(course(broken, 419.0), 75.0))
    assert found.at_s == pytest.approx(START_S + 60.0 + 710.0, rel=1e-8, abs=60.0)


def test_earlier_batches_narrow_a_forecast() -> None:
    curve = curve_through(warming, 300.0)
    taught = Taught(
        Quantity(0.0833, "K/s", 0.003, ""), Quantity(1.0e-4, "1/s", 1e-5, ""),
        Quantity(0.01, "K/s", 0.002, ""), 3,
    )  # fmt: skip
    wiser = PotKnown(BOILING, milk=KNOWN.milk, taught=taught)
    alone = expected(time_to_boil(course(curve, 299.0)))
    helped = expected(time_to_boil(course(curve, 299.0, wiser)))

    assert helped.latest_s - helped.earliest_s < alone.latest_s - alone.earliest_s
    assert "3 earlier batches of this pot" in helped.sources


def test_a_lesson_of_half_the_milk_counts_half_for_all_of_it() -> None:
    lesson = Lesson(
        1.5, Quantity(0.1, "K/s", 0.002, ""), Quantity(2e-4, "1/s", 2e-5, ""),
        Quantity(0.06, "K/s", 0.006, ""),
    )  # fmt: skip
    found = taught_by([lesson], 3.0, 1)

    assert found is not None and found.power is not None
    assert found.power.value == pytest.approx(0.05)
    assert found.loss.value == pytest.approx(1e-4)
    assert found.vapour.value == pytest.approx(0.03)
    assert found.power.u >= 0.12 * found.power.value


def test_no_lessons_teach_nothing() -> None:
    assert taught_by([], 3.0, 0) is None
    assert lessons_of(Curve(np.zeros(0), np.zeros(0)), KNOWN, None) == []


def test_batches_that_disagree_teach_less() -> None:
    def lesson(vapour: float) -> Lesson:
        return Lesson(3.0, None, Quantity(1e-4, "1/s", 1e-6, ""), Quantity(vapour, "K/s", 1e-4, ""))

    alike = taught_by([lesson(0.04), lesson(0.041)], 3.0, 2)
    unlike = taught_by([lesson(0.02), lesson(0.08)], 3.0, 2)

    assert alike is not None and unlike is not None
    assert unlike.vapour.u / unlike.vapour.value > alike.vapour.u / alike.vapour.value


def test_the_step_of_a_display_shows_in_its_readings() -> None:
    fine = curve_through(warming, 400.0).value

    assert step_seen(np.round(fine / 0.25) * 0.25) == pytest.approx(0.25)
    assert step_seen(fine) == 0.0


def test_a_probe_that_is_lifted_now_is_not_taken_for_cooling_milk() -> None:
    plain = curve_through(warming, 420.0)
    value = plain.value.copy()
    value[400:] -= np.linspace(2.0, 25.0, 20)
    lifted = Curve(plain.time_s, value, time_constant_s=0.5, u_time_constant_s=0.1, name="milk")
    found = moving(lifted, START_S + 419.0)

    assert not isinstance(found, NotShown)
    assert found.rising


def test_the_drop_by_which_stirring_begins_ends_no_stretch() -> None:
    plain = curve_through(warming, 420.0)
    value = plain.value + np.where(np.arange(420) % 100 < 60, 2.0, 0.0)
    found = moving(Curve(plain.time_s, value, name="milk"), START_S + 419.0)

    assert not isinstance(found, NotShown)
    assert found.rising and found.from_s < START_S + 170.0


def test_milk_that_is_stirred_now_and_then_is_told_by_its_lower_edge() -> None:
    plain = curve_through(warming, 420.0)
    value = plain.value + np.where(np.arange(420) % 100 < 60, 2.0, 0.0)
    still = Curve(plain.time_s, value, time_constant_s=0.5, u_time_constant_s=0.1, name="milk")
    found = expected(time_to_target(course(still, 419.0), 75.0))

    # Taken as they are, readings that are mostly 2 K too high tell it half a minute early.
    assert found.at_s == pytest.approx(START_S + 60.0 + 710.0, abs=15.0)
