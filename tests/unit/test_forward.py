"""From the file to an engine that forgets: cursor, trail, re-sending, and what the log says."""

from __future__ import annotations

import asyncio
import itertools
import json
import logging
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TypeVar

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.errors import EngineLostError
from collector.forward import CURSOR, LONGEST_WAIT_S, LOOK_EVERY_S, POLL_S, Forwarder
from collector.forward_lines import lines_of
from collector.forward_trail import TRAIL_S, Met, Trail
from collector.log import JsonLines
from collector.readings import Reading, TimeSource, bad_reading
from collector.store.sqlite import SqliteStore

MEMORY_S = 10.0  # what an engine holds in memory, at most
TIME_MS = 1_772_439_300_000
A = TypeVar("A")
R = TypeVar("R")


@dataclass(slots=True)
class Clock:
    """A clock that moves only when it is told to."""

    s: float = 1000.0

    def __call__(self) -> float:
        return self.s


@dataclass(slots=True)
class ForgetfulEngine:
    """An engine that acknowledges what it has in memory, and loses that when it crashes.

    Attributes:
        disk: Lines that no crash takes away.
        memory: When each came [s], and the line.
        tells: Whether it says which run of it answers.
        refuses: What it answers to every write, None to take them.
        most: How many bytes it takes in one request.
    """

    clock: Clock
    disk: set[bytes] = field(default_factory=set)
    memory: list[tuple[float, bytes]] = field(default_factory=list)
    runs: int = 1
    up: bool = True
    tells: bool = True
    refuses: EngineLostError | None = None
    most: int = 10_000_000
    drops: int = 0
    shown: bool | None = True
    written: list[int] = field(default_factory=list)
    opened: int = 0

    def open(self) -> ForgetfulEngine:
        self.opened += 1
        return self

    def write(self, lines: bytes) -> int:
        self._must_be_up()
        if self.refuses is not None:
            raise self.refuses
        if len(lines) > self.most:
            raise EngineLostError("too large", status=413)
        self.to_disk()
        split = lines.split(b"\n")
        self.memory += [(self.clock.s, line) for line in split]
        self.written.append(len(split))
        return self.drops

    def run_id(self) -> str | None:
        self._must_be_up()
        return str(self.runs) if self.tells else None

    def shows(self, reading: Reading) -> bool | None:
        self._must_be_up()
        return self.shown

    def close(self) -> None:
        pass

    def to_disk(self) -> None:
        ripe = [line for at_s, line in self.memory if at_s <= self.clock.s - MEMORY_S]
        self.disk.update(ripe)
        self.memory = [(at_s, line) for at_s, line in self.memory if at_s > self.clock.s - MEMORY_S]

    def crash(self) -> None:
        """End it by signal 9 and begin it anew, at once."""
        self.to_disk()
        self.memory.clear()
        self.runs += 1

    def holds(self) -> set[bytes]:
        return self.disk | {line for _, line in self.memory}

    def _must_be_up(self) -> None:
        if not self.up:
            raise EngineLostError("The central engine can't be reached.", where="engine")


class Kitchen:
    """A readings file, a forwarder on it, and the engine that it ships to."""

    def __init__(self, folder: Path, *, limit: int = 100) -> None:
        self.clock = Clock()
        self.engine = ForgetfulEngine(self.clock)
        self.store = SqliteStore(folder / "readings.sqlite3")
        self._limit = limit
        self._numbers = itertools.count(1)
        self.begin()

    def begin(self) -> None:
        """Begin forwarding, as after a start of the collector."""
        self.forwarder = Forwarder(
            lambda: self.store,
            self.engine.open,
            name="http://engine",
            limit=self._limit,
            now_s=self.clock,
        )

    def say(self, count: int, *, bad: int = 0) -> None:
        """Let instruments say something that is committed."""
        readings = []
        for n in itertools.islice(self._numbers, count):
            at = TIME_MS + 1000 * n
            readings.append(Reading("milk", n / 16, "Cel", at, TimeSource.INSTRUMENT, at))
        for n in itertools.islice(self._numbers, bad):
            readings.append(bad_reading("milk", "no number", b"?", TIME_MS + 1000 * n))
        if readings:
            self.store.append(readings)

    def step(self, times: int = 1) -> list[float]:
        return [self.forwarder.step() for _ in range(times)]

    def wait(self, seconds: float, *, step_s: float = 5.0) -> None:
        """Let time go by, with steps in between."""
        end = self.clock.s + seconds
        while self.clock.s < end:
            self.clock.s = min(self.clock.s + step_s, end)
            self.step()

    def lines(self, first: int = 0, last: int | None = None) -> set[bytes]:
        """Return the lines of all that is sendable, by arrival number."""
        found = [a for a in self.store.since(first, 10**6) if last is None or a.arrival <= last]
        return set(lines_of(found).body.splitlines())

    @property
    def cursor(self) -> int:
        return self.store.cursor(CURSOR)


@pytest.fixture
def kitchen(tmp_path: Path) -> Iterator[Kitchen]:
    made = Kitchen(tmp_path)
    yield made
    made.store.close()


class Said(logging.Handler):
    """Keeps what was logged as (event, fields)."""

    def __init__(self) -> None:
        super().__init__(logging.INFO)
        self.setFormatter(JsonLines())
        self.lines: list[dict[str, object]] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.lines.append(json.loads(self.format(record)))

    def events(self) -> list[object]:
        return [line["event"] for line in self.lines]

    def of(self, event: str) -> dict[str, object]:
        (found,) = [line for line in self.lines if line["event"] == event]
        return found


@pytest.fixture
def said() -> Iterator[Said]:
    logger = logging.getLogger("collector.forward")
    handler, level = Said(), logger.level
    logger.addHandler(handler)
    logger.setLevel(logging.INFO)
    yield handler
    logger.removeHandler(handler)
    logger.setLevel(level)


def test_what_is_committed_is_sent_in_requests_of_at_most_the_limit(kitchen: Kitchen) -> None:
    kitchen.say(250)
    assert kitchen.step(4) == [0.0, 0.0, POLL_S, POLL_S]
    assert kitchen.engine.written == [100, 100, 50]
    assert kitchen.engine.holds() == kitchen.lines()
    assert kitchen.forwarder.total.sent == 250


def test_the_cursor_is_kept_from_the_first_step_even_if_no_engine_answers(
    kitchen: Kitchen,
) -> None:
    kitchen.engine.up = False
    kitchen.say(50)
    kitchen.step()
    assert kitchen.store.trim_arrivals(keep=0) == 0
    kitchen.engine.up = True
    kitchen.step(2)
    assert kitchen.engine.holds() == kitchen.lines()


def test_the_cursor_trails_what_was_written_by_a_minute(kitchen: Kitchen) -> None:
    kitchen.say(30)
    kitchen.step()
    written_s = kitchen.clock.s
    while kitchen.cursor == 0:
        kitchen.wait(1, step_s=1)
    assert TRAIL_S <= kitchen.clock.s - written_s <= TRAIL_S + LOOK_EVERY_S
    assert kitchen.cursor == 30
    assert kitchen.store.trim_arrivals(keep=0) == 30


def test_after_a_loss_all_behind_the_cursor_is_sent_again(kitchen: Kitchen) -> None:
    kitchen.say(30)
    kitchen.step()
    kitchen.wait(TRAIL_S + LOOK_EVERY_S)
    kitchen.say(20)
    kitchen.step()
    kitchen.engine.up = False
    kitchen.say(5)
    kitchen.step(3)
    kitchen.engine.crash()
    kitchen.engine.up = True
    kitchen.step()
    assert kitchen.engine.written == [30, 20, 25]
    assert kitchen.engine.holds() == kitchen.lines()
    assert (kitchen.forwarder.total.sent, kitchen.forwarder.total.sent_again) == (55, 20)


def test_a_crash_between_two_writes_is_noticed_without_a_failed_one(kitchen: Kitchen) -> None:
    kitchen.say(30)
    kitchen.step()
    kitchen.engine.crash()
    kitchen.say(1)
    kitchen.step()
    assert len(kitchen.engine.holds()) == 1
    kitchen.wait(LOOK_EVERY_S)
    assert kitchen.engine.opened == 1
    assert kitchen.engine.holds() == kitchen.lines()


def test_the_cursor_never_passes_what_a_crash_took_away(kitchen: Kitchen) -> None:
    for _ in range(20):
        kitchen.say(10)
        kitchen.wait(7)
        kitchen.engine.crash()
        kitchen.engine.to_disk()
        assert kitchen.lines(0, kitchen.cursor) <= kitchen.engine.disk
    kitchen.wait(2 * LOOK_EVERY_S)
    assert kitchen.engine.holds() == kitchen.lines()


def test_a_line_that_fails_twice_a_minute_does_not_hold_up_the_cursor(kitchen: Kitchen) -> None:
    kitchen.say(1000)
    for _ in range(8):
        kitchen.wait(25)
        kitchen.engine.up = False
        kitchen.wait(1)
        kitchen.engine.up = True
    assert kitchen.cursor > 0


def test_two_processes_behind_one_address_are_not_taken_for_crashes(kitchen: Kitchen) -> None:
    for turn in range(30):
        kitchen.engine.runs = 1 + turn % 2
        kitchen.say(2)
        kitchen.wait(LOOK_EVERY_S)
    assert kitchen.cursor > 40
    assert kitchen.forwarder.total.sent_again <= 4


def test_an_engine_that_tells_no_run_is_trusted_while_the_connection_lasts(
    kitchen: Kitchen, said: Said
) -> None:
    kitchen.engine.tells = False
    kitchen.say(30)
    kitchen.step()
    kitchen.wait(TRAIL_S + LOOK_EVERY_S)
    assert kitchen.cursor == 30
    kitchen.say(7)
    kitchen.wait(50)
    kitchen.engine.up = False
    kitchen.say(1)
    kitchen.wait(5)
    kitchen.engine.crash()
    kitchen.engine.up = True
    kitchen.wait(LONGEST_WAIT_S)
    assert kitchen.cursor == 30
    assert kitchen.engine.holds() == kitchen.lines()
    assert sum("does not tell" in str(event) for event in said.events()) == 1


def test_an_engine_that_stops_telling_its_run_moves_no_cursor(kitchen: Kitchen) -> None:
    kitchen.say(30)
    kitchen.step()
    kitchen.engine.tells = False
    kitchen.wait(2 * TRAIL_S)
    assert kitchen.cursor == 0
    kitchen.engine.tells = True
    kitchen.wait(LOOK_EVERY_S)
    assert kitchen.cursor == 30


def test_a_start_of_the_collector_sends_again_from_the_cursor(kitchen: Kitchen) -> None:
    kitchen.say(30)
    kitchen.step()
    kitchen.wait(TRAIL_S + LOOK_EVERY_S)
    kitchen.say(12)
    kitchen.step()
    kitchen.engine.crash()
    kitchen.begin()
    kitchen.step()
    assert kitchen.engine.written == [30, 12, 12]


def test_bad_readings_are_counted_once_and_never_sent(kitchen: Kitchen) -> None:
    kitchen.say(3, bad=2)
    kitchen.step()
    kitchen.engine.crash()
    kitchen.wait(LOOK_EVERY_S)
    assert kitchen.engine.holds() == kitchen.lines()
    assert len(kitchen.engine.holds()) == 3
    total = kitchen.forwarder.total
    assert (total.sent, total.sent_again, total.left_out) == (3, 3, 2)


def test_bad_readings_alone_make_no_request_and_the_cursor_passes_them(kitchen: Kitchen) -> None:
    kitchen.say(0, bad=4)
    kitchen.wait(TRAIL_S + 2 * LOOK_EVERY_S)
    assert kitchen.engine.written == []
    assert kitchen.cursor == 4


def test_a_request_that_is_too_large_is_made_smaller(kitchen: Kitchen, said: Said) -> None:
    kitchen.engine.most = 2000
    kitchen.say(250)
    kitchen.step(40)
    assert kitchen.engine.holds() == kitchen.lines()
    assert said.events() == ["forwarding"]


def test_one_line_that_is_too_large_is_a_loss_and_tried_again(kitchen: Kitchen, said: Said) -> None:
    kitchen.engine.most = 3
    kitchen.say(2)
    kitchen.step(10)
    assert said.events() == ["forwarding", "the central engine is lost"]


def test_readings_older_than_the_engine_keeps_are_counted_and_passed(kitchen: Kitchen) -> None:
    kitchen.engine.drops = 3
    kitchen.say(10)
    assert kitchen.step() == [POLL_S]
    assert kitchen.forwarder.total.too_old == 3


def test_waiting_times_grow_to_a_minute_and_begin_anew_once_it_works(kitchen: Kitchen) -> None:
    kitchen.engine.up = False
    kitchen.say(1)
    waits = kitchen.step(60)
    assert 1.0 <= waits[0] <= 1.25
    assert all(1.0 <= wait <= LONGEST_WAIT_S for wait in waits)
    assert len({round(wait, 6) for wait in waits[-20:]}) > 1
    assert min(waits[-20:]) > 40
    kitchen.engine.up = True
    assert kitchen.step() == [POLL_S]
    kitchen.engine.up = False
    kitchen.say(1)
    assert kitchen.step()[0] <= 1.25


def test_one_line_is_logged_for_a_loss_and_one_for_the_recovery(
    kitchen: Kitchen, said: Said
) -> None:
    kitchen.say(4, bad=1)
    kitchen.step()
    kitchen.engine.up = False
    kitchen.say(2)
    for _ in range(5):
        kitchen.clock.s += 3
        kitchen.step()
    kitchen.engine.up = True
    kitchen.step(3)
    assert said.events() == [
        "forwarding",
        "the central engine is lost",
        "the central engine is back",
    ]
    back = said.of("the central engine is back")
    assert {key: back[key] for key in ("engine", "lost_s", "sent", "sent_again", "left_out")} == {
        "engine": "http://engine",
        "lost_s": 12.0,
        "sent": 6,
        "sent_again": 4,
        "left_out": 1,
    }


def test_a_file_that_fails_is_told_apart_and_tried_again(tmp_path: Path, said: Said) -> None:
    def fail() -> SqliteStore:
        raise OSError(5, "Input/output error")

    engine = ForgetfulEngine(Clock())
    forwarder = Forwarder(fail, engine.open, name="http://engine")
    assert all(forwarder.step() >= 1.0 for _ in range(3))
    assert said.events() == ["forwarding failed"]
    assert "Input/output error" in str(said.lines[0]["error"])


def test_readings_whose_order_is_no_longer_kept_are_told(kitchen: Kitchen, said: Said) -> None:
    kitchen.say(30)
    assert kitchen.store.trim_arrivals(keep=10) == 20
    kitchen.step()
    assert said.of("forwarding")["waiting"] == 10
    (warning,) = [line for line in said.lines if line["level"] == "warning"]
    assert warning["readings"] == 20
    assert kitchen.forwarder.total.sent == 10


@pytest.mark.parametrize(("shown", "told"), [(True, 0), (None, 0), (False, 1)])
def test_an_engine_that_does_not_show_what_it_took_is_told_once(
    kitchen: Kitchen, said: Said, shown: bool | None, told: int
) -> None:
    kitchen.engine.shown = shown
    kitchen.say(3)
    kitchen.wait(3 * TRAIL_S)
    assert sum("does not show" in str(event) for event in said.events()) == told


def test_an_engine_that_shows_it_some_seconds_later_is_believed(
    kitchen: Kitchen, said: Said
) -> None:
    kitchen.engine.shown = False
    kitchen.say(3)
    kitchen.wait(TRAIL_S / 2)
    kitchen.engine.shown = True
    kitchen.wait(TRAIL_S)
    assert said.events() == ["forwarding"]


def test_the_task_steps_until_it_is_cancelled_and_tells_its_total(
    kitchen: Kitchen, said: Said
) -> None:
    kitchen.say(250)
    waits: list[float] = []

    async def call(function: Callable[[A], R], argument: A) -> R:
        return function(argument)

    async def pause(seconds: float) -> None:
        waits.append(seconds)
        if len(waits) == 4:
            raise asyncio.CancelledError

    with pytest.raises(asyncio.CancelledError):
        asyncio.run(kitchen.forwarder.run(call=call, pause=pause))
    assert waits == [0.0, 0.0, POLL_S, POLL_S]
    assert said.of("forwarding ended")["sent"] == 250


def test_a_trail_never_goes_back() -> None:
    trail = Trail(5)
    assert trail.meet("a", 0.0, reconnected=True) is Met.ANEW
    trail.written(100, 0.0)
    trail.written(60, 1.0)
    assert trail.meet("a", TRAIL_S - 0.1, reconnected=False) is Met.SAME
    assert trail.kept == 5
    trail.meet("a", TRAIL_S, reconnected=True)
    assert trail.kept == 100
    trail.meet("a", 2 * TRAIL_S, reconnected=False)
    assert trail.kept == 100


ACTIONS = st.lists(
    st.one_of(
        st.tuples(st.just("say"), st.integers(1, 30)),
        st.tuples(st.just("bad"), st.integers(1, 3)),
        st.tuples(st.just("wait"), st.sampled_from([0.5, 3, 9, 11, 40, 75])),
        st.tuples(st.just("step"), st.integers(1, 5)),
        st.tuples(st.sampled_from(["crash", "down", "up", "begin", "trim"]), st.just(0)),
    ),
    max_size=40,
)


def play(kitchen: Kitchen, actions: Sequence[tuple[str, float]]) -> None:
    simple = {"crash": kitchen.engine.crash, "begin": kitchen.begin}
    for action, amount in actions:
        match action:
            case "say":
                kitchen.say(int(amount))
            case "bad":
                kitchen.say(0, bad=int(amount))
            case "wait":
                kitchen.clock.s += amount
            case "step":
                kitchen.step(int(amount))
            case "up" | "down":
                kitchen.engine.up = action == "up"
            case "trim":
                if kitchen.forwarder.total.sent:
                    kitchen.store.trim_arrivals(keep=0)
            case _:
                simple[action]()


@settings(max_examples=40)
@given(ACTIONS)
def test_whatever_crashes_and_whenever_nothing_is_missing_at_the_end(
    actions: list[tuple[str, float]],
) -> None:
    with TemporaryDirectory() as folder:
        kitchen = Kitchen(Path(folder), limit=20)
        expected: set[bytes] = set()
        for action in actions:
            play(kitchen, [action])
            expected |= kitchen.lines()
            kitchen.engine.to_disk()
            assert kitchen.lines(0, kitchen.cursor) <= kitchen.engine.disk
        kitchen.engine.up = True
        kitchen.step(20)
        kitchen.wait(2 * LOOK_EVERY_S)
        kitchen.step(20)
        assert kitchen.engine.holds() == expected
        kitchen.store.close()
