# SPDX-License-Identifier: MIT
"""The verdict on a hold: what counts, what doesn't, and what can't be shown."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from api.process.curves import Curve, Floats
from api.process.holds import Basis, HoldResult, HoldSpec, Unusable, judge_hold
from api.process.quantities import NotShown, Quantity, Verdict

T0 = 1_700_000_000.0
STAND = HoldSpec("stand", 900.0, low_degc=65.0, start="cover", end="ladle")
QUALITY = replace(STAND, basis=Basis.QUALITY)
BOIL = HoldSpec("boil", 600.0, below_boiling_k=2.0, end=None)


def readings(time_s: Floats, value: Floats | float) -> Curve:
    return Curve(
        T0 + time_s,
        np.broadcast_to(np.asarray(value, dtype=float), time_s.shape).copy(),
        u_calibration=0.2,
        resolution=0.0625,
        name="north/milk",
    )


def every_second(length_s: float, without: tuple[float, float] | None = None) -> Floats:
    time_s = np.arange(0.0, length_s)
    if without is None:
        return time_s
    return time_s[(time_s <= without[0]) | (time_s >= without[1])]


def judge(spec: HoldSpec, curve: Curve, start: float | None, end: float | None,
          now: float = 5000.0, **more: object) -> HoldResult:  # fmt: skip
    start_s, end_s = (None if t is None else T0 + t for t in (start, end))
    return judge_hold(spec, curve, start_s, end_s, T0 + now, **more)  # type: ignore[arg-type]


def test_a_hold_kept_from_mark_to_mark_is_met() -> None:
    result = judge(STAND, readings(every_second(1100), 68.0), 50, 1000)

    assert result.verdict is Verdict.MET
    assert result.held_s == pytest.approx(950.0)
    assert result.reached_s == pytest.approx(T0 + 950.0)
    assert result.entered_s == pytest.approx(T0 + 50.0)
    assert result.left_s is None
    assert result.gaps == ()
    assert result.worst is None
    assert result.required.startswith("65.0 degC or above for at least 15 min, unbroken")


def test_marks_closer_together_than_the_least_time_make_it_not_met() -> None:
    result = judge(STAND, readings(every_second(1100), 68.0), 50, 700)

    assert result.verdict is Verdict.NOT_MET
    assert any("4 min 10 s too short" in sentence for sentence in result.evidence)


def test_a_gap_of_90_s_in_a_safety_hold_is_not_shown_when_the_rest_is_too_short() -> None:
    result = judge(STAND, readings(every_second(1100, (400, 490)), 68.0), 50, 1000)

    assert result.verdict is Verdict.NOT_SHOWN
    assert result.gap_s == pytest.approx(90.0)
    assert result.longest_unbroken_s == pytest.approx(510.0)
    assert result.possible_s == pytest.approx(950.0)
    lowest = result.gaps[0].lowest_degc
    assert lowest == pytest.approx(68.0 - 0.05 * 45.0)
    assert not result.gaps[0].bridged
    assert any("Gap of 1 min 30 s" in sentence for sentence in result.evidence)


def test_added_up_safety_time_leaves_the_gap_out() -> None:
    added = replace(STAND, unbroken=False)
    curve = readings(every_second(1100, (400, 490)), 68.0)

    assert judge(added, curve, 50, 1000).verdict is Verdict.NOT_SHOWN
    assert judge(added, curve, 0, 1050).verdict is Verdict.MET
    assert judge(added, curve, 0, 1050).held_s == pytest.approx(960.0)


def test_quality_bridges_a_gap_that_can_hide_nothing() -> None:
    result = judge(QUALITY, readings(every_second(1100, (400, 490)), 68.0), 50, 1000)

    assert result.verdict is Verdict.MET
    assert result.gaps[0].bridged
    assert result.held_s == pytest.approx(950.0)
    assert result.gap_s == pytest.approx(90.0)


def test_quality_does_not_bridge_a_gap_that_could_hide_a_breach() -> None:
    """66 degC could fall by 2.25 K within 45 s and come back."""
    result = judge(QUALITY, readings(every_second(1100, (400, 490)), 66.0), 50, 1000)

    assert result.verdict is Verdict.NOT_SHOWN
    assert result.gaps[0].lowest_degc == pytest.approx(63.75)


def test_quality_does_not_bridge_a_gap_in_which_the_lid_was_off() -> None:
    curve = readings(every_second(1100, (400, 490)), 68.0)

    disturbed = judge(QUALITY, curve, 50, 1000, disturbed=[(T0 + 440, T0 + 445)])
    elsewhere = judge(QUALITY, curve, 50, 1000, disturbed=[(T0 + 600, T0 + 610)])

    assert disturbed.verdict is Verdict.NOT_SHOWN
    assert elsewhere.verdict is Verdict.MET


def test_short_dropouts_up_to_three_intervals_or_half_a_minute_are_no_gap() -> None:
    assert judge(STAND, readings(every_second(1100, (400, 429)), 68.0), 50, 1000).gaps == ()
    assert len(judge(STAND, readings(every_second(1100, (400, 431)), 68.0), 50, 1000).gaps) == 1
    slow = np.arange(0.0, 1201.0, 60.0)
    assert judge(STAND, readings(slow, 68.0), 60, 1080).verdict is Verdict.MET
    three_missing = np.delete(slow, [8, 9, 10])
    assert judge(STAND, readings(three_missing, 68.0), 60, 1080).verdict is Verdict.NOT_SHOWN


def test_safety_counts_only_what_is_inside_by_twice_the_uncertainty() -> None:
    near = readings(every_second(1100), 65.3)

    safety = judge(STAND, near, 50, 1000)
    quality = judge(QUALITY, near, 50, 1000)

    assert safety.verdict is Verdict.NOT_SHOWN
    assert safety.held_s == 0.0
    assert quality.verdict is Verdict.MET
    assert quality.margin is not None
    assert isinstance(quality.margin.temperature, Quantity)
    assert quality.margin.temperature.value == pytest.approx(0.3, abs=1e-6)


def test_safety_is_not_met_only_where_the_value_is_below_by_twice_the_uncertainty() -> None:
    assert judge(STAND, readings(every_second(1100), 64.7), 50, 1000).verdict is Verdict.NOT_SHOWN
    assert judge(STAND, readings(every_second(1100), 64.0), 50, 1000).verdict is Verdict.NOT_MET


def test_an_upper_side_is_guarded_too() -> None:
    chill = HoldSpec("cold", 900.0, high_degc=5.0, start="chill", end="end")

    assert judge(chill, readings(every_second(1100), 4.0), 50, 1000).verdict is Verdict.MET
    assert judge(chill, readings(every_second(1100), 4.8), 50, 1000).verdict is Verdict.NOT_SHOWN
    assert judge(chill, readings(every_second(1100), 6.0), 50, 1000).verdict is Verdict.NOT_MET


def test_a_dip_breaks_an_unbroken_hold_and_is_the_worst_excursion() -> None:
    time_s = every_second(1300)
    value = 68.0 - 8.0 * np.exp(-(((time_s - 500) / 40) ** 2))

    unbroken = judge(STAND, readings(time_s, value), 0, 1200)
    added = judge(replace(STAND, unbroken=False), readings(time_s, value), 0, 1200)

    assert unbroken.verdict is Verdict.NOT_MET
    assert unbroken.worst is not None
    assert unbroken.worst.value_degc == pytest.approx(60.0, abs=0.05)
    assert unbroken.worst.time_s == pytest.approx(T0 + 500.0, abs=1.0)
    assert unbroken.worst.outside_k == pytest.approx(5.0, abs=0.05)
    assert added.verdict is Verdict.MET
    assert unbroken.margin is not None
    assert isinstance(unbroken.margin.temperature, Quantity)
    assert unbroken.margin.temperature.value < 0


def test_before_its_end_a_hold_is_running_until_enough_is_shown() -> None:
    curve = readings(every_second(1100), 68.0)

    early = judge(STAND, curve, 50, None, now=600)
    late = judge(STAND, curve, 50, None, now=1000)
    unknown_end = judge(STAND, curve, 50, 2000, now=600)

    assert early.verdict is Verdict.RUNNING
    assert early.held_s == pytest.approx(550.0)
    assert early.ended_s is None
    assert any("5 min 50 s of the least time is left" in s for s in early.evidence)
    assert late.verdict is Verdict.MET
    assert unknown_end.verdict is Verdict.RUNNING


def test_readings_after_now_are_not_looked_at() -> None:
    time_s = every_second(1100)
    falls_later = np.where(time_s <= 600, 68.0, 20.0)

    assert judge(STAND, readings(time_s, falls_later), 50, None, now=600).held_s == pytest.approx(
        judge(STAND, readings(time_s, 68.0), 50, None, now=600).held_s
    )


def test_an_unmarked_start_is_running_before_the_end_and_not_shown_after() -> None:
    curve = readings(every_second(1100), 68.0)

    before = judge(STAND, curve, None, None)
    after = judge(STAND, curve, None, 1000)

    assert before.verdict is Verdict.RUNNING
    assert before.started_s is None
    assert after.verdict is Verdict.NOT_SHOWN
    assert "no cover is marked" in after.evidence[0]


def test_marks_without_readings_show_nothing() -> None:
    none = readings(np.array([]), 0.0)
    later = readings(np.arange(2000.0, 2100.0), 68.0)

    for curve in (none, later):
        result = judge(STAND, curve, 50, 1000)
        assert result.verdict is Verdict.NOT_SHOWN
        assert result.held_s == 0.0
        assert result.gap_s == pytest.approx(950.0)
    assert judge(BOIL, none, None, 1000, boiling=Quantity(99.0, "degC", 0.1, "table")).evidence


def test_an_end_before_the_start_is_not_shown() -> None:
    result = judge(STAND, readings(every_second(1100), 68.0), 900, 100)

    assert result.verdict is Verdict.NOT_SHOWN
    assert "does not lie after its start" in result.evidence[0]


def test_a_boil_starts_where_the_band_is_first_entered() -> None:
    time_s = every_second(2000)
    value = np.interp(time_s, [0, 800, 1500, 1700, 2000], [20.0, 99.5, 99.5, 90.0, 85.0])
    boiling = Quantity(99.2, "degC", 0.1, "altitude 230 m")

    result = judge(BOIL, readings(time_s, value), None, 1990, boiling=boiling)

    assert result.verdict is Verdict.MET
    assert result.entered_s == pytest.approx(T0 + 800 * (97.2 - 20.0) / 79.5, abs=0.01)
    assert result.left_s == pytest.approx(T0 + 1500 + 200 * 2.3 / 9.5, abs=0.01)
    assert result.started_s == result.entered_s
    assert result.worst is None
    assert "2.0 K below the local boiling point" in result.required


def test_a_band_below_boiling_needs_the_boiling_point() -> None:
    curve = readings(every_second(2000), 99.5)

    assert judge(BOIL, curve, None, 1990).verdict is Verdict.NOT_SHOWN
    why = judge(BOIL, curve, None, 1990, boiling=NotShown("No altitude is set.")).evidence[0]
    assert "No altitude is set." in why


def test_a_boil_that_was_cut_short_is_not_met_though_nobody_read_before_the_probe_was_in() -> None:
    time_s = every_second(2000)
    value = np.interp(time_s, [0, 800, 1100, 1200, 2000], [20.0, 99.5, 99.5, 85.0, 60.0])

    boiling = Quantity(99.2, "degC", 0.1, "altitude")
    result = judge(BOIL, readings(time_s, value), -3000, 2500, boiling=boiling)

    assert result.verdict is Verdict.NOT_MET


def test_a_hold_may_be_too_long() -> None:
    short = HoldSpec("simmer", 60.0, low_degc=80.0, longest_s=300.0, start="heat", end="addition")

    assert judge(short, readings(every_second(600), 85.0), 50, 250).verdict is Verdict.MET
    assert judge(short, readings(every_second(600), 85.0), 50, 450).verdict is Verdict.NOT_MET
    assert judge(short, readings(every_second(600), 85.0), 50, None, 200).verdict is Verdict.RUNNING
    already = judge(short, readings(every_second(600), 85.0), 50, None, 500)
    assert already.verdict is Verdict.NOT_MET
    doubtful = judge(short, readings(every_second(600, (200, 330)), 85.0), 50, 450)
    assert doubtful.verdict is Verdict.NOT_SHOWN


def test_a_clock_step_is_never_joined_across_and_never_called_too_short() -> None:
    step = Unusable(T0 + 400, T0 + 400, "clock step", time_uncertain=True)
    curve = readings(every_second(1100), 68.0)

    across = judge(STAND, curve, 50, 1000, unusable=[step])
    beside = judge(STAND, readings(every_second(1500), 68.0), 50, 1450, unusable=[step])
    short = judge(STAND, curve, 50, 700, unusable=[step])

    assert across.verdict is Verdict.NOT_SHOWN
    assert across.gaps[0].reason == "clock step"
    assert beside.verdict is Verdict.MET
    assert short.verdict is Verdict.NOT_SHOWN
    assert judge(QUALITY, curve, 50, 1000, unusable=[step]).verdict is Verdict.NOT_SHOWN


def test_a_lifted_probe_is_a_gap_with_its_reason_whatever_it_showed() -> None:
    lifted = Unusable(T0 + 400, T0 + 450, "probe lifted")
    time_s = every_second(1100)
    value = np.where((time_s >= 400) & (time_s <= 450), 30.0, 68.0)

    result = judge(STAND, readings(time_s, value), 50, 1000, unusable=[lifted])

    assert result.verdict is Verdict.NOT_SHOWN
    assert result.worst is None
    assert result.gaps[0].reason == "probe lifted"
    assert result.gaps[0].length_s == pytest.approx(52.0)


def test_a_thermometer_without_stated_uncertainty_is_said_to_have_none() -> None:
    curve = replace(readings(every_second(1100), 68.0), u_calibration=0.0)

    result = judge(STAND, curve, 50, 1000)

    assert any("no uncertainty of the thermometer is stated" in s for s in result.evidence)
