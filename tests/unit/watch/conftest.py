"""What the tests of the watch share: a pot whose readings come when a test says so."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Protocol

import numpy as np
import pytest

from api.kitchen import Kitchen
from api.records.chain import Entry
from api.times import format_ms
from api.watch.alarm_book import AlarmBook
from api.watch.alarm_fold import KeptAlarm
from api.watch.alarm_watch import AlarmWatch
from api.watch.post import Post
from api.watch.route_book import RouteBook
from api.watch.watch import Watch
from collector.readings import Quality, Reading, TimeSource

MILK = "north/milk"
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
        {"kind": "addition", "target": {"value": 80, "unit": "degC"}},
    ],
}


class Clock(Protocol):
    ms: int


class Stove:
    """A kitchen with a pot whose readings come when a test says so."""

    boil_then_add = BOIL_THEN_ADD

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

    def store(self, value: float, at_ms: int, **more: Any) -> None:
        self.kitchen.readings.append([self.reading(value, at_ms, **more)])

    def reading(self, value: float, at_ms: int, *, series: str = MILK, **more: Any) -> Reading:
        fields = {"unit": "Cel", "quality": Quality.GOOD, "arrival_ms": self.clock.ms, **more}
        return Reading(
            series=series, value=value, time_ms=at_ms, time_source=TimeSource.INSTRUMENT, **fields
        )

    @staticmethod
    def ramp(start: float, end: float, by: float) -> list[float]:
        """Values from one to another in even steps."""
        return [float(v) for v in np.linspace(start, end, round(abs(end - start) / by) + 1)]

    def route(self, name: str) -> None:
        RouteBook(self.kitchen.journal).add_route(
            name, "json://127.0.0.1:9/x", route_id=None, who=""
        )

    def told(self, batch: str) -> list[str]:
        return [str(entry.body["text"]) for entry in self.entries(batch, "notice")]

    def entries(self, batch: str, kind: str) -> list[Entry]:
        return self.kitchen.journal.chains.of_kind(batch, kind)


@pytest.fixture
def stove(kitchen: Kitchen, clock: Clock) -> Stove:
    return Stove(kitchen, clock)


class Alarms:
    """A stove with its alarms, looked at after every reading."""

    def __init__(self, stove: Stove) -> None:
        self.stove = stove
        self.book = AlarmBook(stove.kitchen.journal)
        self.restart()

    def restart(self) -> None:
        """A watch as a new process begins it: with nothing but what is kept."""
        self.watch = AlarmWatch(self.stove.kitchen, Post(self.stove.kitchen))

    def read(self, values: Iterable[float], **more: Any) -> None:
        """One reading a second, the last of them now; looked at every ten readings."""
        every_ms, clock = more.pop("every_ms", 1000), self.stove.clock
        waiting: list[Reading] = []
        for value in values:
            clock.ms += every_ms
            waiting.append(self.stove.reading(value, clock.ms, **more))
            if len(waiting) == 10:
                self._take(waiting)
        self._take(waiting)

    def _take(self, waiting: list[Reading]) -> None:
        if waiting:
            self.stove.kitchen.readings.append(waiting)
            waiting.clear()
        self.stove.watch.look()
        self.watch.look()

    def wait(self, seconds: int, every_s: int = 1) -> None:
        """Let time pass without a reading."""
        for _ in range(0, seconds, every_s):
            self.stove.clock.ms += 1000 * every_s
            self.look()

    def look(self) -> None:
        self.watch.look()
        self.watch.check(self.stove.clock.ms / 1000.0)

    def all(self, about: str | None = None) -> list[KeptAlarm]:
        found = self.book.folded(closed=True).alarms.values()
        return [alarm for alarm in found if about in (None, alarm.about)]

    def one(self, about: str) -> KeptAlarm:
        (alarm,) = self.all(about)
        return alarm

    def states(self, about: str) -> list[str]:
        return [str(alarm.status.state) for alarm in self.all(about)]

    def actions(self, about: str) -> list[str]:
        """What has happened to the alarms of a kind, in order."""
        changes = self.book.folded(closed=True).changes
        return [str(e.body["action"]) for e, a in changes if e.kind == "alarm" and a.about == about]


@pytest.fixture
def alarms(stove: Stove) -> Alarms:
    return Alarms(stove)
