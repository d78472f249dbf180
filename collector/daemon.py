# SPDX-License-Identifier: MIT
"""The collector as a whole: instruments, committer, clock and store, wired and kept running.

Imports everything in `collector`; nothing in it is imported by the rest.
"""

from __future__ import annotations

import asyncio
import logging
import os
import signal
import sys
import threading
import time
from collections.abc import AsyncGenerator, Awaitable, Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path

from collector.clock import RunClock
from collector.commit import Committer
from collector.config import Config
from collector.errors import StoreError
from collector.forward import Forwarder
from collector.instruments.back_off import BackOff
from collector.instruments.protocol import Clock, Instrument
from collector.layout import check_layout
from collector.log import log_to, say
from collector.store.protocol import ReadingStore
from collector.store.sqlite import SqliteStore
from collector.store.thread import StoreThread
from collector.wiring import forwarder_of, instruments_of

SETTLE_S = 0.05
DRAIN_S = 1.5
PART_S = 1.2
CLOSE_S = 0.2
LOCK_FILE = "collector.lock"
_log = logging.getLogger(__name__)


async def collect(config: Config, store: ReadingStore, clock: Clock, *, stop: asyncio.Event) -> int:
    """Collect from all instruments of a configuration until told to stop.

    Args:
        config: The whole configuration.
        store: Where readings are kept; it is not closed.
        clock: Stamps what comes; a `RunClock` is watched over.
        stop: Set it to end: what has come is committed and acknowledged first.

    Returns:
        How many readings could not be committed before the end, and are lost unless their sender
        sends them again.
    """
    for warning in config.warnings:
        say(_log, "a setting may fail one day", level=logging.WARNING, setting=warning)
    instruments = instruments_of(config, clock)
    forwarder = forwarder_of(config)
    return await collect_from(instruments, store, clock, stop=stop, forwarder=forwarder)


async def collect_from(
    instruments: Sequence[Instrument],
    store: ReadingStore,
    clock: Clock,
    *,
    stop: asyncio.Event,
    forwarder: Forwarder | None = None,
) -> int:
    """Collect from these instruments until told to stop; see `collect`."""
    names = [instrument.name for instrument in instruments]
    level = logging.INFO if names else logging.WARNING
    say(_log, "collecting" if names else "nothing to collect from", level=level, instruments=names)
    begun_s = time.monotonic()
    worker = StoreThread()
    committer = Committer(store, call=worker.call)
    unsaved = 0
    async with asyncio.TaskGroup() as tasks:
        pumps = [tasks.create_task(pump(each, committer, stop), name=each.name)
                 for each in instruments]  # fmt: skip
        others = [tasks.create_task(committer.run(), name="committer")]
        if isinstance(clock, RunClock):
            others.append(tasks.create_task(clock.watch(call=worker.call), name="clock"))
        if forwarder is not None:
            shipping = forwarder.run(call=StoreThread("forward").call)
            others.append(tasks.create_task(shipping, name="forward"))
        await stop.wait()
        unsaved = await _drain(committer)
        for task in pumps:
            task.cancel()
        if pumps:
            await asyncio.wait(pumps, timeout=PART_S)
        for task in others:
            task.cancel()
    _say_stopped(committer, unsaved, time.monotonic() - begun_s)
    return unsaved


def _say_stopped(committer: Committer, unsaved: int, ran_s: float) -> None:
    say(
        _log,
        "stopped",
        level=logging.ERROR if unsaved else logging.INFO,
        uncommitted=unsaved,
        ran_s=round(ran_s, 1),
        **asdict(committer.total),
    )


async def _drain(committer: Committer) -> int:
    """Commit and acknowledge what has come; return how many readings were left over."""
    await asyncio.sleep(SETTLE_S)  # what threads have handed over reaches the committer
    try:
        async with asyncio.timeout(DRAIN_S):
            while committer.busy:
                await committer.idle()
    except TimeoutError:
        say(
            _log,
            "readings could not be committed before the end",
            level=logging.ERROR,
            readings=committer.waiting,
        )
    return committer.waiting


async def pump(
    instrument: Instrument,
    committer: Committer,
    stop: asyncio.Event,
    *,
    pause: Callable[[float], Awaitable[None]] = asyncio.sleep,
) -> None:
    """Hand on what an instrument delivers; an instrument that fails is begun anew.

    Args:
        instrument: Where readings come from.
        committer: Where they go.
        stop: Once it is set, nothing more is taken, and the instrument is kept open until this is
            cancelled, so that its messages can still be acknowledged.
        pause: Waits that many seconds.
    """
    back_off = BackOff(1.0, 60.0)
    while True:
        deliveries = instrument.deliveries()
        try:
            async for delivery in deliveries:
                committer.take(instrument, delivery)
                if stop.is_set():
                    await asyncio.Event().wait()
                await committer.free()
            return
        except Exception as error:
            say(
                _log,
                "an instrument failed and is begun anew",
                level=logging.ERROR,
                instrument=instrument.name,
                error=f"{type(error).__name__}: {error}",
            )
        finally:
            if isinstance(deliveries, AsyncGenerator):
                await deliveries.aclose()
        await pause(back_off.next_s())


def run_collector(config: Config, data_dir: Path) -> int:
    """Run the collector as a process of its own until SIGTERM or SIGINT.

    Args:
        config: The whole configuration.
        data_dir: The folder under which all that is kept lies; made if it isn't there.

    Returns:
        The exit code: 0 after a clean end, 1 if readings could not be committed before it.

    Raises:
        LayoutError: Another package shadows one of ours.
        StoreError: The store can't be opened, or another collector runs on this folder.
    """
    check_layout()
    log_to(sys.stderr)
    with only_collector(data_dir):
        store = SqliteStore(config.readings_path)
        try:
            return 1 if asyncio.run(_run(config, store)) else 0
        finally:
            _close(store)


async def _run(config: Config, store: SqliteStore) -> int:
    stop = asyncio.Event()
    _stop_on_signals(stop)
    return await collect(config, store, RunClock(store.record_clock_step), stop=stop)


def _stop_on_signals(stop: asyncio.Event) -> None:
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        try:
            loop.add_signal_handler(number, stop.set)
        except NotImplementedError:  # a platform whose loops have no signal handlers
            signal.signal(number, lambda *_: loop.call_soon_threadsafe(stop.set))


def _close(store: SqliteStore) -> None:
    """Close the store; if a commit hangs in it, leave it: the file is whole in either case."""
    closing = threading.Thread(target=store.close, daemon=True)
    closing.start()
    closing.join(CLOSE_S)


@contextmanager
def only_collector(data_dir: Path) -> Iterator[None]:
    """Hold the data folder for this process.

    Args:
        data_dir: Made if it isn't there.

    Raises:
        StoreError: It can't be made or written, or another collector holds it.
    """
    path = data_dir / LOCK_FILE
    try:
        data_dir.mkdir(parents=True, exist_ok=True)
        file = path.open("a+", encoding="ascii", errors="replace")
    except OSError as error:
        raise StoreError(
            f"The data folder can't be used ({error.strerror}).",
            where=str(data_dir),
            do="Check that you may write in it, or name another folder with --data.",
        ) from error
    with file:
        if not _locked(file.fileno()):
            file.seek(0)
            raise StoreError(
                f"Another collector (process {file.read().strip() or 'unknown'}) runs on this "
                "data folder.",
                where=str(data_dir),
                do="Stop it first, or name another folder with --data.",
            )
        file.truncate(0)
        file.write(str(os.getpid()))
        file.flush()
        yield


def _locked(descriptor: int) -> bool:
    """Lock a file until it is closed, and say whether that worked."""
    try:
        import fcntl
    except ImportError:  # a platform without such locks: ports and client ids are still exclusive
        return True
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
