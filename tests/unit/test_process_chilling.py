# SPDX-License-Identifier: MIT
from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from api.process.chill_rules import (
    CODEX_PRECOOKED,
    UK_ADVICE,
    US_FROM_ROOM_TEMPERATURE,
    US_TWO_STAGE,
    ChillLimit,
    ChillRule,
)
from api.process.chilling import chilling
from api.process.cooling_forecast import forecast
from api.process.curves import Curve
from api.process.ingredient_rows import Status
from api.process.newton_cooling import rate_constant, time_to_reach
from api.process.quantities import NotShown, Quantity, Verdict
from collector.errors import ProcessError

MIN = 60.0


def core(*points: tuple[float, float], every_s: float = 30.0, u: float = 0.1) -> Curve:
    """Straight lines through (minute, degC)."""
    minutes, degc = np.array(points, dtype=np.float64).T
    time_s = np.arange(minutes[0] * MIN, minutes[-1] * MIN + 1.0, every_s)
    return Curve(time_s, np.interp(time_s, minutes * MIN, degc), u, time_constant_s=5.0)


GOOD = core((0, 75), (20, 57), (90, 21), (240, 5), (260, 4))


def without(curve: Curve, from_min: float, to_min: float) -> Curve:
    keep = (curve.time_s < from_min * MIN) | (curve.time_s > to_min * MIN)
    return replace(curve, time_s=curve.time_s[keep], value=curve.value[keep])


def test_each_leg_is_timed_from_the_last_fall_through_the_start() -> None:
    result = chilling(GOOD, US_TWO_STAGE, now_s=1e6)

    assert result.verdict is Verdict.MET
    assert isinstance(result.start, Quantity)
    assert result.start.value == pytest.approx(20 * MIN, abs=30)
    first, second = result.legs
    assert isinstance(first.took, Quantity)
    assert first.took.value == pytest.approx(70 * MIN, abs=30)
    assert isinstance(second.took, Quantity)
    assert second.took.value == pytest.approx(220 * MIN, abs=60)


def test_a_leg_that_takes_too_long_is_not_met() -> None:
    slow = core((0, 75), (20, 57), (160, 21), (350, 4))
    result = chilling(slow, US_TWO_STAGE, now_s=1e6)

    assert [leg.verdict for leg in result.legs] == [Verdict.NOT_MET, Verdict.MET]
    assert result.verdict is Verdict.NOT_MET
    assert "21 degC within 120 min" in result.why


def test_a_chill_under_way_is_running_until_its_time_is_over() -> None:
    begun = core((0, 75), (20, 57), (60, 35))

    assert chilling(begun, US_TWO_STAGE, now_s=60 * MIN).verdict is Verdict.RUNNING
    # The readings stop: nothing shows that it was not reached.
    stopped = chilling(begun, US_TWO_STAGE, now_s=600 * MIN)
    assert stopped.verdict is Verdict.NOT_SHOWN
    assert math.isinf(stopped.legs[0].at_most_s)


def test_a_core_that_is_still_warm_when_its_time_is_over_is_not_met() -> None:
    warm = core((0, 75), (20, 57), (200, 30))

    assert chilling(warm, US_TWO_STAGE, now_s=200 * MIN).legs[0].verdict is Verdict.NOT_MET


def test_a_gap_over_a_limit_is_an_interval() -> None:
    tight = core((0, 75), (20, 57), (137, 21), (350, 4))
    result = chilling(without(tight, 120, 150), US_TWO_STAGE, now_s=1e6)

    leg = result.legs[0]
    assert leg.at_least_s < 120 * MIN < leg.at_most_s
    assert leg.verdict is Verdict.NOT_SHOWN
    assert chilling(without(GOOD, 85, 95), US_TWO_STAGE, now_s=1e6).verdict is Verdict.MET


def test_the_start_in_a_gap_counts_from_the_last_reading_above() -> None:
    result = chilling(without(GOOD, 5, 40), US_TWO_STAGE, now_s=1e6)

    assert result.legs[0].at_most_s == pytest.approx((90 - 5) * MIN, abs=3 * MIN)
    assert result.legs[0].at_least_s == pytest.approx((90 - 40) * MIN, abs=3 * MIN)


def test_readings_that_begin_below_the_start_need_to_know_since_when() -> None:
    late = GOOD.between(40 * MIN, 1e9)

    alone = chilling(late, US_TWO_STAGE, now_s=1e6)
    told = chilling(late, US_TWO_STAGE, earliest_start_s=0.0, now_s=1e6)

    assert alone.verdict is Verdict.NOT_SHOWN
    assert "put the probe in before" in alone.why
    assert told.verdict is Verdict.MET
    assert told.legs[0].at_most_s == pytest.approx(90 * MIN, abs=3 * MIN)
    assert told.legs[0].at_least_s == pytest.approx(50 * MIN, abs=3 * MIN)


def test_a_warming_above_the_start_and_back_counts_from_the_last_fall() -> None:
    twice = core((0, 75), (20, 50), (40, 60), (50, 57), (120, 21), (260, 4))

    result = chilling(twice, US_TWO_STAGE, now_s=1e6)

    assert isinstance(result.start, Quantity)
    assert result.start.value == pytest.approx(50 * MIN, abs=60)


def test_a_rule_that_nobody_has_read_decides_nothing() -> None:
    for rule in (UK_ADVICE, CODEX_PRECOOKED):
        result = chilling(GOOD, rule, now_s=1e6)
        assert result.verdict is Verdict.NOT_SHOWN
        assert rule.status.value in result.why


def test_food_made_cold_is_timed_from_its_making() -> None:
    cold = core((0, 20), (100, 4))

    made = chilling(cold, US_FROM_ROOM_TEMPERATURE, earliest_start_s=-60 * MIN, now_s=1e6)
    unknown = chilling(cold, US_FROM_ROOM_TEMPERATURE, now_s=1e6)

    assert made.verdict is Verdict.MET
    assert made.legs[0].at_most_s == pytest.approx((60 + 95) * MIN, abs=3 * MIN)
    assert unknown.verdict is Verdict.NOT_SHOWN


def test_a_probe_of_doubtful_calibration_shows_less() -> None:
    near = core((0, 75), (20, 57), (138, 21), (300, 4), u=1.0)

    assert chilling(near, US_TWO_STAGE, now_s=1e6).legs[0].verdict is Verdict.NOT_SHOWN


def test_without_readings_nothing_is_shown() -> None:
    nothing = Curve(np.empty(0), np.empty(0))

    result = chilling(nothing, US_TWO_STAGE, now_s=1e6)

    assert result.verdict is Verdict.NOT_SHOWN
    assert len(result.legs) == 2
    assert isinstance(result.start, NotShown)
    still = chilling(core((0, 75), (60, 70)), US_TWO_STAGE, now_s=1e6)
    assert "still above 57" in still.why


def test_rules_that_make_no_sense_are_refused() -> None:
    with pytest.raises(ProcessError, match="at least one"):
        ChillRule("odd", "nowhere", 57.0, (), "test", Status.SEEN)
    with pytest.raises(ProcessError, match="not below 57"):
        ChillRule("odd", "nowhere", 57.0, (ChillLimit(60.0, 60.0),), "test", Status.SEEN)


def test_cooling_that_cannot_be_is_refused_or_never() -> None:
    with pytest.raises(ProcessError, match="one side"):
        rate_constant(57.0, 2.0, 3.0, 60.0)
    with pytest.raises(ProcessError, match="above 0"):
        time_to_reach(57.0, 21.0, 3.0, 0.0)
    assert math.isinf(time_to_reach(57.0, 2.0, 3.0, 1e-4))


def test_a_forecast_needs_a_fall_and_may_be_never() -> None:
    flat = core((0, 20), (60, 20))
    assert isinstance(forecast(flat, 5.0), NotShown)
    assert isinstance(forecast(GOOD.between(0.0, 100.0), 5.0), NotShown)

    time_s = np.arange(0.0, 7200.0, 30.0)
    room = Curve(time_s, 15.0 + 40.0 * np.exp(-time_s / 2000.0))
    never = forecast(room, 5.0, Quantity(15.0, "degC", 0.3, "measured"))
    assert not isinstance(never, NotShown)
    assert math.isinf(never.at_s)
