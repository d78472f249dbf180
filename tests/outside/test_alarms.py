"""Alarms against the published figures and rules, each with its source and how it is known."""

from __future__ import annotations

import pytest

from api.watch.alarm_condition import Band, Condition, Side
from api.watch.alarm_rate import PRIORITY_SHARES, Call, rate_of
from api.watch.alarm_state import Action, AlarmState, State, after
from api.watch.limit_kinds import KINDS

# OPC UA Core part 9, B.1.5 (seen): a high alarm is on at x >= L and off at x < L - DB.
OPC_SEQUENCE = [(84.9, False), (85.0, True), (84.6, True), (84.5, True), (84.4, False)]
# EEMUA 191 as reported in "Measuring alarm system effectiveness" (second hand).
STEADY_PER_10_MIN, UPSET_IN_10_MIN = 1, 10
LOW, MEDIUM, HIGH = 0.80, 0.15, 0.05
# EEMUA 191 as quoted by a supplier of safety studies (second hand): 1 % of range for a
# temperature. A pot's range is 0 to 100 degC.
TEMPERATURE_DEAD_BAND_FRACTION = 0.01
# ISA-18.2 (from memory): three of the same alarm within a minute chatter.
CHATTERING, CHATTERING_WITHIN_S = 3, 60.0


def test_dead_band_as_the_open_standard_defines_it() -> None:
    condition = Condition(Band(Side.HIGH, 85.0, 0.5))

    for second, (value, active) in enumerate(OPC_SEQUENCE):
        condition.step(float(second), value)
        assert condition.active is active


@pytest.mark.parametrize(
    ("state", "action", "then"),
    [
        # ISA-18.2 and IEC 62682, the state model (from memory).
        (State.NORMAL, Action.RAISED, State.UNACKNOWLEDGED),
        (State.UNACKNOWLEDGED, Action.ACKNOWLEDGED, State.ACKNOWLEDGED),
        (State.UNACKNOWLEDGED, Action.RETURNED, State.RETURNED),
        (State.ACKNOWLEDGED, Action.RETURNED, State.NORMAL),
        (State.ACKNOWLEDGED, Action.RE_ALARMED, State.UNACKNOWLEDGED),
        (State.RETURNED, Action.ACKNOWLEDGED, State.NORMAL),
        (State.RETURNED, Action.RAISED, State.UNACKNOWLEDGED),
    ],
)
def test_each_arrow_of_the_published_state_model(state: State, action: Action, then: State) -> None:
    alarms = {
        State.NORMAL: AlarmState(),
        State.UNACKNOWLEDGED: AlarmState(active=True, acknowledged=False),
        State.ACKNOWLEDGED: AlarmState(active=True),
        State.RETURNED: AlarmState(acknowledged=False),
    }
    assert alarms[state].state is state

    assert after(alarms[state], action, 1.0).state is then


def test_the_rate_is_told_against_the_published_figures() -> None:
    def calls(count: int) -> list[Call]:
        return [Call(f"alarm {n}", 1000.0 + n, "low") for n in range(count)]

    now_s = 1000.0 + 300.0
    assert rate_of(calls(STEADY_PER_10_MIN), now_s).words == "manageable"
    assert rate_of(calls(STEADY_PER_10_MIN + 1), now_s).words == "more than is manageable for long"
    assert "flood" not in rate_of(calls(UPSET_IN_10_MIN), now_s).words
    assert rate_of(calls(UPSET_IN_10_MIN + 1), now_s).words.startswith("a flood")


def test_three_of_one_alarm_within_a_minute_are_called_chattering() -> None:
    step_s = CHATTERING_WITHIN_S / CHATTERING

    def chattering(every_s: float) -> tuple[str, ...]:
        calls = [Call("foam", n * every_s, "high") for n in range(CHATTERING)]
        return rate_of([*calls, Call("other", 5.0, "low")], 200.0).chattering

    assert chattering(step_s) == ("foam",)
    assert chattering(CHATTERING_WITHIN_S) == ()


def test_a_day_counts_the_last_24_hours_and_its_busiest_ten_minutes() -> None:
    day_s = 24 * 3600.0
    calls = [Call("a", 10.0, "low"), *(Call(f"b{n}", 5000.0 + 60.0 * n, "low") for n in range(20))]

    rate = rate_of(calls, day_s + 20.0)

    assert (rate.last_day, rate.busiest_10_min, rate.last_10_min) == (20, 10, 0)


def test_shares_of_priorities_are_those_of_the_source() -> None:
    assert PRIORITY_SHARES == {"low": LOW, "medium": MEDIUM, "high": HIGH}
    calls = [
        Call("x", 1.0, p) for p, n in (("low", 16), ("medium", 3), ("high", 1)) for _ in range(n)
    ]

    assert rate_of(calls, 2.0).shares == PRIORITY_SHARES


def test_dead_bands_of_temperature_limits_keep_to_the_published_start() -> None:
    """Half of it at the least: the pot moves by less while the maker reaches for the ladle."""
    start_k = TEMPERATURE_DEAD_BAND_FRACTION * 100.0
    bands = [kind.dead_band for kind in KINDS.values() if kind.unit == "degC"]

    assert bands
    assert all(0.5 * start_k <= dead_band <= 2.0 * start_k for dead_band in bands)
