"""What counts as a press of a button."""

from __future__ import annotations

import pytest

from api.hands_free.presses import Meaning, rises
from collector.readings import Quality, Reading, TimeSource
from collector.store.writing import POSSIBLE_REPEAT

Frame = tuple[float, float | None]


def said(*frames: Frame, late_s: float = 0.0, reason: str = "") -> list[Reading]:
    """Return readings of a button: (seconds, value)."""
    return [
        Reading(
            "north/button",
            value,
            "",
            round(1000 * at_s),
            TimeSource.INSTRUMENT,
            round(1000 * (at_s + late_s)),
            Quality.SUSPECT if reason else Quality.GOOD,
            reason,
        )
        for at_s, value in frames
    ]


def presses(*frames: Frame, before: float | None = 0.0) -> list[float]:
    found, _ = rises(said(*frames), before, None)
    return [one.at_ms / 1000 for one in found if one.meaning is Meaning.PRESS]


@pytest.mark.parametrize(
    ("frames", "at_s"),
    [
        ([(10, 1), (10.4, 0), (20, 1), (20.2, 0)], [10, 20]),  # a contact
        ([(10, 41), (20, 42)], [10, 20]),  # a counter of presses
        ([(10, 41), (10, 41), (15, 41)], [10]),  # the same count, told again
        ([(10, 44)], [10]),  # frames of a counter were lost: one press is marked
        ([(10, 1), (10.02, 0), (10.05, 1), (10.9, 0), (10.95, 1)], [10]),  # bounces
        ([(10, 1), (12, 0), (12.9, 1), (13, 0), (13.1, 1)], [10, 13.1]),  # the second is too soon
        ([(10, 1), (60, 0), (70, 1)], [10, 70]),  # a long press is one press
        ([(10, 40), (20, 0), (30, 1)], [10, 30]),  # a board that began to count anew
        ([(10, None), (11, 1)], [11]),  # a frame that could not be read
    ],
)
def test_a_press_is_a_rise_that_is_no_bounce(frames: list[Frame], at_s: list[float]) -> None:
    assert presses(*frames) == at_s


def test_the_first_reading_of_all_is_no_press() -> None:
    assert presses((10, 1), (11, 0), (20, 1), before=None) == [20]


def test_a_press_before_a_restart_still_holds_off_its_bounces() -> None:
    found, last = rises(said((10.5, 1)), 0.0, 10_000)

    assert [one.meaning for one in found] == [Meaning.BOUNCE]
    assert last == 10_000


@pytest.mark.parametrize(("late_s", "meaning"), [(299, Meaning.PRESS), (301, Meaning.LATE)])
def test_a_press_that_arrives_more_than_five_minutes_late_is_none(
    late_s: float, meaning: Meaning
) -> None:
    found, last = rises(said((10, 1), late_s=late_s), 0.0, None)

    assert [one.meaning for one in found] == [meaning]
    assert last == (10_000 if meaning is Meaning.PRESS else None)


def test_what_may_be_a_repeat_is_no_press() -> None:
    found, _ = rises(said((10, 1), reason=POSSIBLE_REPEAT), 0.0, None)

    assert [one.meaning for one in found] == [Meaning.REPEAT]
