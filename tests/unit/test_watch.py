"""The watch over a real store and real records, looked through step by step."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Protocol

import numpy as np
import pytest
from sqlalchemy.exc import OperationalError

from api.corrections import Corrections
from api.kitchen import Kitchen
from api.records.chain import Entry
from api.times import format_ms, parse_ms
from api.watch.notice_book import NoticeBook
from api.watch.post import Post
from api.watch.recent import Reader
from api.watch.watch import CURSOR, Watch
from collector.readings import Quality, Reading, TimeSource

MILK = "north/milk"
TARGET = {"value": 80, "unit": "degC"}
BOIL_THEN_ADD = {
    "id": "r1",
    "version": 1,
    "name": "Soybean, gypsum",
    "ingredients": [{"name": "soybean"}],
    "steps": [
        {
            "kind": "boil",
            "hold": {
                "name": "boil",
                "low": {"value": 95, "unit": "degC"},
                "least": {"value": 2, "unit": "min"},
                "ends": "addition",
            },
        },
        {"kind": "addition", "target": TARGET},
    ],
}


class Clock(Protocol):
    ms: int


class Stove:
    """A kitchen with a pot whose readings come when a test says so."""

    def __init__(self, kitchen: Kitchen, clock: Clock) -> None:
        self.kitchen, self.clock = kitchen, clock
        self.watch = self.restarted()

    def restarted(self) -> Watch:
        """A watch as a new process begins it: with nothing but what is kept."""
        self.watch = Watch(self.kitchen, Post(self.kitchen))
        return self.watch

    def batch(self, **more: Any) -> str:
        body = {"name": "Monday", "pot": "North", "thermometer": MILK, **more}
        body.setdefault("started_at", format_ms(self.clock.ms))
        return self.kitchen.journal.start_batch(body, record_id=None, who="").id

    def mark(self, batch: str, kind: str, **more: Any) -> str:
        body = {"kind": kind, "at": format_ms(self.clock.ms), **more}
        record, _ = self.kitchen.journal.record(batch, "event", body)
        return record.id

    def read(
        self, values: Iterable[float], *, series: str = MILK, every_ms: int = 1000, **more: Any
    ) -> None:
        """One reading a second, the last of them now."""
        for value in values:
            self.clock.ms += every_ms
            self.store(value, self.clock.ms, series=series, **more)
            self.watch.look()

    def store(self, value: float, at_ms: int, *, series: str = MILK, **more: Any) -> None:
        fields = {"quality": Quality.GOOD, "arrival_ms": self.clock.ms, **more}
        source = TimeSource.INSTRUMENT
        self.kitchen.readings.append([Reading(series, value, "Cel", at_ms, source, **fields)])

    def told(self, batch: str) -> list[str]:
        return [str(entry.body["text"]) for entry in self.entries(batch, "notice")]

    def entries(self, batch: str, kind: str) -> list[Entry]:
        return self.kitchen.journal.chains.of_kind(batch, kind)


@pytest.fixture
def stove(kitchen: Kitchen, clock: Clock) -> Stove:
    return Stove(kitchen, clock)


def ramp(start: float, end: float, by: float) -> list[float]:
    return [float(v) for v in np.linspace(start, end, round(abs(end - start) / by) + 1)]


def test_a_target_that_is_reached_is_told_once(stove: Stove) -> None:
    batch = stove.batch(target={"value": 82, "unit": "degC"})

    stove.read(ramp(75, 85, 0.25))

    (notice,) = stove.entries(batch, "notice")
    assert notice.body["text"] == "North: passing 82 degC, rising"
    assert notice.body["priority"] == "medium"
    assert notice.body["from"] == [
        f"series {MILK}",
        "assumed: +-0.5 K, no check on record (common practice)",
    ]
    assert parse_ms(notice.body["at"]) == stove.clock.ms - 12_000


def test_a_slow_probe_tells_when_the_milk_is_there_and_not_when_the_probe_is(
    stove: Stove,
) -> None:
    """A first-order probe lags a steady ramp by its time constant (definition)."""
    tau_s, per_s = 8.0, 0.05
    check = {"series": MILK, "kind": "dip", "time_constant_s": tau_s, "u_s": 0.5}
    stove.kitchen.journal.keep("check", {**check, "valid_from": "1970-01-01T00:00:00.000Z"})
    batch = stove.batch(target=TARGET)
    begin_ms = stove.clock.ms
    seconds = np.arange(1, 201)
    milk = 72.0 + per_s * seconds
    shown = milk - per_s * tau_s * (1.0 - np.exp(-seconds / tau_s))

    stove.read(shown.tolist())

    (notice,) = stove.entries(batch, "notice")
    reached_s = (parse_ms(notice.body["at"]) - begin_ms) / 1000.0
    assert reached_s == pytest.approx((80.0 - 72.0) / per_s, abs=1.0)
    raw_s = float(np.interp(80.0, shown, seconds))
    assert reached_s < raw_s - 0.8 * tau_s
    assert (parse_ms(notice.at) - begin_ms) / 1000.0 <= reached_s + 1.0


def test_a_calibration_is_applied_before_judging(stove: Stove) -> None:
    check = {"series": MILK, "kind": "ice", "indicated_degc": 1.0, "reference_degc": 0.0}
    stove.kitchen.journal.keep("check", {**check, "valid_from": "1970-01-01T00:00:00.000Z"})
    batch = stove.batch(target=TARGET)

    stove.read(ramp(75, 80.75, 0.25))
    assert stove.told(batch) == []
    stove.read([81.0])
    assert stove.told(batch) == ["North: passing 80 degC, rising"]


def test_noise_at_the_target_tells_once(stove: Stove) -> None:
    batch = stove.batch(target=TARGET)
    noise = np.random.default_rng(7).normal(0.0, 0.1, 400)

    stove.read((np.r_[ramp(70, 80, 0.1), np.full(299, 80.0)] + noise).tolist())

    assert len(stove.told(batch)) == 1


def test_bad_and_suspect_readings_tell_nothing(stove: Stove) -> None:
    batch = stove.batch(target=TARGET)

    stove.read([75.0, 75.5, 76.0])
    stove.read([85.0], quality=Quality.SUSPECT, reason="power-on value")
    stove.read([76.5, 77.0])

    assert stove.told(batch) == []


def test_after_its_event_is_marked_nothing_is_told(stove: Stove) -> None:
    batch = stove.batch(target=TARGET)
    stove.read(ramp(70, 78, 0.5))
    stove.mark(batch, "addition")

    stove.read(ramp(78, 90, 0.5))

    assert stove.told(batch) == []


def test_a_mark_that_is_taken_back_gives_the_notice_free(stove: Stove) -> None:
    batch = stove.batch(target=TARGET)
    stove.read(ramp(70, 78, 0.5))
    mark = stove.mark(batch, "addition")
    stove.read(ramp(78, 81, 0.5))

    stove.kitchen.journal.withdraw(batch, mark, why="a slip", said={}, record_id=None, who="")
    stove.read([81.2])

    assert stove.told(batch) == ["North: passing 80 degC, rising"]


def test_a_closed_batch_is_not_watched(stove: Stove) -> None:
    batch = stove.batch(target=TARGET)
    stove.read(ramp(70, 78, 0.5))
    stove.mark(batch, "end")

    stove.read(ramp(78, 90, 0.5))

    assert stove.told(batch) == []


def test_what_was_reached_while_no_server_ran_is_told_after_the_start(stove: Stove) -> None:
    batch = stove.batch(target=TARGET)
    stove.read(ramp(70, 78, 0.5))
    for value in ramp(78, 90, 0.5):
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
    stove.read(ramp(70, 85, 0.5))

    stove.kitchen.readings.set_cursor(CURSOR, 0)
    stove.restarted().look()
    stove.read(ramp(85, 70, 0.5))
    stove.read(ramp(70, 90, 0.5))

    assert len(stove.told(batch)) == 2  # rising, and back from above


def test_a_kill_between_row_and_entry_ends_in_one_of_each(stove: Stove) -> None:
    add_route(stove.kitchen, "phone")
    batch = stove.batch(target=TARGET)
    stove.read(ramp(70, 79.5, 0.5))
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
    add_route(stove.kitchen, "phone")
    begun_ms = stove.clock.ms
    batch = stove.batch(target=TARGET)
    stove.clock.ms += 3_600_000

    for second, value in enumerate(ramp(70, 90, 0.5)):
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
    stove.read(ramp(70, 75, 0.5))
    at_ms = stove.clock.ms
    stove.clock.ms += 300_000

    for second, value in enumerate(ramp(75.5, 85, 0.5)):
        stove.store(value, at_ms + 1000 * (second + 1))
    stove.watch.look()

    assert stove.told(batch) == [
        "North: passed 80 degC, rising at 08:15 (4 min 50 s ago); 80.0 degC when last read"
    ]


def test_a_gap_that_is_filled_later_still_tells(stove: Stove) -> None:
    """The newest readings come first, and say only that the pot is above by now."""
    batch = stove.batch(target=TARGET)
    stove.read(ramp(85, 90, 0.5))
    late_ms = stove.clock.ms - 60_000

    for second, value in enumerate(ramp(75, 82, 0.5)):
        stove.store(value, late_ms + second * 1000)
    stove.watch.look()

    assert len(stove.told(batch)) == 1


def test_what_the_pot_did_before_the_batch_is_not_the_batch_s(stove: Stove) -> None:
    stove.read([*ramp(70, 90, 0.5), *ramp(90, 40, 0.5)])
    batch = stove.batch(target={**TARGET, "approach": "rising"})

    stove.read([40.0])
    assert stove.told(batch) == []
    stove.read(ramp(40, 81, 0.5))

    assert stove.told(batch) == ["North: passing 80 degC, rising"]


def test_two_probes_in_one_pot_tell_once(stove: Stove) -> None:
    batch = stove.batch(target=TARGET)
    stove.kitchen.journal.record(batch, "binding", {"series": "north/second", "place": "milk"})

    for value in ramp(70, 85, 0.5):
        stove.read([value], every_ms=500)
        stove.read([value + 0.2], series="north/second", every_ms=500)

    assert len(stove.told(batch)) == 1


def test_when_the_batch_s_own_probe_is_silent_the_second_tells(stove: Stove) -> None:
    batch = stove.batch(target=TARGET)
    stove.kitchen.journal.record(batch, "binding", {"series": "north/second", "place": "milk"})

    stove.read(ramp(70, 75, 0.5))
    stove.read(ramp(75, 85, 0.5), series="north/second")

    assert stove.told(batch) == ["North: passing 80 degC, rising"]


def test_one_batch_that_can_t_be_judged_does_not_silence_the_others(stove: Stove) -> None:
    broken = {"kind": "addition", "target": {"value": 80, "unit": "furlong"}}
    stove.batch(name="Broken", recipe={**BOIL_THEN_ADD, "steps": [broken]})
    batch = stove.batch(target=TARGET, thermometer="south/milk", pot="South")

    stove.read(ramp(70, 85, 0.5), series="south/milk")

    assert stove.told(batch) == ["South: passing 80 degC, rising"]


def test_a_records_database_that_fails_for_a_while_loses_no_notice(stove: Stove) -> None:
    add_route(stove.kitchen, "phone")
    batch = stove.batch(target=TARGET)
    stove.read(ramp(70, 79, 0.5))
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


def test_the_few_readings_behind_a_point_correct_it_as_all_of_them_would(stove: Stove) -> None:
    check = {"series": MILK, "kind": "dip", "time_constant_s": 7.0, "u_s": 0.5}
    stove.kitchen.journal.keep("check", {**check, "valid_from": "1970-01-01T00:00:00.000Z"})
    noise = np.random.default_rng(5).normal(0.0, 0.05, 300)
    begin_ms = stove.clock.ms
    for second, value in enumerate((np.linspace(60, 75, 300) + noise).tolist()):
        stove.store(value, begin_ms + 1000 * second)
    reader = Reader(stove.kitchen.readings, Corrections(stove.kitchen.journal), ())
    window_ms = (begin_ms - 3_600_000, begin_ms + 3_600_000)

    whole = reader.read(MILK, window_ms, (), None)
    assert whole is not None
    last_s = begin_ms / 1000.0 + 200.0
    recent = reader.read(MILK, window_ms, (), last_s - whole.reach_s)
    assert recent is not None

    later = recent.time_s > last_s
    assert len(recent.time_s) < 130
    assert recent.value_degc[later] == pytest.approx(whole.value_degc[whole.time_s > last_s])


def test_the_addition_is_armed_only_when_the_boil_is_met(stove: Stove) -> None:
    batch = stove.batch(recipe=BOIL_THEN_ADD)

    stove.read(ramp(60, 98, 0.5))
    stove.read([98.0] * 60)
    stove.read(ramp(98, 78, 0.5))

    assert stove.told(batch) == []


def test_an_armed_target_says_add_the_coagulant(stove: Stove) -> None:
    batch = stove.batch(recipe=BOIL_THEN_ADD)

    stove.read(ramp(60, 98, 0.5))
    stove.read([98.0] * 130)
    assert stove.told(batch) == ["North: hold complete: boil, 2 min"]
    stove.read(ramp(98, 79, 0.25))

    assert stove.told(batch)[1:] == ["North: 80 degC. Add the coagulant now."]


def test_a_hold_is_told_at_the_reading_that_completes_it(stove: Stove) -> None:
    batch = stove.batch(recipe=BOIL_THEN_ADD)
    stove.read(ramp(60, 94, 0.5))
    entered_ms = stove.clock.ms + 500  # half way from 94 to 96
    stove.read([96.0] * 120)
    assert stove.told(batch) == []

    stove.read([96.0])

    (notice,) = stove.entries(batch, "notice")
    assert parse_ms(notice.body["at"]) == pytest.approx(entered_ms + 120_000, abs=2)
    assert notice.body["about"] == "hold"


def test_a_restart_after_the_boil_still_arms_the_addition(stove: Stove) -> None:
    batch = stove.batch(recipe=BOIL_THEN_ADD)
    stove.read([*ramp(60, 98, 0.5), *[98.0] * 130, *ramp(98, 85, 0.5)])

    stove.restarted()
    stove.read(ramp(84.75, 79, 0.25))

    assert stove.told(batch) == [
        "North: hold complete: boil, 2 min",
        "North: 80 degC. Add the coagulant now.",
    ]


def test_a_hold_that_starts_at_a_mark_is_told_when_its_time_is_up(stove: Stove) -> None:
    covered = {
        "kind": "cover",
        "hold": {
            "name": "covered hold",
            "low": {"value": 65, "unit": "degC"},
            "least": {"value": 3, "unit": "min"},
            "starts": "cover",
            "ends": "ladle",
        },
    }
    batch = stove.batch(recipe={**BOIL_THEN_ADD, "steps": [covered]})
    stove.read([78.0] * 200)
    assert stove.told(batch) == []
    stove.mark(batch, "cover")
    covered_ms = stove.clock.ms

    stove.read([78.0] * 179)
    assert stove.told(batch) == []
    stove.read([78.0])

    (notice,) = stove.entries(batch, "notice")
    assert notice.body["text"] == "North: hold complete: covered hold, 3 min"
    assert parse_ms(notice.body["at"]) == covered_ms + 180_000


def test_a_hold_that_starts_at_the_addition_starts_where_the_curve_places_the_pour(
    stove: Stove,
) -> None:
    """The mark comes 20 s after the pour, whose 3 K dip is plain in the readings."""
    stand = {
        "kind": "set",
        "hold": {
            "name": "stand",
            "low": {"value": 65, "unit": "degC"},
            "least": {"value": 4, "unit": "min"},
            "starts": "addition",
            "ends": "ladle",
        },
    }
    batch = stove.batch(recipe={**BOIL_THEN_ADD, "steps": [{"kind": "addition"}, stand]})
    noise = np.random.default_rng(3).normal(0.0, 0.03, 500)
    before = 81.0 - 0.01 * np.arange(120)
    pour = np.linspace(79.8, 76.8, 16)
    after = 76.8 - 0.005 * np.arange(300)
    curve = (np.r_[before, pour, after] + noise[: 120 + 16 + 300]).tolist()

    stove.read(curve[:156])
    poured_ms = stove.clock.ms - 20_000
    stove.mark(batch, "addition")
    stove.read(curve[156:])

    (notice,) = stove.entries(batch, "notice")
    assert notice.body["text"] == "North: hold complete: stand, 4 min"
    assert parse_ms(notice.body["at"]) == pytest.approx(poured_ms + 240_000, abs=10_000)


def add_route(kitchen: Kitchen, name: str) -> None:
    from api.watch.route_book import RouteBook

    RouteBook(kitchen.journal).add_route(name, "json://127.0.0.1:9/x", route_id=None, who="")
