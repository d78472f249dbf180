# SPDX-License-Identifier: MIT
"""What open pages are told of the outlook, and when."""

from __future__ import annotations

import asyncio
from typing import Any

import orjson
import pytest

from api.analysis.outlook import Outlooks
from api.kitchen import Kitchen
from api.live.broadcast import Broadcast, Event
from api.live.outlooks import TELL_EVERY_MS, OutlookNews
from collector.readings import Reading, TimeSource


def reading(at_ms: int, value: float) -> Reading:
    return Reading("north/milk", value, "Cel", at_ms, TimeSource.INSTRUMENT, at_ms)


class Pot:
    """Milk that warms by 6 K/min, a reading a second."""

    def __init__(self, kitchen: Kitchen, clock: Any) -> None:
        self.kitchen, self.clock, self.value = kitchen, clock, 20.0

    def warm(self, seconds: int) -> None:
        said = []
        for _ in range(seconds):
            self.clock.ms += 1000
            self.value += 0.1
            said.append(reading(self.clock.ms, round(self.value, 2)))
        self.kitchen.readings.append(said)


@pytest.fixture
def pot(kitchen: Kitchen, clock: Any, client: Any) -> Pot:
    made = Pot(kitchen, clock)
    made.warm(240)
    answer = client.post(
        "/v1/batches",
        json={
            "name": "North", "thermometer": "north/milk",
            "target": {"value": 80, "unit": "degC", "approach": "rising"},
        },
    )  # fmt: skip
    assert answer.status_code == 201, answer.text
    return made


@pytest.fixture
def news(kitchen: Kitchen) -> OutlookNews:
    broadcast = Broadcast(kitchen.readings, kitchen.journal.chains, kitchen.now_ms)
    return OutlookNews(kitchen, broadcast, Outlooks())


def test_an_open_batch_is_told_once_and_again_only_with_new_readings(
    pot: Pot, news: OutlookNews
) -> None:
    [(batch, found)] = news.look()

    assert found["batch"] == batch
    assert "at" in found["target"]
    pot.clock.ms += 2 * TELL_EVERY_MS
    assert news.look() == []
    pot.warm(1)
    assert [one for one, _ in news.look()] == [batch]


def test_little_changes_wait_until_it_is_time(pot: Pot, news: OutlookNews) -> None:
    news.look()
    pot.warm(2)
    soon = news.look()
    pot.warm(TELL_EVERY_MS // 1000)
    later = news.look()

    assert soon == []
    assert len(later) == 1


def test_what_changes_much_is_told_at_once(pot: Pot, news: OutlookNews, client: Any) -> None:
    [(batch, _)] = news.look()
    client.post(f"/v1/batches/{batch}/events", json={"kind": "addition"})
    pot.warm(1)
    [(_, found)] = news.look()

    assert found["target"]["why"] == "what the target was for is marked"


def test_a_closed_batch_and_one_without_a_probe_are_not_told(
    pot: Pot, news: OutlookNews, client: Any
) -> None:
    [(batch, _)] = news.look()
    client.post("/v1/batches", json={"name": "Bare"})
    client.post(f"/v1/batches/{batch}/events", json={"kind": "end"})
    pot.warm(20)

    assert news.look() == []


def test_listeners_get_it_without_a_position(pot: Pot, kitchen: Kitchen) -> None:
    broadcast = Broadcast(kitchen.readings, kitchen.journal.chains, kitchen.now_ms)

    async def heard() -> bytes:
        def wants(event: Event) -> bool:
            return event.chain == "b1"

        stream = broadcast.listen(wants, None)
        await anext(stream)
        await anext(stream)
        broadcast.tell("outlook", {"batch": "b2"}, chain="b2")
        broadcast.tell("outlook", {"batch": "b1"}, chain="b1")
        said = await anext(stream)
        await stream.aclose()  # type: ignore[attr-defined]
        return said

    name, data, *_ = asyncio.run(heard()).split(b"\n")
    assert name == b"event: outlook"
    assert orjson.loads(data.removeprefix(b"data: ")) == {"batch": "b1"}
