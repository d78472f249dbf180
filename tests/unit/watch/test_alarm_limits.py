"""Each limit on the milk, over a real store and real records, looked through reading by reading."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from api.times import parse_ms

if TYPE_CHECKING:
    from tests.unit.watch.conftest import Alarms

MILK = "north/milk"
RISING = {"value": 82, "unit": "degC", "approach": "rising"}
COVERED: dict[str, Any] = {
    "id": "r2", "version": 1, "name": "Soybean", "ingredients": [{"name": "soybean"}],
    "steps": [
        {"kind": "heat"},
        {"kind": "addition", "target": {"value": 80, "unit": "degC", "approach": "rising"}},
        {"kind": "cover", "hold": {
            "name": "covered hold", "low": {"value": 65, "unit": "degC"},
            "least": {"value": 2, "unit": "min"}, "starts": "cover", "ends": "ladle"}},
        {"kind": "ladle"},
    ],
}  # fmt: skip


def level(value: float, seconds: int) -> list[float]:
    return [value] * seconds


def test_milk_over_its_target_is_an_alarm_until_it_is_back(alarms: Alarms) -> None:
    batch = alarms.stove.batch(target=RISING)

    alarms.read(alarms.stove.ramp(78, 83.9, 0.1))
    assert alarms.all("over target") == []
    alarms.read(level(84.0, 6))

    alarm = alarms.one("over target")
    assert alarm.status.state == "unacknowledged"
    assert alarm.facts["text"] == (
        "North: over the target of 82 degC: 84.0 degC. Take it off the heat, or pour now."
    )
    assert (alarm.facts["limit"], alarm.facts["unit"]) == (84.0, "degC")
    assert alarm.facts["respond_s"] == 60.0 and "scald" in alarm.facts["caution"]
    assert alarm.facts["from"][0] == f"series {MILK}"
    assert alarm.facts["text"] in alarms.stove.told(batch)

    alarms.read(level(83.4, 12))
    assert alarms.one("over target").status.state == "returned unacknowledged"


def test_the_margin_over_a_target_is_at_least_its_tolerance(alarms: Alarms) -> None:
    alarms.stove.batch(target={**RISING, "tolerance": 4})

    alarms.read([*alarms.stove.ramp(78, 85.5, 0.1), *level(85.5, 20)])
    assert alarms.all("over target") == []
    alarms.read(level(86.0, 6))
    assert alarms.states("over target") == ["unacknowledged"]


def test_after_the_addition_the_alarm_of_its_target_is_suppressed_by_design(
    alarms: Alarms,
) -> None:
    batch = alarms.stove.batch(target=RISING)
    alarms.read([*alarms.stove.ramp(78, 84, 0.1), *level(84.0, 6)])

    mark = alarms.stove.mark(batch, "addition")
    alarms.look()
    alarm = alarms.one("over target")
    assert alarm.status.state == "suppressed"
    assert alarm.status.suppressed == "not needed: the step is addition"

    withdraw = alarms.stove.kitchen.journal.withdraw
    withdraw(batch, mark, why="a slip", said={}, record_id=None, who="")
    alarms.look()
    assert alarms.states("over target") == ["unacknowledged"]


def test_a_target_is_told_of_a_minute_before_it_is_reached(alarms: Alarms) -> None:
    """A steady rate of 0.05 K/s is 60 s from its goal at 3 K below it (definition)."""
    batch = alarms.stove.batch(target=RISING)

    alarms.read([72.0 + 0.05 * n for n in range(160)])
    alarm = alarms.one("near target")
    begin_s = alarms.stove.clock.ms / 1000.0 - 159
    assert alarm.status.raised_s is not None
    assert alarm.status.raised_s - begin_s == pytest.approx((79.0 - 72.0) / 0.05, abs=3.0)
    assert alarm.priority == "low"
    assert alarms.stove.told(batch) == []  # a low one is told by the pages alone

    alarms.read([80.0 + 0.05 * n for n in range(45)])
    alarms.look()
    assert alarms.states("near target") == ["suppressed"]


def test_milk_that_does_not_warm_is_not_about_to_reach_anything(alarms: Alarms) -> None:
    alarms.stove.batch(target=RISING)
    noise = np.random.default_rng(4).normal(0.0, 0.05, 300)

    alarms.read((81.0 + noise).tolist())

    assert alarms.all("near target") == []


def test_milk_that_rises_through_the_foam_temperature_may_foam_over(alarms: Alarms) -> None:
    alarms.stove.batch(ingredients=[{"name": "soybean"}])

    alarms.read(alarms.stove.ramp(70, 79.9, 0.1))
    assert alarms.all("may foam over") == []
    alarms.read([80.0])

    alarm = alarms.one("may foam over")
    assert alarm.priority == "high"
    assert "can't see foam" in alarm.facts["caution"]
    assert "no forecast withdraws it" in alarm.facts["caution"]


def test_milk_that_cools_through_the_foam_temperature_does_not_foam(alarms: Alarms) -> None:
    alarms.stove.batch()

    alarms.read(alarms.stove.ramp(95, 75, 0.05))

    assert alarms.all("may foam over") == []


def test_a_probe_that_speaks_once_in_a_minute_tells_of_foam_too(alarms: Alarms) -> None:
    alarms.stove.batch()

    alarms.read([72.0, 75.0, 78.0, 81.0], every_ms=60_000)

    assert alarms.states("may foam over") == ["unacknowledged"]


def test_the_makers_own_foam_temperature_stands_for_the_ingredient(alarms: Alarms) -> None:
    alarms.stove.kitchen.journal.keep(
        "ingredient", {"name": "soybean", "foam": {"value": 185, "unit": "degF"}}
    )
    alarms.stove.batch(ingredients=[{"name": "soybean"}])

    alarms.read(alarms.stove.ramp(70, 84.9, 0.1))
    assert alarms.all("may foam over") == []
    alarms.read([85.1])
    assert alarms.states("may foam over") == ["unacknowledged"]


def test_no_later_reading_but_a_cooler_one_ends_the_foam_alarm(alarms: Alarms) -> None:
    alarms.stove.batch()
    alarms.read(alarms.stove.ramp(70, 81, 0.1))

    alarms.read(level(80.5, 120))
    assert alarms.states("may foam over") == ["unacknowledged"]
    alarms.read([*alarms.stove.ramp(80.5, 77, 0.2), *level(77.0, 35)])
    assert alarms.states("may foam over") == ["returned unacknowledged"]


def test_milk_that_cools_after_its_boil_can_foam_over_no_more(alarms: Alarms) -> None:
    alarms.stove.batch()
    alarms.read([*alarms.stove.ramp(70, 98, 0.2), *level(98.0, 40)])
    assert alarms.states("may foam over") == ["unacknowledged"]

    alarms.read(alarms.stove.ramp(98, 95, 0.02))

    assert alarms.states("may foam over") == ["returned unacknowledged"]


def test_foam_that_was_over_before_its_readings_arrived_calls_nobody(alarms: Alarms) -> None:
    alarms.stove.batch(started_at="2026-01-01T00:00:00Z")
    stove = alarms.stove
    then_ms = stove.clock.ms - 3_600_000
    curve = [*stove.ramp(70, 98, 0.2), *stove.ramp(98, 94, 0.02)]
    stove.kitchen.readings.append(
        [stove.reading(value, then_ms + 1000 * n) for n, value in enumerate(curve)]
    )

    alarms.look()

    assert alarms.states("may foam over") == ["normal"]
    assert alarms.actions("may foam over") == ["raised", "returned", "acknowledged"]


def test_a_hold_is_warned_of_near_its_edge_and_again_when_it_is_left(alarms: Alarms) -> None:
    batch = alarms.stove.batch(recipe=COVERED)
    alarms.read(level(72.0, 5))
    alarms.stove.mark(batch, "cover")

    alarms.read(level(70.0, 30))
    assert alarms.all("near the edge") == []
    alarms.read([*alarms.stove.ramp(70, 65.8, 0.3), *level(65.8, 12)])
    assert alarms.states("near the edge") == ["unacknowledged"]
    assert alarms.all("left the band") == []
    alarms.read(level(64.9, 12))
    assert alarms.states("left the band") == ["unacknowledged"]
    assert alarms.states("near the edge") == ["suppressed"]
    assert "no kill step" in alarms.one("left the band").facts["caution"]


def test_a_safety_hold_that_is_left_is_of_high_priority(alarms: Alarms) -> None:
    steps = [dict(step) for step in COVERED["steps"]]
    steps[2] = {**steps[2], "hold": {**steps[2]["hold"], "basis": "safety"}}
    batch = alarms.stove.batch(recipe={**COVERED, "steps": steps})
    alarms.read(level(72.0, 5))
    alarms.stove.mark(batch, "cover")

    alarms.read([*alarms.stove.ramp(72, 60, 0.3), *level(60.0, 12)])

    assert alarms.one("left the band").priority == "high"


def test_the_band_of_a_complete_hold_is_no_longer_watched(alarms: Alarms) -> None:
    batch = alarms.stove.batch(recipe=COVERED)
    alarms.read(level(72.0, 5))
    alarms.stove.mark(batch, "cover")
    alarms.read(level(70.0, 130))
    assert any("hold complete" in text for text in alarms.stove.told(batch))

    alarms.read([*alarms.stove.ramp(70, 60, 0.3), *level(60.0, 60)])

    assert alarms.all("left the band") == []


def test_a_hold_whose_clock_starts_in_its_band_is_not_left_before_it_is_entered(
    alarms: Alarms,
) -> None:
    alarms.stove.batch(recipe=alarms.stove.boil_then_add)

    alarms.read(alarms.stove.ramp(60, 94, 0.5))
    assert alarms.all("left the band") == []
    alarms.read([*level(95.5, 20), *level(94.8, 12)])
    assert alarms.states("left the band") == ["unacknowledged"]


def test_milk_that_cools_in_a_heating_step_has_lost_its_heat(alarms: Alarms) -> None:
    batch = alarms.stove.batch(target=RISING)
    alarms.stove.mark(batch, "heat")
    alarms.read([60.0 + 0.03 * n for n in range(120)])
    assert alarms.all("heat lost") == []

    alarms.read([63.6 - 0.02 * n for n in range(150)])
    alarm = alarms.one("heat lost")
    assert alarm.status.state == "unacknowledged"
    assert "cools although the step is heat" in alarm.facts["text"]

    alarms.read([60.6 + 0.03 * n for n in range(150)])
    assert alarms.states("heat lost") == ["returned unacknowledged"]


def test_a_lifted_probe_is_no_lost_heat(alarms: Alarms) -> None:
    batch = alarms.stove.batch(target=RISING)
    alarms.stove.mark(batch, "heat")
    alarms.read([60.0 + 0.03 * n for n in range(120)])

    air = 25.0 + (63.6 - 25.0) * np.exp(-np.arange(1, 60) / 8.0)
    alarms.read(air.tolist())

    assert alarms.all("heat lost") == []


def test_a_recipes_own_limit_holds_in_its_step_only(alarms: Alarms) -> None:
    steps = [
        {"kind": "heat", "limit": {
            "side": "high", "value": 176, "unit": "degF", "dead_band": 3.6, "priority": "high",
            "on_delay": {"value": 3, "unit": "s"}, "off_delay": {"value": 3, "unit": "s"}}},
        {"kind": "simmer"},
    ]  # fmt: skip
    batch = alarms.stove.batch(recipe={**COVERED, "steps": steps})

    alarms.read(level(81.0, 10))
    assert alarms.all("step limit") == []
    alarms.stove.mark(batch, "heat")
    alarms.read(level(81.0, 2))
    assert alarms.all("step limit") == []
    alarms.read(level(81.0, 1))
    alarm = alarms.one("step limit")
    assert (alarm.status.state, alarm.priority) == ("unacknowledged", "high")
    assert "over the limit of 176 degF for heat: 177.8 degF" in alarm.facts["text"]
    alarms.read(level(78.5, 10))
    assert alarms.states("step limit") == ["unacknowledged"]
    alarms.read(level(77.9, 5))
    assert alarms.states("step limit") == ["returned unacknowledged"]
    alarms.stove.mark(batch, "simmer")
    alarms.look()
    assert alarms.states("step limit") == ["suppressed"]


def test_a_slow_probe_raises_when_the_milk_is_over_and_not_when_the_probe_is(
    alarms: Alarms,
) -> None:
    """A first-order probe of 10 s lags a steady ramp by its time constant (definition)."""
    tau_s, per_s = 10.0, 0.05
    check = {"series": MILK, "kind": "dip", "time_constant_s": tau_s, "u_s": 0.5}
    alarms.stove.kitchen.journal.keep("check", {**check, "valid_from": "1970-01-01T00:00:00.000Z"})
    alarms.stove.batch(target={**RISING, "value": 80})
    begin_s = alarms.stove.clock.ms / 1000.0
    seconds = np.arange(1, 241)
    shown = 72.0 + per_s * seconds - per_s * tau_s * (1.0 - np.exp(-seconds / tau_s))

    alarms.read(shown.tolist())

    raised_s = alarms.one("over target").status.raised_s
    assert raised_s is not None
    milk_over_s = (82.0 - 72.0) / per_s
    probe_over_s = float(np.interp(82.0, shown, seconds))
    assert raised_s - begin_s == pytest.approx(milk_over_s + 5.0, abs=2.0)  # its on-delay is 5 s
    assert raised_s - begin_s < probe_over_s + 5.0 - 0.7 * tau_s


def test_what_lies_far_back_is_recorded_and_nobody_is_called(alarms: Alarms) -> None:
    batch = alarms.stove.batch(target=RISING)
    begin_ms = alarms.stove.clock.ms
    alarms.stove.clock.ms += 3_600_000
    for n in range(80):
        alarms.stove.store(78.0 + 0.1 * n, begin_ms + 1000 * (n + 1))
    for n in range(30):
        alarms.stove.store(80.0, begin_ms + 81_000 + 1000 * n)

    alarms.watch.look()

    alarm = alarms.one("over target")
    assert alarm.status.state == "normal"  # over before anybody could have heard it
    assert parse_ms(alarms.book.folded().changes[0][0].body["at"]) < begin_ms + 100_000
    assert alarms.stove.entries(batch, "notice") == []


def test_a_batch_whose_recipe_can_not_be_read_silences_no_other(alarms: Alarms) -> None:
    broken = {**COVERED, "steps": [{"kind": "heat", "target": {"value": 1, "unit": "kg"}}]}
    alarms.stove.batch(name="Broken", thermometer="south/milk", recipe=broken)
    alarms.stove.batch(target=RISING)

    alarms.read([*alarms.stove.ramp(78, 84, 0.1), *level(84.0, 6)])

    assert alarms.states("over target") == ["unacknowledged"]
