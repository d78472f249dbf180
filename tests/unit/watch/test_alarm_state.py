"""The states of one alarm: what each action does, and that none of them loses an alarm."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.watch.alarm_state import Action, AlarmState, State, after, due

HIDING = {
    Action.SHELVED: (Action.UNSHELVED, Action.SHELF_ENDED),
    Action.SUPPRESSED: (Action.RELEASED,),
    Action.TAKEN_OUT: (Action.PUT_BACK,),
}


def done(*actions: Action, start: AlarmState | None = None) -> AlarmState:
    """An alarm to which these have happened, a second after each other."""
    alarm = start or AlarmState()
    for at_s, action in enumerate(actions):
        alarm = after(alarm, action, float(at_s), why="a reason", until_s=100.0)
    return alarm


@pytest.mark.parametrize(
    ("actions", "state"),
    [
        ((), State.NORMAL),
        ((Action.RAISED,), State.UNACKNOWLEDGED),
        ((Action.RAISED, Action.ACKNOWLEDGED), State.ACKNOWLEDGED),
        ((Action.RAISED, Action.ACKNOWLEDGED, Action.RETURNED), State.NORMAL),
        ((Action.RAISED, Action.RETURNED), State.RETURNED),
        ((Action.RAISED, Action.RETURNED, Action.ACKNOWLEDGED), State.NORMAL),
        ((Action.RAISED, Action.RETURNED, Action.RAISED), State.UNACKNOWLEDGED),
        ((Action.RAISED, Action.ACKNOWLEDGED, Action.RE_ALARMED), State.UNACKNOWLEDGED),
        ((Action.RAISED, Action.SHELVED), State.SHELVED),
        ((Action.RAISED, Action.SUPPRESSED), State.SUPPRESSED),
        ((Action.RAISED, Action.TAKEN_OUT), State.OUT_OF_SERVICE),
    ],
)
def test_the_states_follow_the_standards_table(actions: tuple[Action, ...], state: State) -> None:
    """ISA-18.2 and IEC 62682, state model (from memory)."""
    assert done(*actions).state is state


@pytest.mark.parametrize("hide", list(HIDING))
def test_what_is_acknowledged_comes_out_of_hiding_unacknowledged(hide: Action) -> None:
    hidden = done(Action.RAISED, Action.ACKNOWLEDGED, hide)

    for show in HIDING[hide]:
        assert after(hidden, show, 50.0).state is State.UNACKNOWLEDGED


def test_what_ended_in_hiding_is_normal_if_it_was_acknowledged_and_told_if_not() -> None:
    heard = done(Action.RAISED, Action.ACKNOWLEDGED, Action.SHELVED, Action.RETURNED)
    unheard = done(Action.RAISED, Action.SHELVED, Action.RETURNED)

    assert after(heard, Action.SHELF_ENDED, 9.0).state is State.NORMAL
    assert after(unheard, Action.SHELF_ENDED, 9.0).state is State.RETURNED


def test_an_action_that_does_not_apply_changes_nothing() -> None:
    alarm = done(Action.RAISED, Action.ACKNOWLEDGED)

    for action in (Action.RAISED, Action.ACKNOWLEDGED, Action.UNSHELVED, Action.RELEASED):
        assert after(alarm, action, 9.0) is alarm


def test_the_time_of_the_state_moves_with_the_state_only() -> None:
    alarm = after(AlarmState(), Action.RAISED, 5.0)
    shelved = after(alarm, Action.SHELVED, 6.0, until_s=60.0)
    longer = after(shelved, Action.SHELVED, 7.0, until_s=90.0)

    assert (alarm.since_s, shelved.since_s, longer.since_s) == (5.0, 6.0, 6.0)
    assert longer.shelved_until_s == 90.0


def test_a_shelved_alarm_comes_back_by_itself_when_its_time_is_over() -> None:
    shelved = after(done(Action.RAISED), Action.SHELVED, 10.0, until_s=70.0)

    assert due(shelved, 69.9, None) is None
    assert due(shelved, 70.0, None) is Action.SHELF_ENDED


def test_an_acknowledged_alarm_that_stays_alarms_again_after_its_time() -> None:
    alarm = after(done(Action.RAISED), Action.ACKNOWLEDGED, 10.0)

    assert due(alarm, 309.0, 300.0) is None
    assert due(alarm, 310.0, 300.0) is Action.RE_ALARMED
    assert due(alarm, 1e9, None) is None
    assert due(after(alarm, Action.RETURNED, 20.0), 1e9, 300.0) is None


actions = st.lists(st.sampled_from(list(Action)), max_size=40)


@given(actions)
def test_no_sequence_loses_an_alarm(sequence: list[Action]) -> None:
    """What was raised is seen as not acknowledged until somebody acknowledges it."""
    alarm = done(*sequence)
    for at_s, show in enumerate((Action.UNSHELVED, Action.RELEASED, Action.PUT_BACK)):
        alarm = after(alarm, show, 1000.0 + at_s)

    raises = [i for i, one in enumerate(sequence) if one is Action.RAISED]
    last_heard = max((i for i, a in enumerate(sequence) if a is Action.ACKNOWLEDGED), default=-1)
    held = False
    raised_anew = -1
    for i in range(len(sequence)):
        if sequence[i] is Action.RAISED and not held:
            held, raised_anew = True, i
        elif sequence[i] is Action.RETURNED:
            held = False
    assert alarm.active is held
    assert not alarm.hidden
    if raises and raised_anew > last_heard:
        assert alarm.state in (State.UNACKNOWLEDGED, State.RETURNED)
    if held:
        assert alarm.state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED)


@given(actions)
def test_hiding_changes_nothing_beneath_but_that_it_is_told_again(sequence: list[Action]) -> None:
    hiding = {*HIDING, Action.UNSHELVED, Action.SHELF_ENDED, Action.RELEASED, Action.PUT_BACK}
    plain = done(*(one for one in sequence if one not in hiding))
    hidden = done(*sequence)

    assert hidden.active is plain.active
    assert hidden.calls >= plain.calls - sum(one is Action.RE_ALARMED for one in sequence)
    assert not (hidden.acknowledged and not plain.acknowledged)


@given(actions)
def test_each_call_leaves_the_alarm_to_be_acknowledged(sequence: list[Action]) -> None:
    alarm = AlarmState()
    for at_s, action in enumerate(sequence):
        changed = after(alarm, action, float(at_s), why="a reason", until_s=100.0)
        if changed.calls > alarm.calls:
            assert not changed.acknowledged
        if changed.acknowledged and not alarm.acknowledged:
            assert action is Action.ACKNOWLEDGED
        alarm = changed
