"""Alarms from a real server: raised, returned, shelved, and kept through a kill."""

from __future__ import annotations

import json
import time
import urllib.request
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import pytest

from api.times import format_ms
from api.verifying import verify_folder
from collector.readings import Reading, TimeSource
from collector.store.sqlite import SqliteStore

if TYPE_CHECKING:
    from tests.e2e.conftest import Until
    from tests.e2e.notices.conftest import Hook, Site

pytestmark = pytest.mark.e2e


class Pot:
    """A pot of a served kitchen, whose probe says one value a second from two minutes ago on."""

    def __init__(self, site: Site, until: Until, name: str = "North") -> None:
        self.site, self.until, self.series = site, until, f"{name.lower()}/milk"
        self._next_ms = time.time_ns() // 1_000_000 - 120_000
        calm = {"name": "calm seed", "foam": {"value": 99, "unit": "degC"}}
        site.post("/v1/ingredients", calm)
        body = {
            "name": f"{name}, Monday",
            "pot": name,
            "thermometer": self.series,
            "target": {"value": 60, "unit": "degC"},
            "ingredients": [{"name": calm["name"]}],
            "started_at": format_ms(self._next_ms),
        }
        self.batch = str(site.post("/v1/batches", body)["id"])

    def say(self, values: Sequence[float]) -> None:
        """What the collector's own process does: the readings are in the store, served or not."""
        store = SqliteStore(self.site.data_dir / "readings.sqlite3")
        now_ms = time.time_ns() // 1_000_000
        source = TimeSource.INSTRUMENT
        store.append(
            [
                Reading(self.series, value, "Cel", self._next_ms + 1000 * n, source, now_ms)
                for n, value in enumerate(values)
            ]
        )
        self._next_ms += 1000 * len(values)
        store.close()

    def go_over(self) -> dict[str, Any]:
        """Bring it over its target for long enough; the alarm."""
        self.say([*[59.0 + 0.5 * n for n in range(8)], *[63.0] * 8])
        self.becomes("unacknowledged")
        return self.alarm()

    def come_back(self) -> None:
        """Bring it back for long enough."""
        self.say([*[62.6 - 0.3 * n for n in range(6)], *[60.8] * 14])

    def alarm(self, about: str = "over target") -> dict[str, Any]:
        found = self.site.get(f"/v1/alarms?history=true&batch={self.batch}")["alarms"]
        return next((one for one in found if one["about"] == about), {})

    def becomes(self, state: str, about: str = "over target") -> None:
        self.until(lambda: self.alarm(about).get("state") == state, f"{about} is {state}", 40.0)

    def actions(self) -> list[str]:
        """What has happened to its alarm, the first first."""
        wanted = self.alarm()["id"]
        changes = self.site.get(f"/v1/alarms?history=true&batch={self.batch}")["changes"]
        return [one["action"] for one in reversed(changes) if one["alarm"] == wanted]

    def answer(self, verb: str, **body: Any) -> Any:
        return self.site.post(f"/v1/alarms/{self.alarm()['id']}/{verb}", body)


@pytest.fixture
def north(site: Site, until: Until) -> Pot:
    return Pot(site, until)


def test_milk_over_its_target_goes_to_the_web_hook_and_back_to_normal(
    site: Site, north: Pot, hooks: Callable[..., Hook], until: Until
) -> None:
    hook = hooks()
    site.post("/v1/notices/routes", {"name": "phone", "address": hook.address})

    found = north.go_over()

    assert (found["priority"], found["limit"], found["unit"]) == ("medium", 62.0, "degC")
    assert found["text"].startswith("North: over the target of 60 degC: ")
    until(lambda: found["text"] in hook.taken, "the web hook has it", 60.0)
    assert north.answer("acknowledge", who="Anna")["state"] == "acknowledged"
    north.come_back()
    north.becomes("normal")
    assert north.actions() == ["raised", "acknowledged", "returned"]


def test_a_probe_that_falls_silent_in_a_step_is_an_alarm_until_it_speaks_again(
    site: Site, until: Until
) -> None:
    pot = Pot(site, until, "South")
    body = {"series": pot.series, "stale_after": {"value": 2, "unit": "s"}}
    request = urllib.request.Request(
        f"http://127.0.0.1:{site.port}/v1/instruments", json.dumps(body).encode(),
        {"Content-Type": "application/json"}, method="PUT",
    )  # fmt: skip
    urllib.request.urlopen(request, timeout=20).close()
    site.collect("South", 30.0, 30.1)
    site.post(f"/v1/batches/{pot.batch}/events", {"kind": "heat"})

    pot.becomes("unacknowledged", "series silent")
    assert "south/milk" in pot.alarm("series silent")["text"]

    def speaks() -> bool:
        site.collect("South", 30.2)
        return bool(pot.alarm("series silent")["state"] == "returned unacknowledged")

    until(speaks, "it has returned", 40.0)


def test_a_shelf_comes_to_its_end_by_itself(north: Pot) -> None:
    north.go_over()

    shelved = north.answer("shelve", for_s=1.5, why="the probe is being washed", who="Anna")

    assert (shelved["state"], shelved["why"]) == ("shelved", "the probe is being washed")
    north.becomes("unacknowledged")
    assert north.actions() == ["raised", "shelved", "shelf time over"]


def test_a_kill_keeps_every_state_and_what_came_meanwhile_is_judged(
    site: Site, north: Pot, until: Until
) -> None:
    south = Pot(site, until, "South")
    north.go_over()
    south.go_over()
    north.answer("acknowledge", who="Anna")
    south.answer("shelve", for_s=3600, why="busy elsewhere")
    before = (north.alarm(), south.alarm())

    site.kill()
    site.start()
    until(site.answers, "the server answers again", 60.0)
    assert (north.alarm(), south.alarm()) == before
    north.say([63.0] * 5)
    south.say([63.0] * 5)
    until(lambda: site.get("/healthz")["arrivals"] > 0, "they have arrived")
    assert (north.alarm(), south.alarm()) == before

    site.kill()
    north.come_back()
    site.start()
    until(site.answers, "the server answers again", 60.0)
    north.becomes("normal")
    assert north.actions() == ["raised", "acknowledged", "returned"]
    assert south.alarm() == before[1]
    site.stop()
    assert verify_folder(site.data_dir, say=lambda _: None) == []
