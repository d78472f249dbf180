"""What differed between two batches, tasting scores, effects and aligned curves."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.process.alignment import aligned_on_temperature, aligned_on_time, aligned_per_kg
from api.process.comparison import Fact, Group, compare, standing_out
from api.process.curves import Curve
from api.process.effects import effect_of
from api.process.quantities import NotShown, Quantity
from api.process.tasting import Scale, Score, mean_scores
from collector.errors import ProcessError

FIRM = Scale(1, 9, "soft", "hard")


def fact(name: str, value: float, u: float, unit: str = "kg", group: Group = Group.INPUT) -> Fact:
    return Fact(group, name, Quantity(value, unit, u, "weighed", (f"weighing {name}",)))


def test_only_what_is_larger_than_its_uncertainty_stands_out() -> None:
    first = [fact("dry", 1.000, 0.002), fact("water", 6.0, 0.02)]
    second = [fact("dry", 1.003, 0.002), fact("water", 6.5, 0.02)]

    found = compare(first, second)

    assert [(one.name, one.stands_out) for one in found] == [("dry", False), ("water", True)]
    assert "within twice" in found[0].summary
    assert "0.5 kg more (6 to 6.5 kg), beyond twice" in found[1].summary
    assert isinstance(found[1].difference, Quantity)
    assert found[1].difference.sources == ("weighing water",)


def test_words_stand_out_where_they_differ() -> None:
    pairs = compare(
        [Fact(Group.INPUT, "coagulant", "gypsum"), Fact(Group.INPUT, "pot", "North")],
        [Fact(Group.INPUT, "coagulant", "nigari"), Fact(Group.INPUT, "pot", "North")],
    )

    assert [one.stands_out for one in pairs] == [True, False]
    assert [one.summary for one in pairs] == [
        "coagulant: gypsum, then nigari",
        "pot: North in both",
    ]


def test_what_only_one_batch_tells_is_said_and_what_none_tells_is_left_out() -> None:
    why = NotShown("no probe in the block")
    first = [Fact(Group.PROCESS, "chilling", why), fact("block", 2.0, 0.01)]
    second = [Fact(Group.PROCESS, "chilling", why)]

    found = compare(first, second)

    assert [one.name for one in found] == ["block"]
    assert found[0].difference == NotShown("It is not said of this batch.")
    assert not found[0].stands_out


def test_the_order_is_inputs_process_outcome_and_the_clearest_comes_first() -> None:
    first = [fact("yield", 2.0, 0.1, "kg/kg", Group.OUTCOME), fact("dry", 1.0, 0.01)]
    second = [fact("yield", 2.5, 0.1, "kg/kg", Group.OUTCOME), fact("dry", 1.5, 0.01)]

    found = compare(first, second)

    assert [one.name for one in found] == ["dry", "yield"]
    assert [one.name for one in standing_out(found)] == ["dry", "yield"]


def test_units_that_differ_are_no_difference() -> None:
    found = compare([fact("cost", 1.0, 0.0, "EUR")], [fact("cost", 1.1, 0.0, "USD")])[0]

    assert found.difference == NotShown("One is in EUR, the other in USD.")
    assert not found.stands_out


def test_a_difference_of_temperatures_is_in_kelvin_and_exact_values_may_differ() -> None:
    found = compare([fact("target", 80.0, 0.0, "degC")], [fact("target", 82.0, 0.0, "degC")])[0]

    assert isinstance(found.difference, Quantity)
    assert (found.difference.value, found.difference.unit) == (2.0, "K")
    assert found.z == math.inf
    assert found.stands_out


@given(st.floats(-100, 100), st.floats(-100, 100), st.floats(0.01, 10), st.floats(0.01, 10))
def test_swapping_the_batches_turns_the_sign_and_nothing_else(
    a: float, b: float, u_a: float, u_b: float
) -> None:
    there = compare([fact("x", a, u_a)], [fact("x", b, u_b)])[0]
    back = compare([fact("x", b, u_b)], [fact("x", a, u_a)])[0]

    assert isinstance(there.difference, Quantity)
    assert isinstance(back.difference, Quantity)
    assert there.difference.value == -back.difference.value
    assert (there.z, there.stands_out) == (back.z, back.stands_out)


def test_scores_are_averaged_by_attribute_on_their_one_scale() -> None:
    scores = [
        Score("firmness", 6, FIRM),
        Score("firmness", 8, FIRM),
        Score("liking", 3, Scale(1, 5)),
    ]

    firmness, liking = mean_scores(scores)

    assert isinstance(firmness.mean, Quantity)
    # s = sqrt 2, and a step of one: u = sqrt(2 + 1/12) / sqrt 2, by hand.
    assert (firmness.mean.value, firmness.count) == (7.0, 2)
    assert firmness.mean.u == pytest.approx(math.sqrt((2 + 1 / 12) / 2))
    assert isinstance(liking.mean, Quantity)
    assert liking.mean.u == pytest.approx(1 / math.sqrt(3))


def test_scores_on_two_scales_are_never_averaged() -> None:
    found = mean_scores([Score("firmness", 6, FIRM), Score("firmness", 60, Scale(0, 100))])[0]

    assert isinstance(found.mean, NotShown)
    assert "several scales (0 to 100, 1 to 9)" in found.mean.why
    assert mean_scores([]) == ()


def test_a_score_outside_its_scale_and_a_scale_that_does_not_rise_are_refused() -> None:
    with pytest.raises(ProcessError, match="outside its scale"):
        Score("firmness", 10, FIRM)
    with pytest.raises(ProcessError, match="is none"):
        Scale(5, 5)


def test_two_batches_of_each_way_are_too_few_for_an_effect() -> None:
    found = effect_of([1.0, 2.0], [3.0, 4.0, 5.0], "kg")

    assert found.interval is None
    assert isinstance(found.difference, NotShown)
    assert "too few" in found.difference.why
    with pytest.raises(ProcessError, match="not a figure"):
        effect_of([1.0, math.nan, 2.0], [1.0, 2.0, 3.0], "kg")


def test_ways_without_any_spread_have_a_difference_but_no_standardised_effect() -> None:
    found = effect_of([1.0] * 3, [2.0] * 3, "kg")

    assert isinstance(found.difference, Quantity)
    assert (found.difference.value, found.interval) == (1.0, (1.0, 1.0))
    assert isinstance(found.standardised, NotShown)


def rise(start_s: float, rate: float) -> Curve:
    time_s = start_s + np.arange(0.0, 600.0, 10.0)
    return Curve(time_s, 20.0 + rate * (time_s - start_s))


def test_curves_meet_where_they_rise_through_the_same_temperature() -> None:
    for curve, zero_s in ((rise(1000.0, 0.1), 1400.0), (rise(5000.0, 0.2), 5200.0)):
        aligned = aligned_on_temperature(curve, 60.0)
        assert not isinstance(aligned, NotShown)
        assert aligned.zero_s == pytest.approx(zero_s)
        assert float(np.interp(0.0, aligned.x, aligned.value)) == pytest.approx(60.0)


def test_a_curve_that_never_rises_through_it_says_so() -> None:
    assert aligned_on_temperature(rise(0.0, 0.01), 60.0) == NotShown(
        "It never rose through 60 degC."
    )
    assert isinstance(aligned_on_temperature(Curve(np.array([]), np.array([])), 60.0), NotShown)


def test_time_for_each_kilogram_lays_pots_of_equal_power_a_kilogram_on_one_line() -> None:
    small, large = (
        aligned_per_kg(rise(0.0, 0.1), 0.0, 3.0),
        aligned_per_kg(rise(9.0, 0.05), 9.0, 6.0),
    )

    assert np.interp(50.0, small.x, small.value) == pytest.approx(
        np.interp(50.0, large.x, large.value)
    )
    assert small.x_unit == "s/kg"
    assert aligned_on_time(rise(9.0, 0.1), 9.0).x[0] == 0.0
    with pytest.raises(ProcessError, match="0 kg"):
        aligned_per_kg(rise(0.0, 0.1), 0.0, 0.0)
