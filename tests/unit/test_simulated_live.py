# SPDX-License-Identifier: MIT
"""A live pot: what it says as time goes on, by its plan or by hand; and as an instrument."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from collector.errors import ConfigError, ProcessError
from collector.instruments.simulated.channels import Said
from collector.instruments.simulated.live import LivePot, event_time_s, pot_before
from collector.instruments.simulated.outfit import Outfit, Sampling, Trouble
from collector.instruments.simulated.scenario import Scenario, fern_lane, play
from collector.instruments.simulated.simulated_pot import (
    SimulatedPot,
    Wanted,
    scenario_from,
    simulated_pot,
)
from collector.readings import Quality, Reading, TimeSource

NOW_MS = 1_767_254_400_000


class StoppedClock:
    """A clock that stands still."""

    def now_ms(self) -> int:
        """Return always the same time."""
        return NOW_MS


def small(**changes: object) -> Scenario:
    return replace(fern_lane("small"), **changes)  # type: ignore[arg-type]


def of(said: list[Said], place: str) -> list[Said]:
    return [one for one in said if one.place == place]


def test_a_live_pot_goes_the_way_of_the_played_batch() -> None:
    plan = small(chilling=None)
    truth = play(plan, 1, start_ms=NOW_MS).truth
    pot = LivePot(plan, 1, NOW_MS)
    pot.advance_to(truth.events_s["press"] - NOW_MS / 1000.0)

    for kind in ("heat", "boil", "target", "addition", "cover", "set", "ladle"):
        assert pot.events_ms[kind] == pytest.approx(1000.0 * truth.events_s[kind], abs=1.0)
    assert pot.run.pours[0].after_degc == pytest.approx(truth.pours[0].after_degc, abs=1e-9)


def test_a_pot_three_minutes_before_its_target_reaches_it_in_three_minutes() -> None:
    pot, before = pot_before(small(), "target", 180.0, now_ms=NOW_MS, seed=4)

    assert max(said.time_ms for said in before) <= NOW_MS
    assert "boil" in pot.events_ms
    assert "target" not in pot.events_ms
    assert pot.run.pot.mean_degc > 80.5
    pot.advance_to(pot.time_s + 181.0)
    assert pot.events_ms["target"] == pytest.approx(NOW_MS + 180_000, abs=500)


def test_a_plan_without_the_event_says_which_it_has() -> None:
    with pytest.raises(ProcessError, match=r"no 'settle'.*heat"):
        event_time_s(small(chilling=None), "settle")


def test_readings_come_at_their_rate_strictly_in_order() -> None:
    outfit = replace(fern_lane("small").outfit, milk_sampling=Sampling(4.0, jitter_s=0.02))
    pot = LivePot(small(outfit=outfit), 1, NOW_MS)

    times = [one.time_ms for one in of(pot.advance_to(60.0), "milk")]

    assert 236 <= len(times) <= 241
    assert np.all(np.diff(times) > 100)


def test_nothing_is_said_before_its_time() -> None:
    pot = LivePot(small(), 1, NOW_MS)
    pot.advance_to(event_time_s(small(), "fridge"))
    found: list[Said] = []
    begun_s = pot.time_s
    for tenth in range(600):
        until_s = begun_s + 0.1 * tenth
        said = pot.advance_to(until_s)
        assert all(one.time_ms <= NOW_MS + 1000.0 * until_s for one in said)
        found.extend(said)

    core_ms = [one.time_ms for one in of(found, "block_core")]
    assert 11 <= len(core_ms) <= 13
    assert np.all(np.diff(core_ms) == 5000)


def test_by_hand_the_pot_does_what_it_is_told() -> None:
    pot = LivePot(small(), 1, NOW_MS)
    pot.take_over()
    pot.hob(1.0)
    pot.stir(1.0)
    pot.advance_to(600.0)
    warm_degc, full_kg = pot.run.pot.mean_degc, pot.run.pot.mass_kg
    pot.hob(0.0)
    pot.pour(0.3, 10.0, 20.0)
    pot.advance_to(640.0)
    pot.cover()
    lidded = of(pot.advance_to(660.0), "under_pot")[-1].value

    assert warm_degc > 40.0
    assert pot.run.pot.mass_kg == pytest.approx(full_kg + 0.3, abs=0.01)
    assert pot.run.pot.ledger.poured_kg == pytest.approx(3.376 + 0.3, abs=0.01)
    assert lidded == pytest.approx(pot.run.on_scale_kg, abs=0.03)
    assert pot.run.on_scale_kg > pot.run.pot.mass_kg + 0.1


def test_a_lifted_probe_falls_and_a_silent_one_says_nothing() -> None:
    pot, _ = pot_before(small(), "target", 60.0, now_ms=NOW_MS)
    pot.lift("milk")
    lifted = of(pot.advance_to(pot.time_s + 40.0), "milk")
    pot.lift("milk", out=False)
    pot.silence("milk")
    silent = pot.advance_to(pot.time_s + 10.0)

    assert lifted[-1].value is not None
    assert lifted[-1].value < 50.0
    assert of(silent, "milk") == []
    assert of(silent, "under_pot") != []


def test_a_tare_takes_off_what_lies_on_the_scale() -> None:
    pot = LivePot(small(), 1, NOW_MS)
    pot.advance_to(20.0)
    pot.tare()
    after = of(pot.advance_to(40.0), "under_pot")[-1]

    assert after.value == pytest.approx(0.0, abs=0.005)


@pytest.mark.parametrize(
    "wrong",
    [
        lambda pot: pot.hob(1.2),
        lambda pot: pot.stir(-0.1),
        lambda pot: pot.pour(0.0, 20.0, 5.0),
        lambda pot: pot.lift("spoon"),
    ],
)
def test_what_cannot_be_done_is_refused(wrong: Callable[[LivePot], None]) -> None:
    with pytest.raises(ProcessError):
        wrong(LivePot(small(), 1, NOW_MS))


def test_troubles_of_the_plan_happen_live_too() -> None:
    troubles = (
        Trouble("gap", "milk", "heat", 10.0, 20.0),
        Trouble("power_on", "milk", "heat", 40.0, 3.0),
        Trouble("repeated", "under_pot", "heat", 10.0, 5.0),
    )
    pot = LivePot(small(troubles=troubles), 1, NOW_MS)
    said = pot.advance_to(120.0)

    milk_ms = [one.time_ms for one in of(said, "milk")]
    scale_ms = [one.time_ms for one in of(said, "under_pot")]
    assert max(np.diff(milk_ms)) > 19_000
    assert sum(one.value == 85.0 for one in of(said, "milk")) == 3
    assert len(scale_ms) - len(set(scale_ms)) == 5


def test_time_goes_on_after_the_end_of_the_plan() -> None:
    plan = small(chilling=None)
    pot = LivePot(plan, 1, NOW_MS)
    end_s = event_time_s(plan, "end")
    pot.advance_to(end_s + 1800.0)

    assert pot.time_s == pytest.approx(end_s + 1800.0, abs=0.3)
    assert pot.run.block is not None
    assert pot.run.block.mean_degc < 55.0


async def _some(pot: SimulatedPot, count: int) -> list[Reading]:
    found: list[Reading] = []
    async for delivery in pot.deliveries():
        assert delivery.receipt is None
        found.extend(delivery.readings)
        if len(found) >= count:
            break
    return found


def test_as_an_instrument_it_yields_readings_with_their_own_time() -> None:
    ticks = iter(range(10_000))
    live = LivePot(small(), 1, NOW_MS)
    pot = SimulatedPot(live, StoppedClock(), name="Small", speed=30.0, steady_s=lambda: next(ticks))

    found = asyncio.run(_some(pot, 50))

    assert pot.name == "Small"
    assert {reading.series for reading in found} >= {"small/milk", "small/under-pot"}
    assert {reading.unit for reading in found} == {"Cel", "kg"}
    assert all(reading.time_source is TimeSource.INSTRUMENT for reading in found)
    assert [reading.sequence for reading in found] == list(range(1, len(found) + 1))
    milk = [reading for reading in found if reading.series == "small/milk"]
    assert milk[0].value == pytest.approx(18.0, abs=0.3)
    assert 0 <= milk[0].time_ms - NOW_MS < 2000


def test_a_moving_scale_is_suspect_and_an_overloaded_one_bad() -> None:
    outfit = fern_lane("small").outfit
    assert outfit.under_pot is not None
    weak = replace(outfit, under_pot=replace(outfit.under_pot, capacity_kg=2.0))
    ticks = iter(range(10_000))

    def qualities(plan: Scenario) -> dict[str, Quality]:
        pot = SimulatedPot(
            LivePot(plan, 1, NOW_MS), StoppedClock(), speed=100.0, steady_s=lambda: next(ticks)
        )
        found = asyncio.run(_some(pot, 400))
        scale = [reading for reading in found if reading.series == "small/under-pot"]
        return {reading.reason: reading.quality for reading in scale}

    assert qualities(small()) == {"": Quality.GOOD, "not stable": Quality.SUSPECT}
    assert qualities(small(outfit=weak)) == {"overload": Quality.BAD}


def test_options_of_the_configuration_change_the_plan() -> None:
    plan = scenario_from("Left", {"pot": "small", "dry_kg": 1, "target_degc": 76.5, "rate_hz": 2})

    assert plan.name == "left"
    assert plan.preparation.dry_kg == 1.0
    assert plan.target.value_degc == 76.5
    assert plan.outfit.milk_sampling.rate_hz == 2.0
    assert plan.pours[0].water_kg == pytest.approx(2 * fern_lane("small").pours[0].water_kg)
    assert scenario_from("South", {}).preparation.ingredient == "yellow pea"
    assert scenario_from("South", {"hob_power_w": 900}, "s").hob.power_w == 900.0


def test_all_faults_of_the_options_are_told_at_once() -> None:
    options: dict[str, bool | int | float | str] = {
        "pott": "small",
        "dry_kg": -1,
        "ingredient": "hay",
        "rate_hz": True,
        "pot": 3,
    }

    with pytest.raises(ConfigError) as raised:
        scenario_from("Left", options)

    assert [fault.split(":")[0] for fault in raised.value.faults] == list(options)


def test_a_configured_pot_can_start_before_its_target() -> None:
    wanted = Wanted("Small", "fern/small", 1, 1.0, {"before": "target", "before_s": 60})

    pot = simulated_pot(wanted, StoppedClock()).pot

    assert pot.series("milk") == "fern/small/milk"
    assert pot.run.pot.mean_degc == pytest.approx(80.0, abs=3.0)
    assert "boil" in pot.events_ms
    assert isinstance(pot.scenario.outfit, Outfit)
