"""Pumping from instruments that end, fail or are stopped, and the lock on the data folder."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator, Callable, Sequence
from pathlib import Path

import pytest

from collector.commit import A, Committer, R
from collector.daemon import LOCK_FILE, only_collector, pump
from collector.errors import StoreError
from collector.instruments.protocol import Delivery
from collector.readings import Reading, TimeSource
from collector.store.protocol import Appended, SeriesInfo, Stretch


class Store:
    """Keeps readings in a list."""

    def __init__(self) -> None:
        self.kept: list[Reading] = []

    def append(self, readings: Sequence[Reading]) -> Appended:
        """Keep them."""
        self.kept += readings
        return Appended(len(readings), 0, 0, 0, 0, len(self.kept))

    def stretch(self, series: str, from_ms: int | None, to_ms: int | None) -> Stretch:
        """Not asked for here."""
        raise NotImplementedError

    def series(self) -> list[SeriesInfo]:
        """Not asked for here."""
        raise NotImplementedError

    def close(self) -> None:
        """Nothing to close."""


class Source:
    """An instrument that plays a script: numbers are delivered, exceptions raised."""

    name = "source"

    def __init__(self, *lives: Sequence[int | Exception]) -> None:
        self.lives = list(lives)
        self.closed = 0
        self.acknowledged: list[object] = []

    async def deliveries(self) -> AsyncGenerator[Delivery, None]:
        """Play the next life."""
        try:
            for what in self.lives.pop(0):
                if isinstance(what, Exception):
                    raise what
                value = Reading("a", float(what), "Cel", what, TimeSource.INSTRUMENT, what)
                yield Delivery([value], what)
        finally:
            self.closed += 1

    def committed(self, receipts: Sequence[object]) -> None:
        """Note them."""
        self.acknowledged += receipts


async def call(function: Callable[[A], R], argument: A) -> R:
    await asyncio.sleep(0)
    return function(argument)


def played(source: Source) -> tuple[Store, list[float]]:
    store = Store()
    pauses: list[float] = []

    async def pause(seconds: float) -> None:
        pauses.append(seconds)

    async def main() -> None:
        committer = Committer(store, call=call, pause=pause)
        task = asyncio.create_task(committer.run())
        await pump(source, committer, asyncio.Event(), pause=pause)
        await committer.idle()
        task.cancel()

    asyncio.run(main())
    return store, pauses


def test_an_instrument_that_ends_is_left_alone() -> None:
    source = Source([1, 2, 3])
    store, pauses = played(source)
    assert [reading.value for reading in store.kept] == [1, 2, 3]
    assert source.acknowledged == [1, 2, 3]
    assert (source.closed, pauses) == (1, [])


def test_an_instrument_that_fails_is_closed_and_begun_anew_with_growing_patience() -> None:
    source = Source([1, OSError("gone")], [ValueError("odd")], [RuntimeError("no")], [2])
    store, pauses = played(source)
    assert [reading.value for reading in store.kept] == [1, 2]
    assert source.closed == 4
    assert len(pauses) == 3
    assert pauses[0] < pauses[1] < pauses[2] <= 60


def test_once_stopped_an_instrument_stays_open_until_it_is_let_go() -> None:
    source = Source(range(1000))
    store = Store()

    async def main() -> None:
        committer = Committer(store, call=call)
        stop = asyncio.Event()
        commits = asyncio.create_task(committer.run())
        pumping = asyncio.create_task(pump(source, committer, stop))
        while len(store.kept) < 5:
            await asyncio.sleep(0)
        stop.set()
        while committer.busy:
            await committer.idle()
        for _ in range(10):
            await asyncio.sleep(0)
        assert source.closed == 0  # it can still acknowledge
        assert source.acknowledged == [reading.value for reading in store.kept]
        pumping.cancel()
        await asyncio.wait([pumping])
        assert source.closed == 1
        commits.cancel()

    asyncio.run(main())
    assert len(store.kept) < 1000


def test_a_data_folder_belongs_to_one_collector_at_a_time(tmp_path: Path) -> None:
    folder = tmp_path / "not" / "there" / "yet"
    with only_collector(folder):
        with pytest.raises(StoreError, match=r"Another collector \(process \d+\) runs"):
            with only_collector(folder):
                pass
        assert (folder / LOCK_FILE).exists()
    with only_collector(folder):
        pass


def test_a_data_folder_that_cannot_be_made_is_told_with_its_path(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(StoreError) as raised:
        with only_collector(tmp_path / "file" / "data"):
            pass
    assert raised.value.where == str(tmp_path / "file" / "data")
    assert "--data" in raised.value.do
