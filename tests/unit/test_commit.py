"""Committing and acknowledging, with a store and senders that the test holds in its hand."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from dataclasses import dataclass, field, replace

import pytest

from collector.commit import A, Committer, R
from collector.errors import StoreError
from collector.instruments.protocol import Delivery
from collector.readings import Quality, Reading, TimeSource
from collector.store.protocol import Appended, SeriesInfo, Stretch


def reading(number: int, series: str = "north/t") -> Reading:
    return Reading(series, float(number), "Cel", number, TimeSource.INSTRUMENT, number)


@dataclass
class Store:
    """Keeps readings in a list, and fails when it is told to."""

    kept: list[Reading] = field(default_factory=list)
    commits: list[int] = field(default_factory=list)
    failures: list[Exception] = field(default_factory=list)
    refuses: Callable[[Reading], bool] = lambda r: False

    def append(self, readings: Sequence[Reading]) -> Appended:
        """Keep them, or raise the next failure."""
        if self.failures:
            raise self.failures.pop(0)
        if any(self.refuses(r) for r in readings):
            raise OverflowError("too large")
        self.kept += readings
        self.commits.append(len(readings))
        bad = sum(r.quality is Quality.BAD for r in readings)
        return Appended(len(readings), 0, 0, bad, 0, len(self.kept))

    def stretch(self, series: str, from_ms: int | None, to_ms: int | None) -> Stretch:
        """Not asked for here."""
        raise NotImplementedError

    def series(self) -> list[SeriesInfo]:
        """Not asked for here."""
        raise NotImplementedError

    def close(self) -> None:
        """Nothing to close."""


@dataclass
class Sender:
    """Remembers what was acknowledged, and how much was kept by then."""

    store: Store
    name: str = "sender"
    acknowledged: list[tuple[object, int]] = field(default_factory=list)
    fails: bool = False

    async def deliveries(self) -> AsyncIterator[Delivery]:
        """Not asked for here."""
        raise NotImplementedError
        yield

    def committed(self, receipts: Sequence[object]) -> None:
        """Note them."""
        if self.fails:
            raise ConnectionError("gone")
        self.acknowledged += [(receipt, len(self.store.kept)) for receipt in receipts]


async def call(function: Callable[[A], R], argument: A) -> R:
    await asyncio.sleep(0)
    return function(argument)


async def no_pause(seconds: float) -> None:
    await asyncio.sleep(0)


async def run(committer: Committer, script: Callable[[], Awaitable[None]]) -> None:
    task = asyncio.create_task(committer.run())
    try:
        await script()
        await committer.idle()
    finally:
        task.cancel()


def committer_of(store: Store, **settings: int) -> Committer:
    return Committer(store, call=call, pause=no_pause, **settings)


def test_readings_are_acknowledged_after_the_commit_and_in_order() -> None:
    store = Store()
    sender = Sender(store)
    committer = committer_of(store)

    async def script() -> None:
        for number in range(3):
            committer.take(sender, Delivery([reading(number)], f"receipt {number}"))

    asyncio.run(run(committer, script))
    assert [r.time_ms for r in store.kept] == [0, 1, 2]
    assert sender.acknowledged == [("receipt 0", 3), ("receipt 1", 3), ("receipt 2", 3)]


def test_what_comes_during_a_commit_is_taken_by_the_next_one_together() -> None:
    store = Store()
    sender = Sender(store)

    async def call_while_more_comes(function: Callable[[A], R], argument: A) -> R:
        if not store.commits:
            for number in range(1, 51):
                committer.take(sender, Delivery([reading(number)]))
        return function(argument)

    committer = Committer(store, call=call_while_more_comes, pause=no_pause)

    async def script() -> None:
        committer.take(sender, Delivery([reading(0)]))

    asyncio.run(run(committer, script))
    assert store.commits == [1, 50]


def test_while_the_store_fails_nothing_is_lost_and_nothing_acknowledged() -> None:
    failures: list[Exception] = [StoreError("disk full") for _ in range(5)]
    store = Store(failures=failures)
    sender = Sender(store)
    committer = committer_of(store)

    async def script() -> None:
        committer.take(sender, Delivery([reading(1)], "first"))
        while len(store.failures) > 1:
            await asyncio.sleep(0)
        committer.take(sender, Delivery([reading(2)], "second"))
        assert sender.acknowledged == []

    asyncio.run(run(committer, script))
    assert [r.time_ms for r in store.kept] == [1, 2]
    assert [receipt for receipt, _ in sender.acknowledged] == ["first", "second"]


def test_a_failing_store_and_its_recovery_make_one_log_line_each(
    caplog: pytest.LogCaptureFixture,
) -> None:
    caplog.set_level("INFO")
    store = Store(failures=[StoreError("disk full") for _ in range(20)])
    sender = Sender(store)
    committer = committer_of(store)

    async def script() -> None:
        committer.take(sender, Delivery([reading(1)]))

    asyncio.run(run(committer, script))
    assert [record.message for record in caplog.records] == [
        "the store can not be written",
        "the store is written again",
    ]


def test_beyond_the_limit_readings_without_a_waiting_sender_are_lost_and_counted() -> None:
    store = Store(failures=[StoreError("disk full")] * 50)
    line = Sender(store, name="/dev/ttyUSB0")
    broker = Sender(store, name="broker")
    committer = committer_of(store, waiting_limit=10)

    async def script() -> None:
        for number in range(25):
            committer.take(line, Delivery([reading(1_700_000_000_000 + number * 1000)]))
        for number in range(5):
            committer.take(broker, Delivery([reading(number, "broker/t")], number))

    asyncio.run(run(committer, script))
    assert sum(r.series == "north/t" for r in store.kept) == 10
    assert sum(r.series == "broker/t" for r in store.kept) == 5
    assert [receipt for receipt, _ in broker.acknowledged] == [0, 1, 2, 3, 4]
    (told,) = [r for r in store.kept if r.quality is Quality.BAD]
    assert told.series == "dev/ttyUSB0"
    assert told.reason.startswith(
        "15 readings from 2023-11-14T22:13:30Z to 2023-11-14T22:13:44Z were lost"
    )


def test_one_reading_that_cannot_be_stored_holds_up_no_other() -> None:
    store = Store(refuses=lambda r: r.time_ms == 2**70)
    sender = Sender(store)
    committer = committer_of(store)
    odd = replace(reading(3), time_ms=2**70, arrival_ms=2**70)

    async def script() -> None:
        committer.take(sender, Delivery([reading(1), reading(2), odd, reading(4)], "all"))

    asyncio.run(run(committer, script))
    assert [r.time_ms for r in store.kept if r.quality is Quality.GOOD] == [1, 2, 4]
    (bad,) = [r for r in store.kept if r.quality is Quality.BAD]
    assert bad.series == "north/t"
    assert bad.reason == "could not be stored: OverflowError"
    assert bad.frame is not None and b"value=3.0" in bad.frame
    assert [receipt for receipt, _ in sender.acknowledged] == ["all"]


def test_a_store_that_refuses_even_the_substitute_does_not_stop_the_rest() -> None:
    store = Store(refuses=lambda r: r.series == "odd")
    sender = Sender(store)
    committer = committer_of(store)

    async def script() -> None:
        committer.take(sender, Delivery([reading(1, "odd"), reading(2)], "both"))

    asyncio.run(run(committer, script))
    assert [r.time_ms for r in store.kept] == [2]
    assert [receipt for receipt, _ in sender.acknowledged] == ["both"]


def test_a_sender_that_fails_on_acknowledgement_does_not_stop_the_others() -> None:
    store = Store()
    gone, there = Sender(store, fails=True), Sender(store)
    committer = committer_of(store)

    async def script() -> None:
        committer.take(gone, Delivery([reading(1)], "a"))
        committer.take(there, Delivery([reading(2)], "b"))

    asyncio.run(run(committer, script))
    assert [receipt for receipt, _ in there.acknowledged] == ["b"]


def test_totals_say_what_became_of_all_readings() -> None:
    store = Store()
    sender = Sender(store)
    committer = committer_of(store)

    async def script() -> None:
        committer.take(sender, Delivery([reading(1)]))
        await committer.idle()
        committer.take(sender, Delivery([replace(reading(2), quality=Quality.BAD, value=None)]))

    asyncio.run(run(committer, script))
    assert committer.total == Appended(2, 0, 0, 1, 0, 2)


def test_who_asks_for_more_waits_for_the_commit_but_not_for_a_store_that_fails() -> None:
    store = Store()
    sender = Sender(store)
    committer = committer_of(store)

    async def script() -> None:
        committer.take(sender, Delivery([reading(1)]))
        await committer.free()
        assert len(store.kept) == 1
        store.failures = [StoreError("disk full")] * 1000
        committer.take(sender, Delivery([reading(2)]))
        await committer.free()
        assert len(store.kept) == 1
        committer.take(sender, Delivery([reading(3)]))
        await committer.free()  # and while it fails, at once
        assert len(store.failures) > 900

    asyncio.run(run(committer, script))
    assert [r.time_ms for r in store.kept] == [1, 2, 3]
