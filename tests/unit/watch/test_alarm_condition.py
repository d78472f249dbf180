"""Dead-band and delays: no single reading raises or ends an alarm, and none chatters."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.watch.alarm_condition import GAP_S, Band, Condition, Side, Trend


def changes(condition: Condition, values: list[float], every_s: float = 1.0) -> list[int]:
    """At which values the condition changes, counted from 0."""
    return [i for i, v in enumerate(values) if condition.step(i * every_s, v)]


def test_a_low_alarm_follows_dead_band_and_delays() -> None:
    """A low limit of 85 with a dead-band of 0.5 K and delays of 10 s (computed by hand)."""
    condition = Condition(Band(Side.LOW, 85.0, 0.5, 10.0, 10.0))
    parts = [
        [86.0] * 5, [84.9] * 9, [85.1], [84.9] * 11, [85.3] * 20, [85.6] * 9, [85.2], [85.6] * 11,
    ]  # fmt: skip
    values = [value for part in parts for value in part]

    found = changes(condition, values)

    assert found == [5 + 9 + 1 + 11 - 1, len(values) - 1]


def test_a_high_alarm_is_on_at_its_limit_and_off_below_the_dead_band() -> None:
    condition = Condition(Band(Side.HIGH, 82.0, 1.0))

    assert changes(condition, [81.9, 82.0, 81.5, 81.0, 80.9]) == [1, 4]


def test_a_silence_does_not_count_as_time_well_inside() -> None:
    condition = Condition(Band(Side.HIGH, 82.0, 1.0, 0.0, 60.0), active=True)

    assert not condition.step(0.0, 80.0)
    assert not condition.step(GAP_S + 31.0, 80.0)
    assert condition.active
    assert not condition.step(GAP_S + 60.0, 80.0)
    assert condition.step(GAP_S + 90.0, 80.0) or condition.step(GAP_S + 92.0, 80.0)


def test_a_silence_counts_as_time_beyond_the_limit() -> None:
    condition = Condition(Band(Side.LOW, 60.0, 1.0, 10.0, 10.0))

    condition.step(0.0, 59.0)

    assert condition.step(300.0, 59.0)


values = st.lists(st.floats(70.0, 100.0), min_size=1, max_size=300)
delays = st.floats(0.0, 30.0)


@given(values, delays, delays, st.sampled_from(list(Side)), st.floats(0.0, 5.0))
def test_it_can_not_change_more_often_than_its_delays_allow(
    said: list[float], on_s: float, off_s: float, side: Side, dead_band: float
) -> None:
    found = changes(Condition(Band(side, 85.0, dead_band, on_s, off_s)), said)

    raises = math.ceil(len(found) / 2)
    # The first reading beyond the limit begins a delay; the readings are a second apart.
    shortest_cycle_s = math.ceil(on_s) + math.ceil(off_s) + 2
    assert raises <= 1 + (len(said) - 1) / shortest_cycle_s


@given(values, st.sampled_from(list(Side)), st.floats(0.5, 5.0))
def test_it_does_not_change_while_the_value_stays_within_the_dead_band(
    said: list[float], side: Side, dead_band: float
) -> None:
    condition = Condition(Band(side, 85.0, dead_band))
    for i, value in enumerate(said):
        before = condition.active
        changed = condition.step(float(i), value)
        assert condition.active is (before ^ changed)
        inside_k = 85.0 - value if side is Side.HIGH else value - 85.0
        if changed:
            assert inside_k > dead_band - 1e-9 if before else inside_k <= 0.0


def test_noise_at_the_limit_raises_once() -> None:
    noise = np.random.default_rng(3).normal(0.0, 0.1, 3600)
    condition = Condition(Band(Side.LOW, 85.0, 0.5, 10.0, 10.0))

    found = changes(
        condition, list(np.r_[np.linspace(87.0, 84.9, 600), np.full(3000, 84.9)] + noise)
    )

    assert len(found) == 1


def test_a_trend_sees_a_slow_rise_through_noise_and_none_on_a_level() -> None:
    """A steady slope moves by itself times the span (definition)."""
    noise = np.random.default_rng(5).normal(0.0, 0.1, 120)
    rising, level = Trend(60.0), Trend(60.0)

    for i in range(120):
        moved = rising.step(float(i), 80.0 + i * 1.5 / 60.0 + noise[i])
        rest = level.step(float(i), 80.0 + noise[i])

    assert moved == pytest.approx(1.5, abs=0.15)
    assert rest == pytest.approx(0.0, abs=0.15)


def test_a_trend_says_nothing_across_a_silence() -> None:
    trend = Trend(60.0)
    for i in range(60):
        trend.step(float(i), 80.0)

    assert trend.step(200.0, 60.0) is None
