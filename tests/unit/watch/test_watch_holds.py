"""Holds, and the targets that they arm, over a real store and real records."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from api.times import parse_ms

if TYPE_CHECKING:
    from tests.unit.watch.conftest import Stove


def test_the_addition_is_armed_only_when_the_boil_is_met(stove: Stove) -> None:
    batch = stove.batch(recipe=stove.boil_then_add)

    stove.read(stove.ramp(60, 98, 0.5))
    stove.read([98.0] * 60)
    stove.read(stove.ramp(98, 78, 0.5))

    assert stove.told(batch) == []


def test_an_armed_target_says_add_the_coagulant(stove: Stove) -> None:
    batch = stove.batch(recipe=stove.boil_then_add)

    stove.read(stove.ramp(60, 98, 0.5))
    stove.read([98.0] * 130)
    assert stove.told(batch) == ["North: hold complete: boil, 2 min"]
    stove.read(stove.ramp(98, 79, 0.25))

    assert stove.told(batch)[1:] == ["North: 80 degC. Add the coagulant now."]


def test_a_hold_is_told_at_the_reading_that_completes_it(stove: Stove) -> None:
    batch = stove.batch(recipe=stove.boil_then_add)
    stove.read(stove.ramp(60, 94, 0.5))
    entered_ms = stove.clock.ms + 500  # half way from 94 to 96
    stove.read([96.0] * 120)
    assert stove.told(batch) == []

    stove.read([96.0])

    (notice,) = stove.entries(batch, "notice")
    assert parse_ms(notice.body["at"]) == pytest.approx(entered_ms + 120_000, abs=2)
    assert notice.body["about"] == "hold"


def test_a_restart_after_the_boil_still_arms_the_addition(stove: Stove) -> None:
    batch = stove.batch(recipe=stove.boil_then_add)
    stove.read([*stove.ramp(60, 98, 0.5), *[98.0] * 130, *stove.ramp(98, 85, 0.5)])

    stove.restarted()
    stove.read(stove.ramp(84.75, 79, 0.25))

    assert stove.told(batch) == [
        "North: hold complete: boil, 2 min",
        "North: 80 degC. Add the coagulant now.",
    ]


def test_a_hold_that_starts_at_a_mark_is_told_when_its_time_is_up(stove: Stove) -> None:
    covered = {
        "kind": "cover",
        "hold": {
            "name": "covered hold",
            "low": {"value": 65, "unit": "degC"},
            "least": {"value": 3, "unit": "min"},
            "starts": "cover",
            "ends": "ladle",
        },
    }
    batch = stove.batch(recipe={**stove.boil_then_add, "steps": [covered]})
    stove.read([78.0] * 200)
    assert stove.told(batch) == []
    stove.mark(batch, "cover")
    covered_ms = stove.clock.ms

    stove.read([78.0] * 179)
    assert stove.told(batch) == []
    stove.read([78.0])

    (notice,) = stove.entries(batch, "notice")
    assert notice.body["text"] == "North: hold complete: covered hold, 3 min"
    assert parse_ms(notice.body["at"]) == covered_ms + 180_000


def test_a_hold_that_starts_at_the_addition_starts_where_the_curve_places_the_pour(
    stove: Stove,
) -> None:
    """The mark comes 20 s after the pour, whose 3 K dip is plain in the readings."""
    stand = {
        "kind": "set",
        "hold": {
            "name": "stand",
            "low": {"value": 65, "unit": "degC"},
            "least": {"value": 4, "unit": "min"},
            "starts": "addition",
            "ends": "ladle",
        },
    }
    batch = stove.batch(recipe={**stove.boil_then_add, "steps": [{"kind": "addition"}, stand]})
    noise = np.random.default_rng(3).normal(0.0, 0.03, 500)
    before = 81.0 - 0.01 * np.arange(120)
    pour = np.linspace(79.8, 76.8, 16)
    after = 76.8 - 0.005 * np.arange(300)
    curve = (np.r_[before, pour, after] + noise[: 120 + 16 + 300]).tolist()

    stove.read(curve[:156])
    poured_ms = stove.clock.ms - 20_000
    stove.mark(batch, "addition")
    stove.read(curve[156:])

    (notice,) = stove.entries(batch, "notice")
    assert notice.body["text"] == "North: hold complete: stand, 4 min"
    assert parse_ms(notice.body["at"]) == pytest.approx(poured_ms + 240_000, abs=10_000)
