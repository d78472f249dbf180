"""The dead-man line: said while it is true, silent when the watch is stuck, ended in words."""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from api.kitchen import Kitchen, open_kitchen
from api.watch.alive import AliveLine
from api.watch.route_book import RouteBook

if TYPE_CHECKING:
    from tests.e2e.conftest import Until
    from tests.e2e.notices.conftest import Hook, Site

pytestmark = pytest.mark.e2e

QUICK_MINUTE_S = 0.2


@pytest.fixture
def kitchen(tmp_path: Path) -> Iterator[Kitchen]:
    opened = open_kitchen(tmp_path / "kitchen")
    yield opened
    opened.close()


class Pulse:
    """A watch that looks as long as a test wants it to."""

    def __init__(self) -> None:
        self.stuck_since_s: float | None = None

    def looked_s(self) -> float:
        return time.monotonic() if self.stuck_since_s is None else self.stuck_since_s


@contextmanager
def line_of(kitchen: Kitchen, pulse: Pulse) -> Iterator[None]:
    """Run a dead-man line in a thread, with minutes of a fifth of a second."""
    begun = threading.Event()
    parts: dict[str, object] = {}

    async def run() -> None:
        stop = asyncio.Event()
        parts.update(stop=stop, loop=asyncio.get_running_loop())
        line = AliveLine(kitchen, pulse.looked_s, minute_s=QUICK_MINUTE_S)
        task = asyncio.create_task(line.run())
        begun.set()
        await stop.wait()
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)

    thread = threading.Thread(target=lambda: asyncio.run(run()))
    thread.start()
    assert begun.wait(20)
    try:
        yield
    finally:
        loop, stop = parts["loop"], parts["stop"]
        assert isinstance(loop, asyncio.AbstractEventLoop) and isinstance(stop, asyncio.Event)
        loop.call_soon_threadsafe(stop.set)
        thread.join(30)
        assert not thread.is_alive()


def add(kitchen: Kitchen, name: str, hook: Hook, every_min: int | None) -> str:
    book = RouteBook(kitchen.journal)
    made, _ = book.add_route(name, hook.address, route_id=None, who="")
    book.set_alive(made, every_min, tell_stop=False, who="")
    return made


def test_a_route_is_told_again_and_again_and_another_never(
    kitchen: Kitchen, hooks: Callable[..., Hook], until: Until
) -> None:
    watched, other = hooks(), hooks()
    add(kitchen, "watched", watched, 1)
    add(kitchen, "other", other, None)

    with line_of(kitchen, Pulse()):
        until(lambda: len(watched.taken) >= 3, "it was told three times")

    assert set(watched.titles) == {"Kitchen: the watch is alive"}
    assert "every 1 min" in watched.taken[0]
    assert other.tried == []
    (route,) = [one for one in RouteBook(kitchen.journal).routes() if one.name == "watched"]
    assert route.alive_at is not None and route.proven_at is None
    kept = [entry.body["taken"] for entry in kitchen.journal.kitchen("alive")]
    assert kept == [True]  # the record holds changes, and no word for each word


def test_a_watch_that_is_stuck_is_silent_and_speaks_when_it_looks_again(
    kitchen: Kitchen, hooks: Callable[..., Hook], until: Until, caplog: pytest.LogCaptureFixture
) -> None:
    hook, pulse = hooks(), Pulse()
    add(kitchen, "watched", hook, 1)

    with line_of(kitchen, pulse):
        until(lambda: hook.taken, "it was told")
        pulse.stuck_since_s = time.monotonic() - 1000.0
        until(lambda: "the watch does not look" in caplog.text, "the silence is logged")
        heard = len(hook.tried)
        marker = hooks()
        add(kitchen, "later", marker, 1)
        pulse.stuck_since_s = None
        until(lambda: marker.taken, "it speaks again")

    assert heard >= 1
    assert caplog.text.count("the watch does not look") == 1


def test_a_stuck_watch_never_says_that_it_is_alive(
    kitchen: Kitchen, hooks: Callable[..., Hook], until: Until, caplog: pytest.LogCaptureFixture
) -> None:
    hook, pulse = hooks(), Pulse()
    pulse.stuck_since_s = float("-inf")
    add(kitchen, "watched", hook, 1)

    with line_of(kitchen, pulse):
        until(lambda: "the watch does not look" in caplog.text, "it has thought about it")

    assert hook.tried == []


def test_a_word_that_isn_t_taken_is_said_anew_and_not_kept(
    kitchen: Kitchen, hooks: Callable[..., Hook], until: Until
) -> None:
    hook = hooks()
    hook.refusals = 3
    route_id = add(kitchen, "watched", hook, 1)

    with line_of(kitchen, Pulse()):
        until(lambda: hook.taken, "it was taken")
        until(lambda: len(kitchen.journal.kitchen("alive")) == 2, "its answer is kept")

    assert len(hook.tried) >= 4
    kept = [entry.body["taken"] for entry in kitchen.journal.kitchen("alive")]
    assert kept == [False, True]
    assert RouteBook(kitchen.journal).route(route_id).waiting == 0


def test_a_real_watch_says_that_it_is_alive_and_that_it_was_stopped_on_purpose(
    site: Site, hooks: Callable[..., Hook], until: Until
) -> None:
    hook, quiet = hooks(), hooks()
    route = site.post("/v1/notices/routes", {"name": "watched", "address": hook.address})
    site.post("/v1/notices/routes", {"name": "quiet", "address": quiet.address})
    path = f"/v1/notices/routes/{route['id']}/alive"

    site.post(path, {"every_min": 5, "tell_stop": True})
    until(lambda: hook.titles == ["Kitchen: the watch is alive"], "it says so at once", 60.0)
    until(
        lambda: (
            [one["alive_at"] for one in site.get("/v1/notices/routes")["routes"]].count(None) == 1
        ),
        "that is kept",
    )
    assert site.stop() == 0

    assert hook.titles[1:] == ["Kitchen: the watch was stopped"]
    assert "on purpose" in hook.taken[1]
    assert quiet.tried == []


def test_a_killed_watch_is_just_silent_and_its_interval_goes_on_after_the_restart(
    site: Site, hooks: Callable[..., Hook], until: Until
) -> None:
    hook = hooks()
    route = site.post("/v1/notices/routes", {"name": "watched", "address": hook.address})
    path = f"/v1/notices/routes/{route['id']}/alive"
    site.post(path, {"every_min": 60, "tell_stop": True})
    until(lambda: site.get("/v1/notices/routes")["routes"][0]["alive_at"], "it is told", 60.0)

    site.kill()
    site.start()
    until(site.answers, "the server answers again", 60.0)
    site.post("/v1/notices/routes", {"name": "later", "address": f"{hook.address}/later"})
    later = site.get("/v1/notices/routes")["routes"][0]["id"]
    site.post(f"/v1/notices/routes/{later}/alive", {"every_min": 60})
    until(lambda: any("later" in path for path in hook.paths), "the other is told", 60.0)

    assert [path for path in hook.paths if "later" not in path] == [f"/{hook.secret}"]
