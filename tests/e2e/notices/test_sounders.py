"""A wired sounder: on at an alarm, off at the acknowledgement, over a real line or broker."""

from __future__ import annotations

import json
import os
import select
import tty
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.e2e.conftest import Mosquitto, Until
    from tests.e2e.notices.conftest import Site

pytestmark = pytest.mark.e2e


class Buzzer:
    """The far end of a serial line: keeps the bytes that it is told, each with its moment."""

    def __init__(self, link: Path) -> None:
        self.link = link
        self.heard = b""
        self._ends: tuple[int, ...] = ()
        self.plug()

    def plug(self) -> None:
        near, far = os.openpty()
        tty.setraw(far)
        self.link.unlink(missing_ok=True)
        self.link.symlink_to(os.ttyname(far))
        self._ends = (near, far)

    def pull(self) -> None:
        for end in self._ends:
            os.close(end)
        self._ends = ()
        self.link.unlink(missing_ok=True)

    def listen(self) -> bytes:
        """Return all that came up to now."""
        while self._ends and select.select([self._ends[0]], [], [], 0)[0]:
            self.heard += os.read(self._ends[0], 4096)
        return self.heard

    def forget(self) -> None:
        self.listen()
        self.heard = b""


@pytest.fixture
def buzzer(tmp_path: Path) -> Iterator[Buzzer]:
    made = Buzzer(tmp_path / "buzzer")
    yield made
    made.pull()


Configure = Callable[[str], None]


@pytest.fixture
def configured(site: Site, until: Until) -> Configure:
    """Write a configuration and start the server anew with it."""

    def configure(text: str) -> None:
        site.stop()
        (site.data_dir / "curdwright.toml").write_text(text, encoding="utf-8")
        site.start()
        until(site.answers, "the server answers again", 60.0)

    return configure


def stanza(buzzer: Buzzer, repeat_s: int = 3600) -> str:
    return (
        f'[[sounder]]\nname = "hall"\nport = "{buzzer.link}"\nbaud = 115200\n'
        f'on = "\\u00a0\\u0001\\u0001\\u00a2"\noff = "\\u00a0\\u0001\\u0000\\u00a1"\n'
        f"repeat_s = {repeat_s}\n"
    )


ON, OFF = b"\xa0\x01\x01\xa2", b"\xa0\x01\x00\xa1"


def test_it_sounds_at_an_alarm_and_is_quiet_when_that_is_acknowledged(
    site: Site, configured: Configure, buzzer: Buzzer, until: Until
) -> None:
    configured(stanza(buzzer, repeat_s=1))
    until(lambda: buzzer.listen() == OFF, "it is told at the start that nothing is the matter")
    site.batch("North")
    site.batch("South")

    for number, pot in enumerate(("North", "South")):
        site.collect(pot, 78.0, 79.0, 81.0)
        until(lambda n=number: len(site.get("/v1/alarms")["alarms"]) == n + 1, "it has called")  # type: ignore[misc]
    until(lambda: buzzer.listen().endswith(ON), "it sounds")
    first, second = site.get("/v1/alarms")["alarms"]
    site.post(f"/v1/alarms/{first['id']}/acknowledge", {})
    buzzer.forget()
    until(lambda: len(buzzer.listen()) >= 2 * len(ON), "it is told again")
    assert OFF not in buzzer.heard  # the other alarm still calls
    site.post(f"/v1/alarms/{second['id']}/acknowledge", {})

    until(lambda: buzzer.listen().endswith(OFF), "it is quiet")
    until(lambda: told(site) == ["on", "off"], "both changes are in the record")


def told(site: Site) -> list[str]:
    """Return what the record says that the sounder was told."""
    import sqlite3

    with sqlite3.connect(f"file:{site.data_dir}/records.sqlite3?mode=ro", uri=True) as records:
        rows = records.execute("SELECT text FROM entry WHERE kind = 'sounder' ORDER BY number")
        return [json.loads(text)["body"]["told"] for (text,) in rows]


def test_it_finds_its_state_after_a_kill_and_after_its_plug_was_pulled(
    site: Site, configured: Configure, buzzer: Buzzer, until: Until
) -> None:
    configured(stanza(buzzer))
    site.batch("North")
    site.collect("North", 78.0, 79.0, 81.0)
    until(lambda: buzzer.listen().endswith(ON), "it sounds")

    site.kill()
    buzzer.forget()
    site.start()
    until(lambda: buzzer.listen().endswith(ON), "it sounds after the restart", 60.0)
    until(site.answers, "the server answers again", 60.0)

    buzzer.pull()
    (alarm,) = site.get("/v1/alarms")["alarms"]
    site.post(f"/v1/alarms/{alarm['id']}/acknowledge", {})
    until(lambda: "a sounder was not told" in site.log.read_text(), "it is missed")
    buzzer.forget()
    buzzer.plug()

    until(lambda: buzzer.listen().endswith(OFF), "it is quiet as soon as it is plugged in")


def test_its_state_is_told_again_and_again(
    site: Site, configured: Configure, buzzer: Buzzer, until: Until
) -> None:
    configured(stanza(buzzer, repeat_s=1))

    until(lambda: buzzer.listen().startswith(OFF * 3), "it was told three times")


def test_a_test_switches_it_on_and_off_and_a_missing_one_says_why(
    site: Site, configured: Configure, buzzer: Buzzer, until: Until
) -> None:
    configured(stanza(buzzer))
    until(lambda: buzzer.listen() == OFF, "it is told at the start")
    (route,) = site.get("/v1/notices/routes")["routes"]

    proven = site.post(f"/v1/notices/routes/{route['id']}/test", {})
    until(lambda: buzzer.listen() == OFF + ON + OFF, "it sounded and is quiet")
    buzzer.pull()
    failed = site.post(f"/v1/notices/routes/{route['id']}/test", {})

    assert (route["name"], route["address"]) == ("hall", f"serial port {buzzer.link}")
    assert (proven["taken"], proven["answer"]) == (True, "4 bytes written")
    assert failed["taken"] is False and failed["proven_at"] is None
    assert failed["answer"]


def test_a_lamp_at_a_broker_finds_its_state_retained(
    site: Site, configured: Configure, mosquitto: Mosquitto, until: Until
) -> None:
    broker = mosquitto()
    configured(
        f'[[sounder]]\nname = "lamp"\nhost = "127.0.0.1"\nbroker_port = {broker.port}\n'
        'topic = "kitchen/lamp"\non = "ON"\noff = "OFF"\n'
    )
    assert retained(broker.port) == "OFF"
    site.batch("North")
    site.collect("North", 78.0, 79.0, 81.0)
    until(lambda: told(site) == ["on"], "it is told")

    assert retained(broker.port) == "ON"


def retained(port: int) -> str:
    """Return what a lamp is told that comes now and waits for its state."""
    import subprocess

    command = ["mosquitto_sub", "-h", "127.0.0.1", "-p", str(port), "-t", "kitchen/lamp", "-C", "1"]
    return subprocess.run(
        [*command, "-W", "20"], capture_output=True, text=True, check=True
    ).stdout.strip()


def test_a_sounder_is_not_taken_back_over_http(
    site: Site, configured: Configure, buzzer: Buzzer
) -> None:
    configured(stanza(buzzer))

    with pytest.raises(AssertionError, match=r"409.*sounder"):
        site.post("/v1/notices/routes", {"withdraws": "sounder:hall"})
