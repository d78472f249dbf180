# SPDX-License-Identifier: MIT
"""The outlook of a batch through the interface: a played batch of known truth, and its reasons."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest

from api.analysis import outlook_lessons
from api.analysis.outlook import Outlooks
from api.kitchen import Kitchen
from api.live.outlooks import changed
from api.process.outlook_taught import Lesson
from api.records.batches import Batch
from api.times import format_ms, format_s, parse_ms

RECIPE = {
    "name": "Boiled and cooled",
    "ingredients": [{"name": "soybean"}],
    "steps": [
        {"kind": "heat"},
        {"kind": "boil", "hold": {
            "name": "boil", "below_boiling": {"value": 1.5, "unit": "K"},
            "least": {"value": 5, "unit": "min"}, "ends": "addition"}},
        {"kind": "addition", "target": {"value": 80, "unit": "degC", "approach": "falling"}},
        {"kind": "cover"}, {"kind": "ladle"}, {"kind": "press"}, {"kind": "end"},
    ],
}  # fmt: skip


def seconds(text: str) -> float:
    return parse_ms(text) / 1000.0


def within(part: dict[str, Any], true_s: float) -> bool:
    return seconds(part["earliest"]) <= true_s <= seconds(part["latest"])


@pytest.fixture
def boiled(client: Any, post_batch: Callable[..., Any]) -> Any:
    """A batch of pot Small with a recipe that boils it and lets it cool to 80 degC."""
    answer = client.post("/v1/recipes", json=RECIPE)
    assert answer.status_code == 201, answer.text
    return post_batch("small", seed=3, places=("milk",), recipe=answer.json()["id"])


@pytest.fixture
def asked(boiled: Any) -> Callable[[float], dict[str, Any]]:
    def ask(at_s: float) -> dict[str, Any]:
        found: dict[str, Any] = boiled.get("outlook", at=format_s(at_s))
        return found

    return ask


def test_half_way_to_the_boil_and_from_the_turn_times_are_told(boiled: Any, asked: Any) -> None:
    events = boiled.played.truth.events_s
    warming_s = (events["heat"] + events["boil"]) / 2.0
    cooling_s = (events["heat_off"] + events["target"]) / 2.0
    warming, cooling = asked(warming_s), asked(cooling_s)
    in_boil = asked(events["boil"] + 150.0)["hold"]

    assert within(warming["boil"], events["boil"])
    left_s = events["boil"] - warming_s
    assert seconds(warming["boil"]["at"]) - warming_s == pytest.approx(left_s, rel=0.2)
    assert warming["target"]["status"] == "not shown"
    assert warming["target"]["value_degc"] == 80.0
    assert warming["chill"] == {"status": "not shown", "why": "no probe in the block"}

    assert within(cooling["target"], events["target"])
    left_s = events["target"] - cooling_s
    assert seconds(cooling["target"]["at"]) - cooling_s == pytest.approx(left_s, rel=0.2)
    assert (cooling["target"]["kind"], cooling["target"]["approach"]) == ("addition", "falling")
    assert cooling["target"]["method"] and cooling["target"]["from"]
    assert cooling["boil"]["why"] == "boil is marked"

    assert (in_boil["hold"], in_boil["leaves"]) == ("boil", None)
    assert seconds(in_boil["at"]) == pytest.approx(events["boil"] + 300.0, abs=90.0)
    assert seconds(in_boil["earliest"]) <= seconds(in_boil["at"]) <= seconds(in_boil["latest"])


def test_the_chill_tells_its_next_limit(post_batch: Callable[..., Any]) -> None:
    posted = post_batch("small", seed=3, places=("milk", "block_core", "chill_water"))
    trace, events = posted.played.truth.trace, posted.played.truth.events_s
    now_s = events["chill"] + 900.0
    found = posted.get("outlook", at=format_s(now_s))["chill"]
    cold = np.flatnonzero((trace.time_s > now_s) & (trace.core_degc < found["to_degc"]))
    true_s = float(trace.time_s[cold[0]])

    assert seconds(found["due_at"]) > now_s
    assert seconds(found["at"]) - now_s == pytest.approx(true_s - now_s, rel=0.4)


def test_neither_what_came_later_nor_an_ended_batch_is_forecast(
    boiled: Any, asked: Any, senml: Any
) -> None:
    events = boiled.played.truth.events_s
    now_s = (events["heat"] + events["boil"]) / 2.0
    before = asked(now_s)
    senml({"n": boiled.played.at("milk").series, "u": "Cel", "t": now_s + 1.234, "v": 12.0})
    over = boiled.get("outlook")
    after_cover = asked(boiled.played.marks_s["cover"] + 60.0)

    assert asked(now_s) == before
    assert after_cover["target"]["why"] == "what the target was for is marked"
    assert all(
        over[part] == {"status": "not shown", "why": "the batch has ended"}
        for part in ("target", "boil", "hold", "chill")
    )


def test_a_batch_without_a_thermometer_says_so(site: Any, client: Any) -> None:
    found = client.get(f"/v1/batches/{site.make()}/outlook").json()

    assert found["target"]["why"] == "no target is set"
    assert "no probe is bound to milk" in found["boil"]["why"]
    assert found["chill"]["why"] == "no probe in the block"


def test_a_time_that_is_none_and_a_batch_that_is_none_are_problems(site: Any, client: Any) -> None:
    bad = client.get(f"/v1/batches/{site.make()}/outlook", params={"at": "soon"})
    unknown = client.get("/v1/batches/nowhere/outlook")

    assert (bad.status_code, unknown.status_code) == (422, 404)
    assert bad.headers["content-type"] == unknown.headers["content-type"]
    assert bad.headers["content-type"].startswith("application/problem+json")
    assert "soon is not a time" in bad.json()["detail"].replace("'", "").replace('"', "")


def test_an_earlier_batch_of_the_same_pot_is_learnt_from_once(
    post_batch: Callable[..., Any], kitchen: Kitchen, clock: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    earlier = post_batch("small", seed=3, places=("milk",))
    clock.ms += 12 * 3_600_000  # it is soaked only after the earlier one
    later = post_batch("small", seed=8, places=("milk",))
    learnt: list[str] = []
    real = outlook_lessons.learnt_from

    def counted(kitchen: Kitchen, batch: Batch) -> Sequence[Lesson]:
        learnt.append(batch.id)
        return real(kitchen, batch)

    monkeypatch.setattr(outlook_lessons, "learnt_from", counted)
    events = later.played.truth.events_s
    at_ms = round(500.0 * (events["heat"] + events["boil"]))
    outlooks = Outlooks()
    first, again = (outlooks.of(kitchen, later.id, at_ms) for _ in range(2))

    assert learnt == [earlier.id]
    assert "1 earlier batch of this pot" in first["boil"]["from"]
    assert first == again
    assert within(first["boil"], events["boil"])


def test_a_little_change_is_no_news_and_a_new_reason_is() -> None:
    def told(at_s: float, why: str = "it cools") -> dict[str, Any]:
        at_ms = round(datetime(2026, 3, 2, tzinfo=UTC).timestamp() * 1000)
        times = {key: format_ms(at_ms + 1000 * at_s) for key in ("at", "earliest", "latest")}
        none = {"status": "not shown", "why": why}
        return {"at": format_ms(at_ms), "target": times, "boil": none, "hold": none, "chill": none}

    assert not changed(told(300.0), told(302.0))
    assert changed(told(300.0), told(330.0))
    assert changed(told(300.0), told(300.0, "it warms"))
    assert not changed(told(300.0, "silent for 95 s"), told(300.0, "silent for 97 s"))
