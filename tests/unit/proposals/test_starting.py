"""A pot that begins to heat: its batch is joined, else the kitchen is asked."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, Protocol

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.hands_free.starting import Starting
from api.kitchen import Kitchen
from api.proposals.service import Proposing
from api.settings import Settings
from api.times import parse_ms
from collector.config_sections import HandsFree

HEAT_S = 300.0


class Clock(Protocol):
    ms: int


class Pot(Protocol):
    client: TestClient
    clock: Clock
    zero_ms: int

    def at(self, time_s: float) -> str: ...
    def until(self, time_s: float) -> None: ...
    def batch(self, **more: Any) -> str: ...


class Idle:
    """The pot North as the list of pots has it, with whoever watches it."""

    def __init__(self, pot: Pot, kitchen: Kitchen) -> None:
        self.pot, self.kitchen = pot, kitchen
        self.watcher = Starting(kitchen, Proposing(kitchen))
        listed = {"name": "North", "thermometer": "north/milk", "scale": "north/scale"}
        assert pot.client.post("/v1/pots", json=listed).status_code == 201

    def with_setting(self, setting: str) -> Idle:
        section = HandsFree.model_validate({"when_heated": setting})
        config = self.kitchen.config.model_copy(update={"hands_free": section})
        changed = replace(self.kitchen, settings=Settings(self.kitchen.journal, config))
        self.watcher = Starting(changed, Proposing(changed))
        return self

    def warm(self) -> None:
        """Let it stand, then heat it for a minute and a half, looking now and then."""
        for time_s in range(60, 391, 30):
            self.pot.until(float(time_s))
            self.watcher.look()

    def get(self, path: str) -> Any:
        answer = self.pot.client.get(path)
        assert answer.status_code == 200, answer.text
        return answer.json()

    def post(self, path: str, body: Any = None, status: int = 201) -> Any:
        answer = self.pot.client.post(path, json=body)
        assert answer.status_code == status, answer.text
        return answer.json()

    def questions(self) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = self.get("/v1/questions")["questions"]
        return found


@pytest.fixture
def idle(pot: Pot, kitchen: Kitchen) -> Idle:
    return Idle(pot, kitchen)


def off_s(idle: Idle, at: str) -> float:
    return abs((parse_ms(at) - idle.pot.zero_ms) / 1000.0 - HEAT_S)


def test_the_one_batch_that_waits_for_the_pot_is_joined(idle: Idle) -> None:
    batch = idle.pot.batch(thermometer=None)
    idle.warm()

    found = idle.get(f"/v1/batches/{batch}")

    assert found["state"] == "running"
    assert [(one["series"], one["place"]) for one in found["bindings"]] == [
        ("north/milk", "milk"),
        ("north/scale", "under_pot"),
    ]
    [heat] = found["events"]
    assert (heat["kind"], heat["by"]) == ("heat", "detector")
    assert heat["accepted"] == "as the kitchen says"
    assert off_s(idle, heat["at"]) < 15
    assert idle.questions() == []


def test_a_batch_that_is_bound_already_has_its_own_proposal_accepted(idle: Idle) -> None:
    batch = idle.pot.batch()
    idle.warm()

    [proposal] = idle.get(f"/v1/batches/{batch}/proposals")["proposals"]

    assert proposal["state"] == "accepted"
    assert proposal["event"]["accepted"] == "as the kitchen says"
    assert len(idle.get(f"/v1/batches/{batch}")["bindings"]) == 2


def test_without_a_batch_the_kitchen_is_asked_once(idle: Idle) -> None:
    idle.warm()
    Starting(idle.kitchen, Proposing(idle.kitchen)).look()  # after a restart

    [question] = idle.questions()

    assert (question["pot"], question["state"], question["waiting"]) == ("North", "open", [])
    assert question["confidence"] >= 0.9
    assert off_s(idle, question["at"]) < 15


def test_one_touch_starts_the_batch_when_the_heat_came_on(idle: Idle) -> None:
    idle.warm()
    [question] = idle.questions()

    answer = idle.post(f"/v1/questions/{question['id']}/start", {"who": "Ama"})

    assert answer["state"] == "answered"
    batch = idle.get(f"/v1/batches/{answer['batch']}")
    assert batch["started_at"] == question["at"]
    assert batch["by"] == "detector"
    assert (batch["pot"], batch["thermometer"]) == ("North", "north/milk")
    assert batch["scale"] == "north/scale"
    [heat] = batch["events"]
    assert (heat["kind"], heat["by"], heat["who"]) == ("heat", "detector", "Ama")
    again = idle.post(f"/v1/questions/{question['id']}/start", {"who": "Ama"}, 200)
    assert again["batch"] == answer["batch"]
    assert len(idle.get("/v1/batches")["batches"]) == 1


def test_with_two_that_wait_the_kitchen_is_asked_which(idle: Idle) -> None:
    one, other = idle.pot.batch(name="soybean"), idle.pot.batch(name="pea", thermometer=None)
    idle.warm()
    [question] = idle.questions()
    assert {each["id"] for each in question["waiting"]} == {one, other}

    idle.post(f"/v1/questions/{question['id']}/start", {"batch": other})

    assert idle.get(f"/v1/batches/{other}")["state"] == "running"
    assert idle.get(f"/v1/batches/{one}")["state"] == "planned"
    [now] = idle.questions()
    assert (now["state"], now["batch"]) == ("answered", other)


def test_a_question_can_be_refused_and_then_stays_so(idle: Idle) -> None:
    idle.warm()
    [question] = idle.questions()

    assert idle.post(f"/v1/questions/{question['id']}/dismiss")["state"] == "dismissed"
    assert idle.post(f"/v1/questions/{question['id']}/dismiss", None, 200)["state"] == "dismissed"
    refused = idle.post(f"/v1/questions/{question['id']}/start", None, 409)
    assert "dismissed" in refused["detail"]
    assert idle.post("/v1/questions/nothing/start", None, 404)["detail"]


def test_a_kitchen_may_want_to_be_asked_always(idle: Idle) -> None:
    batch = idle.pot.batch()
    idle.with_setting("ask").warm()

    assert idle.get(f"/v1/batches/{batch}")["state"] == "planned"
    [question] = idle.questions()
    assert [one["id"] for one in question["waiting"]] == [batch]


def test_a_pot_that_is_under_way_asks_nothing(idle: Idle) -> None:
    batch = idle.pot.batch()
    idle.post(f"/v1/batches/{batch}/events", {"kind": "grind"})
    idle.warm()

    assert idle.questions() == []
    assert [one["kind"] for one in idle.get(f"/v1/batches/{batch}")["events"]] == ["grind"]


def test_a_question_is_past_once_a_batch_is_under_way_there(idle: Idle) -> None:
    idle.warm()
    batch = idle.pot.batch()
    idle.post(f"/v1/batches/{batch}/events", {"kind": "heat"})

    assert [one["state"] for one in idle.questions()] == ["past"]


def test_a_pot_without_a_thermometer_in_the_list_is_left_alone(pot: Pot, kitchen: Kitchen) -> None:
    assert pot.client.post("/v1/pots", json={"name": "North"}).status_code == 201
    watcher = Starting(kitchen, Proposing(kitchen))
    pot.until(390.0)

    watcher.look()

    assert pot.client.get("/v1/questions").json()["questions"] == []


def test_the_stove_asks_with_one_touch_for_each_answer(idle: Idle) -> None:
    idle.warm()

    [question] = idle.questions()

    page = idle.pot.client.get("/").text

    assert "<b>North has begun to heat at <time" in page
    assert f">{question['at'][11:16]}</time>.</b>" in page  # the kitchen's zone is UTC
    assert page.count("data-start-question=") == 1
    assert page.count("data-refuse-question=") == 1


def test_a_setting_that_is_none_is_a_fault_of_the_configuration(
    tmp_path: Path, make_fault: Callable[[Path, str], str]
) -> None:
    text = make_fault(tmp_path, '[hands_free]\nwhen_heated = "always"\n')

    assert "hands_free.when_heated" in text


@pytest.fixture
def make_fault() -> Callable[[Path, str], str]:
    """Return what is said of a faulty configuration."""
    from collector.config import load_config
    from collector.errors import ConfigError

    def fault(folder: Path, text: str) -> str:
        (folder / "curdwright.toml").write_text(text, encoding="utf-8")
        with pytest.raises(ConfigError) as raised:
            load_config(None, folder, environ={})
        return str(raised.value)

    return fault


def test_an_app_watches_its_idle_pots(kitchen: Kitchen) -> None:
    assert isinstance(create_app(kitchen).state.starting, Starting)
