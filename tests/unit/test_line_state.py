from __future__ import annotations

from collector.instruments.line_state import LineState, Speech


def test_a_line_that_says_nothing_is_silent_after_the_patience() -> None:
    state = LineState(10.0, 0.0)
    assert state.changed(9.9) is None
    assert state.changed(10.0) is Speech.SILENT
    assert state.changed(20.0) is None


def test_bytes_without_a_valid_line_are_told_from_silence() -> None:
    state = LineState(10.0, 0.0)
    for second in range(1, 12):
        state.heard(5, float(second), valid=False)
    assert state.changed(11.0) is Speech.UNREADABLE
    assert state.bytes_since_valid == 55


def test_a_valid_line_ends_either_state() -> None:
    state = LineState(10.0, 0.0)
    assert state.changed(12.0) is Speech.SILENT
    state.heard(8, 13.0, valid=True)
    assert state.changed(13.0) is Speech.VALID
    assert state.bytes_since_valid == 0


def test_the_first_half_of_a_line_after_a_silence_is_not_called_unreadable() -> None:
    state = LineState(10.0, 0.0)
    state.heard(3, 1.0, valid=False)
    assert state.changed(12.0) is Speech.SILENT
    state.heard(4, 30.0, valid=False)
    assert state.changed(30.0) is None
    state.heard(4, 30.5, valid=True)
    assert state.changed(30.5) is Speech.VALID


def test_unreadable_bytes_that_stop_are_silence_in_the_end() -> None:
    state = LineState(10.0, 0.0)
    for second in range(1, 13):
        state.heard(5, float(second), valid=False)
    assert state.changed(12.0) is Speech.UNREADABLE
    assert state.changed(22.0) is Speech.SILENT
