# SPDX-License-Identifier: MIT
from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from api.process.curves import Curve
from api.process.heat_treatment import heat_treatment, highest, time_at_or_above
from api.process.ingredient_rows import Status
from api.process.lethality import (
    NON_PROTEOLYTIC_BOTULINUM,
    VEGETATIVE_PATHOGENS,
    Reference,
    equivalent_hold_s,
    lethality_s,
)
from api.process.quantities import NotShown, Quantity, Verdict
from collector.errors import ProcessError


def at(degc: float, minutes: float = 12.0, u_calibration: float = 0.0) -> Curve:
    """A hold at one temperature, read each second."""
    time_s = np.arange(0.0, 60.0 * minutes + 0.5)
    return Curve(time_s, np.full(time_s.size, degc), u_calibration, name="milk")


def without(curve: Curve, from_s: float, to_s: float) -> Curve:
    keep = (curve.time_s <= from_s) | (curve.time_s >= to_s)
    return replace(curve, time_s=curve.time_s[keep], value=curve.value[keep])


def test_a_hold_at_the_reference_counts_minute_for_minute() -> None:
    result = heat_treatment(at(90.0), NON_PROTEOLYTIC_BOTULINUM)

    assert isinstance(result.equivalent, Quantity)
    assert result.equivalent.value == pytest.approx(720.0)
    assert result.verdict is Verdict.MET
    assert result.gap_s == 0.0


def test_an_error_of_the_probe_is_a_factor() -> None:
    result = heat_treatment(at(90.0, u_calibration=0.5), NON_PROTEOLYTIC_BOTULINUM)

    # 1 K at z 9 below and z 10 above.
    assert result.at_least_s == pytest.approx(720.0 * 10 ** (-1 / 9), rel=1e-6)
    assert result.at_most_s == pytest.approx(720.0 * 10 ** (1 / 10), rel=1e-6)
    assert result.verdict is Verdict.NOT_SHOWN


def test_too_little_heat_is_not_met_only_where_no_gap_could_hide_more() -> None:
    short = at(80.0, minutes=20.0)
    whole = heat_treatment(short, NON_PROTEOLYTIC_BOTULINUM)
    gap = heat_treatment(without(short, 300.0, 400.0), NON_PROTEOLYTIC_BOTULINUM)

    assert whole.verdict is Verdict.NOT_MET
    assert gap.verdict is Verdict.NOT_SHOWN
    assert "100 s in gaps" in gap.why


def test_nothing_is_counted_in_a_gap() -> None:
    gap = heat_treatment(without(at(95.0), 100.0, 400.0), NON_PROTEOLYTIC_BOTULINUM)

    assert isinstance(gap.equivalent, Quantity)
    assert gap.equivalent.value == pytest.approx(420.0 * 10**0.5, rel=1e-9)
    assert gap.gap_s == 300.0


def test_figures_that_nobody_has_read_decide_nothing() -> None:
    result = heat_treatment(at(95.0), VEGETATIVE_PATHOGENS)

    assert result.verdict is Verdict.NOT_SHOWN
    assert "second hand" in result.why
    assert isinstance(result.equivalent, Quantity)


def test_milk_below_the_floor_counts_nothing() -> None:
    result = heat_treatment(at(69.0, minutes=600.0), NON_PROTEOLYTIC_BOTULINUM)

    assert isinstance(result.equivalent, Quantity)
    assert result.equivalent.value == 0.0
    assert equivalent_hold_s(NON_PROTEOLYTIC_BOTULINUM, 69.0) == float("inf")


def test_single_readings_show_nothing() -> None:
    nothing = Curve(np.empty(0), np.empty(0))
    sparse = Curve(np.array([0.0, 600.0]), np.array([95.0, 95.0]))
    far = without(at(95.0), 1.0, 700.0).between(0.0, 702.0)

    assert heat_treatment(nothing, NON_PROTEOLYTIC_BOTULINUM).verdict is Verdict.NOT_SHOWN
    assert isinstance(highest(sparse), NotShown)
    assert heat_treatment(far, NON_PROTEOLYTIC_BOTULINUM).gap_s == 699.0
    assert lethality_s(NON_PROTEOLYTIC_BOTULINUM, np.array([1.0]), np.array([95.0])).size == 0


def test_the_highest_temperature_is_no_single_spike() -> None:
    curve = at(94.0)
    curve.value[100] = 120.0
    result = highest(curve)

    assert isinstance(result, Quantity)
    assert result.value == 94.0


def test_time_above_a_limit_runs_between_the_crossings() -> None:
    time_s = np.arange(0.0, 601.0)
    value = np.interp(time_s, [0.0, 200.0, 400.0, 600.0], [85.0, 95.0, 95.0, 85.0])
    result = time_at_or_above(Curve(time_s, value, time_constant_s=0.001), 90.0)

    assert isinstance(result, Quantity)
    assert result.value == pytest.approx(400.0, abs=0.1)
    assert result.u < 1.0


def test_time_above_a_limit_leaves_gaps_out_and_knows_its_doubt() -> None:
    sure = time_at_or_above(without(at(95.0), 100.0, 400.0), 90.0)
    unsure = time_at_or_above(at(90.2, u_calibration=0.3), 90.0)

    assert isinstance(sure, Quantity)
    assert sure.value == pytest.approx(420.0)
    assert isinstance(unsure, Quantity)
    assert unsure.value == pytest.approx(720.0)
    assert unsure.u == pytest.approx(360.0)


def test_a_reference_that_makes_no_sense_is_refused() -> None:
    with pytest.raises(ProcessError, match="above 0"):
        Reference("odd", 70.0, 0.0, 7.5, 120.0, 60.0, "test", Status.COMPUTED)
    with pytest.raises(ProcessError, match="floor"):
        Reference("odd", 70.0, 7.5, 7.5, 120.0, 80.0, "test", Status.COMPUTED)
