"""Targets over a real store and real records, looked through step by step."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from api.corrections import Corrections
from api.times import parse_ms
from api.watch.recent import Reader
from collector.readings import Quality

if TYPE_CHECKING:
    from tests.unit.watch.conftest import Stove

MILK = "north/milk"
TARGET = {"value": 80, "unit": "degC"}


def test_a_target_that_is_reached_is_told_once(stove: Stove) -> None:
    batch = stove.batch(target={"value": 82, "unit": "degC"})

    stove.read(stove.ramp(75, 85, 0.25))

    (notice,) = stove.entries(batch, "notice")
    assert notice.body["text"] == "North: passing 82 degC, rising"
    assert notice.body["priority"] == "medium"
    assert notice.body["from"] == [
        f"series {MILK}",
        "assumed: +-0.5 K, no check on record (common practice)",
    ]
    assert parse_ms(notice.body["at"]) == stove.clock.ms - 12_000


def test_a_slow_probe_tells_when_the_milk_is_there_and_not_when_the_probe_is(
    stove: Stove,
) -> None:
    """A first-order probe lags a steady ramp by its time constant (definition)."""
    tau_s, per_s = 8.0, 0.05
    check = {"series": MILK, "kind": "dip", "time_constant_s": tau_s, "u_s": 0.5}
    stove.kitchen.journal.keep("check", {**check, "valid_from": "1970-01-01T00:00:00.000Z"})
    batch = stove.batch(target=TARGET)
    begin_ms = stove.clock.ms
    seconds = np.arange(1, 201)
    milk = 72.0 + per_s * seconds
    shown = milk - per_s * tau_s * (1.0 - np.exp(-seconds / tau_s))

    stove.read(shown.tolist())

    (notice,) = stove.entries(batch, "notice")
    reached_s = (parse_ms(notice.body["at"]) - begin_ms) / 1000.0
    assert reached_s == pytest.approx((80.0 - 72.0) / per_s, abs=1.0)
    raw_s = float(np.interp(80.0, shown, seconds))
    assert reached_s < raw_s - 0.8 * tau_s
    assert (parse_ms(notice.at) - begin_ms) / 1000.0 <= reached_s + 1.0


def test_a_calibration_is_applied_before_judging(stove: Stove) -> None:
    check = {"series": MILK, "kind": "ice", "indicated_degc": 1.0, "reference_degc": 0.0}
    stove.kitchen.journal.keep("check", {**check, "valid_from": "1970-01-01T00:00:00.000Z"})
    batch = stove.batch(target=TARGET)

    stove.read(stove.ramp(75, 80.75, 0.25))
    assert stove.told(batch) == []
    stove.read([81.0])
    assert stove.told(batch) == ["North: passing 80 degC, rising"]


def test_noise_at_the_target_tells_once(stove: Stove) -> None:
    batch = stove.batch(target=TARGET)
    noise = np.random.default_rng(7).normal(0.0, 0.1, 400)

    stove.read((np.r_[stove.ramp(70, 80, 0.1), np.full(299, 80.0)] + noise).tolist())

    assert len(stove.told(batch)) == 1


def test_bad_and_suspect_readings_tell_nothing(stove: Stove) -> None:
    batch = stove.batch(target=TARGET)

    stove.read([75.0, 75.5, 76.0])
    stove.read([85.0], quality=Quality.SUSPECT, reason="power-on value")
    stove.read([76.5, 77.0])

    assert stove.told(batch) == []


def test_after_its_event_is_marked_nothing_is_told(stove: Stove) -> None:
    batch = stove.batch(target=TARGET)
    stove.read(stove.ramp(70, 78, 0.5))
    stove.mark(batch, "addition")

    stove.read(stove.ramp(78, 90, 0.5))

    assert stove.told(batch) == []


def test_a_mark_that_is_taken_back_gives_the_notice_free(stove: Stove) -> None:
    batch = stove.batch(target=TARGET)
    stove.read(stove.ramp(70, 78, 0.5))
    mark = stove.mark(batch, "addition")
    stove.read(stove.ramp(78, 81, 0.5))

    stove.kitchen.journal.withdraw(batch, mark, why="a slip", said={}, record_id=None, who="")
    stove.read([81.2])

    assert stove.told(batch) == ["North: passing 80 degC, rising"]


def test_a_closed_batch_is_not_watched(stove: Stove) -> None:
    batch = stove.batch(target=TARGET)
    stove.read(stove.ramp(70, 78, 0.5))
    stove.mark(batch, "end")

    stove.read(stove.ramp(78, 90, 0.5))

    assert stove.told(batch) == []


def test_what_the_pot_did_before_the_batch_is_not_the_batch_s(stove: Stove) -> None:
    stove.read([*stove.ramp(70, 90, 0.5), *stove.ramp(90, 40, 0.5)])
    batch = stove.batch(target={**TARGET, "approach": "rising"})

    stove.read([40.0])
    assert stove.told(batch) == []
    stove.read(stove.ramp(40, 81, 0.5))

    assert stove.told(batch) == ["North: passing 80 degC, rising"]


def test_two_probes_in_one_pot_tell_once(stove: Stove) -> None:
    batch = stove.batch(target=TARGET)
    stove.kitchen.journal.record(batch, "binding", {"series": "north/second", "place": "milk"})

    for value in stove.ramp(70, 85, 0.5):
        stove.read([value], every_ms=500)
        stove.read([value + 0.2], series="north/second", every_ms=500)

    assert len(stove.told(batch)) == 1


def test_when_the_batch_s_own_probe_is_silent_the_second_tells(stove: Stove) -> None:
    batch = stove.batch(target=TARGET)
    stove.kitchen.journal.record(batch, "binding", {"series": "north/second", "place": "milk"})

    stove.read(stove.ramp(70, 75, 0.5))
    stove.read(stove.ramp(75, 85, 0.5), series="north/second")

    assert stove.told(batch) == ["North: passing 80 degC, rising"]


def test_one_batch_that_can_t_be_judged_does_not_silence_the_others(stove: Stove) -> None:
    broken = {"kind": "addition", "target": {"value": 80, "unit": "furlong"}}
    stove.batch(name="Broken", recipe={**stove.boil_then_add, "steps": [broken]})
    batch = stove.batch(target=TARGET, thermometer="south/milk", pot="South")

    stove.read(stove.ramp(70, 85, 0.5), series="south/milk")

    assert stove.told(batch) == ["South: passing 80 degC, rising"]


def test_the_few_readings_behind_a_point_correct_it_as_all_of_them_would(stove: Stove) -> None:
    check = {"series": MILK, "kind": "dip", "time_constant_s": 7.0, "u_s": 0.5}
    stove.kitchen.journal.keep("check", {**check, "valid_from": "1970-01-01T00:00:00.000Z"})
    noise = np.random.default_rng(5).normal(0.0, 0.05, 300)
    begin_ms = stove.clock.ms
    for second, value in enumerate((np.linspace(60, 75, 300) + noise).tolist()):
        stove.store(value, begin_ms + 1000 * second)
    reader = Reader(stove.kitchen.readings, Corrections(stove.kitchen.journal), ())
    window_ms = (begin_ms - 3_600_000, begin_ms + 3_600_000)

    whole = reader.read(MILK, window_ms, (), None)
    assert whole is not None
    last_s = begin_ms / 1000.0 + 200.0
    recent = reader.read(MILK, window_ms, (), last_s - whole.reach_s)
    assert recent is not None

    later = recent.time_s > last_s
    assert len(recent.time_s) < 130
    assert recent.value_degc[later] == pytest.approx(whole.value_degc[whole.time_s > last_s])
