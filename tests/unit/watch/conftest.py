"""What the tests of the watch share: a pot whose readings come when a test says so."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Protocol

import numpy as np
import pytest

from api.kitchen import Kitchen
from api.records.chain import Entry
from api.times import format_ms
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

    def store(self, value: float, at_ms: int, *, series: str = MILK, **more: Any) -> None:
        fields = {"quality": Quality.GOOD, "arrival_ms": self.clock.ms, **more}
        source = TimeSource.INSTRUMENT
        self.kitchen.readings.append([Reading(series, value, "Cel", at_ms, source, **fields)])

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
