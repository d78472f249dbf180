# SPDX-License-Identifier: MIT
"""The line of a card that says what is about to happen, in words."""

from __future__ import annotations

from typing import Any

import pytest

from dashboards.outlook_line import outlook_line
from dashboards.reader import Reader, reader_of
from dashboards.render import render

NOW = "2026-03-02T09:20:00.000Z"
NONE = {"status": "not shown", "why": "it cools"}


def clock(minute: int, second: int = 0) -> str:
    return f"2026-03-02T09:{minute:02d}:{second:02d}.000Z"


def moment(*, at: str, earliest: str, latest: str, **more: Any) -> dict[str, Any]:
    return {"at": at, "earliest": earliest, "latest": latest, "method": "m", "from": [], **more}


def outlook(**parts: Any) -> dict[str, Any]:
    return {"batch": "b", "at": NOW, "target": NONE, "boil": NONE, "hold": NONE, "chill": NONE,
            **parts}  # fmt: skip


def reader(now: str = NOW, temperature: str = "degC") -> Reader:
    return reader_of(
        {"kitchen": {"zone": "UTC"}, "now": now, "units": {"temperature": temperature}}
    )


IN_FOUR = moment(
    at=clock(24, 2), earliest=clock(23, 44), latest=clock(24, 28), value_degc=82.0,
    approach="falling",
)  # fmt: skip


def words(found: dict[str, Any] | None) -> str:
    return "" if found is None else found["text"].replace("\N{NO-BREAK SPACE}", " ")


def test_a_target_is_told_with_its_interval() -> None:
    found = outlook_line(outlook(target=IN_FOUR), reader())

    assert words(found) == "82 °C in 4 min, between 3:40 and 4:30"
    assert found is not None and not found["quiet"]


def test_round_minutes_never_lie_outside_the_interval() -> None:
    part = moment(at=clock(22, 35), earliest=clock(22, 21), latest=clock(22, 49), value_degc=80.0)

    assert words(outlook_line(outlook(target=part), reader())) == (
        "80 °C in 2:40, between 2:20 and 2:50"
    )


def test_it_is_told_in_the_readers_unit() -> None:
    found = outlook_line(outlook(target=IN_FOUR), reader(temperature="degF"))

    assert words(found).startswith("179.6 °F in 4 min")


@pytest.mark.parametrize(
    ("parts", "said"),
    [
        ({"boil": IN_FOUR}, "Boil in 4 min, between 3:40 and 4:30"),
        ({"boil": IN_FOUR, "target": {**NONE, "value_degc": 82.0, "approach": "rising"}}, ""),
        (
            {"hold": {**IN_FOUR, "hold": "boil", "leaves": IN_FOUR}, "target": IN_FOUR},
            "boil: leaves its band in 4 min, between 3:40 and 4:30",
        ),
        ({"hold": {**IN_FOUR, "hold": "boil", "leaves": None}}, ""),
        (
            {"chill": {**IN_FOUR, "to_degc": 21.0}},
            "21 °C in the core in 4 min, between 3:40 and 4:30",
        ),
        (
            {"target": {"status": "not shown", "value_degc": 82.0, "approach": "rising",
                        "why": "on this heat the milk levels off near 73 degC, below 82 degC"}},
            "On this heat it won't reach 82 °C",
        ),
        ({}, ""),
    ],
)  # fmt: skip
def test_what_matters_most_is_told(parts: dict[str, Any], said: str) -> None:
    assert words(outlook_line(outlook(**parts), reader())) == said


def test_without_an_outlook_nothing_is_told() -> None:
    assert outlook_line(None, reader()) is None


@pytest.mark.parametrize(
    ("now", "said"),
    [
        (clock(20, 29), "82 °C in 4 min, between 3:10 and 4:00"),
        (clock(20, 31), ""),
    ],
)
def test_a_line_goes_away_when_it_is_stale(now: str, said: str) -> None:
    assert words(outlook_line(outlook(target=IN_FOUR), reader(now))) == said


def test_the_last_seconds_are_told_and_then_nothing() -> None:
    def told(second: int) -> str:
        computed = outlook(target=IN_FOUR) | {"at": clock(24, second)}
        return words(outlook_line(computed, reader(clock(24, second))))

    assert told(0) == "82 °C about now"
    assert told(27) == "82 °C about now"
    assert told(29) == ""


def test_the_card_brings_its_line_and_the_times_to_count_it_down(stove: Any) -> None:
    stove["batches"][0]["outlook"] = outlook(target=IN_FOUR) | {"at": stove["now"]}
    page = render("stove", stove)
    line = page[page.index('data-live="outlook"') :].split("</p>", 1)[0]

    assert f'data-at="{clock(24, 2)}"' in line
    assert "82" in line and "between 3:40 and 4:30" in line
    assert "aria-live" not in line and "role=" not in line
