"""A button at a pot: the next expected step of its batch is marked at the press's own time."""

from __future__ import annotations

from typing import Any, Protocol

import pytest
from fastapi.testclient import TestClient

from api.hands_free.buttons import Buttons
from api.kitchen import Kitchen
from api.watch.notice_book import NoticeBook
from api.watch.post import Post

BUTTON = "north/button"


class Clock(Protocol):
    ms: int


class Bench:
    """A kitchen with a button at pot North."""

    def __init__(self, client: TestClient, kitchen: Kitchen, clock: Clock, senml: Any) -> None:
        self.client, self.kitchen, self.clock, self.senml = client, kitchen, clock, senml
        self.buttons = self.restarted()
        assert client.post("/v1/pots", json={"name": "North", "button": BUTTON}).status_code == 201
        self.say((-60.0, False))
        self.buttons.look()

    def restarted(self) -> Buttons:
        self.buttons = Buttons(self.kitchen, Post(self.kitchen))
        return self.buttons

    def batch(self, **more: Any) -> str:
        answer = self.client.post("/v1/batches", json={"name": "Monday", "pot": "North", **more})
        assert answer.status_code == 201, answer.text
        return str(answer.json()["id"])

    def say(self, *frames: tuple[float, bool | float]) -> None:
        """Post frames of the button: (seconds from the clock's now, value)."""
        self.senml(
            *(
                {
                    "n": BUTTON,
                    "t": self.clock.ms / 1000.0 + at_s,
                    **({"vb": value} if isinstance(value, bool) else {"v": value, "u": "count"}),
                }
                for at_s, value in frames
            )
        )

    def marks(self, batch: str) -> list[tuple[str, str, str]]:
        events = self.client.get(f"/v1/batches/{batch}/events").json()["events"]
        return [(one["kind"], one["by"], one["at"][11:]) for one in events]

    def told(self) -> list[str]:
        return [str(one.body["text"]) for one in NoticeBook(self.kitchen.journal).latest(10)]


@pytest.fixture
def bench(client: TestClient, kitchen: Kitchen, clock: Clock, senml: Any) -> Bench:
    return Bench(client, kitchen, clock, senml)


def test_a_press_marks_the_next_expected_step_at_its_own_time(bench: Bench) -> None:
    batch = bench.batch()
    bench.say((-20.0, True), (-19.5, False), (-5.0, True), (-4.5, False))

    bench.buttons.look()

    assert bench.marks(batch) == [
        ("heat", "button", "08:14:40.000Z"),
        ("addition", "button", "08:14:55.000Z"),
    ]
    [first, _] = bench.client.get(f"/v1/batches/{batch}/events").json()["events"]
    assert first["series"] == BUTTON


def test_a_press_is_marked_once_also_over_a_restart_and_an_old_cursor(
    bench: Bench, kitchen: Kitchen
) -> None:
    batch = bench.batch()
    before = kitchen.readings.cursor("buttons")
    bench.say((-20.0, True))
    bench.buttons.look()
    kitchen.readings.set_cursor("buttons", before)

    bench.restarted().look()

    assert [kind for kind, *_ in bench.marks(batch)] == ["heat"]


def test_a_press_while_no_server_ran_is_marked_after_the_start(bench: Bench) -> None:
    batch = bench.batch()
    bench.say((-20.0, True))

    bench.restarted().look()

    assert bench.marks(batch) == [("heat", "button", "08:14:40.000Z")]


def test_a_counter_of_presses_serves_as_well(bench: Bench) -> None:
    batch = bench.batch()
    bench.say((-50.0, 1.0), (-40.0, 1.0), (-20.0, 2.0))

    bench.buttons.look()

    assert [at for *_, at in bench.marks(batch)] == ["08:14:10.000Z", "08:14:40.000Z"]


def test_a_late_press_marks_nothing_and_is_told(bench: Bench, clock: Clock) -> None:
    batch = bench.batch()
    bench.say((-301.0, False), (-300.5, True))

    bench.buttons.look()

    assert bench.marks(batch) == []
    [text] = bench.told()
    assert "The button of North was pressed, and nothing was marked" in text
    assert "more than 5 min late" in text
    assert "Next is Heat." in text


def test_a_second_press_within_three_seconds_marks_nothing_and_is_told(bench: Bench) -> None:
    batch = bench.batch()
    bench.say((-20.0, True), (-19.0, False), (-18.0, True))

    bench.buttons.look()

    assert [kind for kind, *_ in bench.marks(batch)] == ["heat"]
    assert "within 3 s" in bench.told()[0]


def test_a_button_never_ends_a_batch(bench: Bench) -> None:
    batch = bench.batch()
    for kind in ("heat", "addition", "cover", "ladle", "press", "unmould", "chill"):
        bench.client.post(f"/v1/batches/{batch}/events", json={"kind": kind})
    bench.say((-20.0, True))

    bench.buttons.look()

    assert "end" not in [kind for kind, *_ in bench.marks(batch)]
    assert "by touch" in bench.told()[0]


def test_the_batch_under_way_is_meant_and_not_the_one_that_is_planned(bench: Bench) -> None:
    running = bench.batch(name="running")
    bench.client.post(f"/v1/batches/{running}/events", json={"kind": "heat"})
    planned = bench.batch(name="planned", started_at="2026-03-03T08:00:00Z")
    bench.say((-20.0, True))

    bench.buttons.look()

    assert sorted(kind for kind, *_ in bench.marks(running)) == ["addition", "heat"]
    assert bench.marks(planned) == []


def test_a_press_at_a_pot_without_a_batch_marks_nothing(bench: Bench) -> None:
    bench.say((-20.0, True))

    bench.buttons.look()

    assert bench.told() == []


def test_a_kitchen_that_never_had_buttons_does_not_begin_with_its_history(
    bench: Bench, kitchen: Kitchen
) -> None:
    batch = bench.batch()
    bench.say((-20.0, True))
    kitchen.readings.set_cursor("buttons", 0)

    bench.restarted().look()

    assert bench.marks(batch) == []
