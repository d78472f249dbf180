"""Notices by a real web hook and a real broker, from a server that is killed and started."""

from __future__ import annotations

import http.client
import json
from collections.abc import Callable
from typing import TYPE_CHECKING

import pytest

from api.verifying import verify_folder

if TYPE_CHECKING:
    from tests.e2e.conftest import Until
    from tests.e2e.notices.conftest import Hook, Site

pytestmark = pytest.mark.e2e


def test_a_crossing_goes_from_the_reading_to_the_page_and_the_web_hook(
    site: Site, hooks: Callable[..., Hook], until: Until
) -> None:
    hook = hooks()
    route = site.post("/v1/notices/routes", {"name": "phone", "address": hook.address})
    batch = site.batch("North", 82.0)
    page = http.client.HTTPConnection("127.0.0.1", site.port, timeout=20)
    page.request("GET", f"/v1/live?batch={batch}")
    stream = page.getresponse()
    assert stream.readline() == b"retry: 1000\n"

    site.collect("North", 81.0, 81.5, 82.5)

    event: dict[str, str] = {}
    while event.get("event") != "alarm":
        event = dict(line.split(": ", 1) for line in _lines_of_event(stream) if ": " in line)
    page.close()
    alarm = json.loads(event["data"])
    assert (alarm["batch"], alarm["text"]) == (batch, "North: passing 82 degC, rising")
    until(lambda: hook.taken, "the web hook has it", 60.0)
    assert hook.taken == ["North: passing 82 degC, rising"]
    assert hook.titles == ["North: passing 82 degC"]
    until(lambda: [s["state"] for s in site.sendings()] == ["sent"], "the sending is recorded")
    (shown,) = site.get("/v1/notices/routes")["routes"]
    assert shown["id"] == route["id"] and shown["proven_at"] is not None
    assert hook.secret not in json.dumps([shown, site.get("/v1/notices"), route])


def _lines_of_event(stream: http.client.HTTPResponse) -> list[str]:
    lines: list[str] = []
    while (line := stream.readline().decode().rstrip("\n")) or not lines:
        lines += [line] if line else []
    return lines


def test_a_server_killed_between_alarm_and_notice_still_tells_after_the_restart(
    site: Site, hooks: Callable[..., Hook], free_port: int, until: Until
) -> None:
    port = free_port
    site.post("/v1/notices/routes", {"name": "phone", "address": f"json://127.0.0.1:{port}/x"})
    site.batch("North")
    site.collect("North", 78.0, 79.0, 81.0)
    until(lambda: [s for s in site.sendings() if s["tries"] >= 1], "the route was tried in vain")
    (alarm,) = site.alarms()

    site.kill()
    hook = hooks(port)
    site.start()
    until(site.answers, "the server answers again", 60.0)
    until(lambda: hook.taken, "the web hook has it", 60.0)
    until(lambda: [s["state"] for s in site.sendings()] == ["sent"], "the sending is recorded")

    assert [text.split(" (Sent late")[0] for text in hook.taken] == [alarm["text"]]
    assert [a["id"] for a in site.alarms()] == [alarm["id"]]


def test_what_was_reached_while_the_server_was_dead_is_told_after_the_restart(
    site: Site, hooks: Callable[..., Hook], until: Until
) -> None:
    hook = hooks()
    site.post("/v1/notices/routes", {"name": "phone", "address": hook.address})
    site.batch("North")
    site.collect("North", 76.0, 77.0)
    site.kill()

    site.collect("North", 78.0, 79.0, 81.0)
    site.start()
    until(lambda: hook.taken, "the web hook has it", 60.0)

    assert hook.taken == ["North: passing 80 degC, rising"]


def test_kills_at_any_moment_end_in_one_notice_for_each_cause(
    site: Site, hooks: Callable[..., Hook], until: Until
) -> None:
    hook = hooks()
    site.post("/v1/notices/routes", {"name": "phone", "address": hook.address})
    pots = [f"Pot-{number}" for number in range(4)]
    for pot in pots:
        site.batch(pot)
        site.collect(pot, 76.0, 77.0)

    for number, pot in enumerate(pots):
        site.collect(pot, 78.0, 79.0, 80.5)
        if number % 2:  # some while it judges and sends, some as soon as it is heard
            until(lambda pot=pot: [t for t in hook.tried if pot in t], "it is sent")  # type: ignore[misc]
        site.kill()
        site.start()
        until(site.answers, "the server answers again", 60.0)

    until(lambda: [s["state"] for s in site.sendings()] == ["sent"] * 4, "all of them are sent")
    texts = sorted(alarm["text"] for alarm in site.alarms())
    assert texts == [f"{pot}: passing 80 degC, rising" for pot in pots]
    assert sorted({text for text in hook.taken if "passing" in text}) == texts
    site.stop()
    assert verify_folder(site.data_dir, say=lambda _: None) == []


def test_a_test_proves_a_route_and_a_failed_one_says_so(
    site: Site, hooks: Callable[..., Hook]
) -> None:
    hook = hooks()
    route = site.post("/v1/notices/routes", {"name": "phone", "address": hook.address})
    path = f"/v1/notices/routes/{route['id']}/test"

    proven = site.post(path, {})
    hook.refusals = 1
    failed = site.post(path, {})

    assert proven["taken"] is True and proven["proven_at"] is not None
    assert failed["taken"] is False and failed["proven_at"] is None
    assert "500" in failed["answer"]
    assert len(hook.taken) == 1 and "test" in hook.taken[0].lower()
    assert site.get("/v1/notices/routes")["routes"][0]["proven_at"] is None
    assert hook.paths == [f"/{hook.secret}"] * 2
    assert hook.secret not in site.log.read_text() + json.dumps([proven, failed])
