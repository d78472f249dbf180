"""What a restart, a fault or late readings do to what is told: nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from sqlalchemy.exc import OperationalError

from api.watch.notice_book import NoticeBook
from api.watch.post import Post
from api.watch.watch import CURSOR, Watch

if TYPE_CHECKING:
    from tests.unit.watch.conftest import Stove

TARGET = {"value": 80, "unit": "degC"}


def test_what_was_reached_while_no_server_ran_is_told_after_the_start(stove: Stove) -> None:
    batch = stove.batch(target=TARGET)
    stove.read(stove.ramp(70, 78, 0.5))
    for value in stove.ramp(78, 90, 0.5):
        stove.clock.ms += 1000
        stove.store(value, stove.clock.ms)
    stove.clock.ms += 180_000

    stove.restarted().look()

    (text,) = stove.told(batch)
    assert (
        text == "North: passed 80 degC, rising at 08:15 (3 min 20 s ago); 80.0 degC when last read"
    )


def test_a_restart_tells_nothing_again(stove: Stove) -> None:
    batch = stove.batch(target=TARGET)
    stove.read(stove.ramp(70, 85, 0.5))

    stove.kitchen.readings.set_cursor(CURSOR, 0)
    stove.restarted().look()
    stove.read(stove.ramp(85, 70, 0.5))
    stove.read(stove.ramp(70, 90, 0.5))

    assert len(stove.told(batch)) == 2  # rising, and back from above


def test_a_kill_between_row_and_entry_ends_in_one_of_each(stove: Stove) -> None:
    stove.route("phone")
    batch = stove.batch(target=TARGET)
    stove.read(stove.ramp(70, 79.5, 0.5))
    stove.clock.ms += 1000
    stove.store(80.5, stove.clock.ms)
    book = NoticeBook(stove.kitchen.journal)
    broken = Watch(stove.kitchen, Post(stove.kitchen))
    broken.look()
    assert len(stove.told(batch)) == 1
    with stove.kitchen.journal.engine.begin() as connection:
        connection.exec_driver_sql("DELETE FROM entry WHERE kind = 'notice'")
    stove.kitchen.readings.set_cursor(CURSOR, 0)

    stove.restarted().look()

    (notice,) = stove.entries(batch, "notice")
    assert len(book.sendings([notice.body["cause"]])[notice.body["cause"]]) == 1
    assert stove.kitchen.journal.chains.verify(batch) == []


def test_history_that_is_brought_in_is_recorded_as_passed_and_nobody_is_called(
    stove: Stove,
) -> None:
    stove.route("phone")
    begun_ms = stove.clock.ms
    batch = stove.batch(target=TARGET)
    stove.clock.ms += 3_600_000

    for second, value in enumerate(stove.ramp(70, 90, 0.5)):
        stove.store(value, begun_ms + second * 1000)
    stove.watch.look()

    assert stove.told(batch) == []
    (passed,) = stove.entries(batch, "passed")
    assert passed.body["text"].startswith(
        "North: passed 80 degC, rising at 08:15 (59 min 40 s ago)"
    )
    assert NoticeBook(stove.kitchen.journal).sendings([passed.body["cause"]]) == {
        passed.body["cause"]: []
    }


def test_readings_that_come_minutes_late_are_told_with_their_time(stove: Stove) -> None:
    batch = stove.batch(target=TARGET)
    stove.read(stove.ramp(70, 75, 0.5))
    at_ms = stove.clock.ms
    stove.clock.ms += 300_000

    for second, value in enumerate(stove.ramp(75.5, 85, 0.5)):
        stove.store(value, at_ms + 1000 * (second + 1))
    stove.watch.look()

    assert stove.told(batch) == [
        "North: passed 80 degC, rising at 08:15 (4 min 50 s ago); 80.0 degC when last read"
    ]


def test_a_gap_that_is_filled_later_still_tells(stove: Stove) -> None:
    """The newest readings come first, and say only that the pot is above by now."""
    batch = stove.batch(target=TARGET)
    stove.read(stove.ramp(85, 90, 0.5))
    late_ms = stove.clock.ms - 60_000

    for second, value in enumerate(stove.ramp(75, 82, 0.5)):
        stove.store(value, late_ms + second * 1000)
    stove.watch.look()

    assert len(stove.told(batch)) == 1


def test_a_records_database_that_fails_for_a_while_loses_no_notice(stove: Stove) -> None:
    stove.route("phone")
    batch = stove.batch(target=TARGET)
    stove.read(stove.ramp(70, 79, 0.5))
    engine = stove.kitchen.journal.engine
    with engine.begin() as connection:
        connection.exec_driver_sql("ALTER TABLE notice RENAME TO away")
    stove.clock.ms += 1000
    stove.store(81.0, stove.clock.ms)
    before = stove.kitchen.readings.cursor(CURSOR)
    with pytest.raises(OperationalError):
        stove.watch.look()
    assert stove.kitchen.readings.cursor(CURSOR) == before

    with engine.begin() as connection:
        connection.exec_driver_sql("ALTER TABLE away RENAME TO notice")
    stove.restarted().look()

    assert stove.told(batch) == ["North: passing 80 degC, rising"]
