"""Secondary units of SenML against RFC 8798 (draft of October 2019 seen)."""

from __future__ import annotations

import json
from decimal import Decimal

import pytest

from collector.frames.senml import parse_pack
from collector.frames.senml_units import PRIMARY, SECONDARY, to_primary
from collector.readings import Quality, Reading


@pytest.mark.parametrize(
    ("value", "unit", "primary_value", "primary"),
    [
        ("100", "ms", "0.1", "s"),  # section 3, the worked example (seen)
        ("10", "dBm", "-20", "dBW"),  # section 3, the worked example (seen)
        ("1013.25", "hPa", "101325", "Pa"),  # from the table's scale 100 (computed)
        ("85", "/100", "0.85", "/"),  # from the published table's scale 1/100 (computed)
        ("1.5", "h", "5400", "s"),  # from the table's scale 3600 (computed)
        ("18", "km/h", "5", "m/s"),  # from the table's scale 1/3.6 (computed)
        ("15", "Wh/km", "54", "J/m"),  # from the table's scale 3.6 (computed)
        ("2", "kWh", "7200000", "J"),  # from the table's scale 3600000 (computed)
    ],
)
def test_a_secondary_unit_becomes_its_primary_one(
    value: str, unit: str, primary_value: str, primary: str
) -> None:
    assert to_primary(Decimal(value), unit) == (Decimal(primary_value), primary)


def _one(version: int | None, unit: str, value: float) -> Reading:
    record = {"n": "a", "u": unit, "v": value} | ({"bver": version} if version else {})
    (reading,) = parse_pack(json.dumps([record]).encode(), now_ms=1_772_356_530_000)
    return reading


def test_version_26_means_that_secondary_units_are_in_use() -> None:
    # RFC 9100 section 2: 26 = 10 + 2**4, feature 4 is secondary units (draft seen).
    reading = _one(26, "hPa", 1013.25)
    assert (reading.value, reading.unit, reading.quality) == (101325.0, "Pa", Quality.GOOD)


def test_a_secondary_unit_without_that_version_is_kept_as_said_and_suspect() -> None:
    reading = _one(None, "hPa", 1013.25)
    assert (reading.value, reading.unit, reading.quality) == (1013.25, "hPa", Quality.SUSPECT)


def test_every_secondary_unit_leads_to_a_registered_one() -> None:
    # Section 3: "SenML unit: an existing SenML unit from the SenML units registry" (seen).
    assert {to_primary(Decimal(1), unit)[1] for unit in SECONDARY} <= PRIMARY
    assert not SECONDARY & PRIMARY


def test_there_is_no_degree_fahrenheit_in_senml() -> None:
    # RFC 8428 section 12.1: K, and Cel as the one exception (seen).
    reading = _one(None, "degF", 180.0)
    assert (reading.value, reading.unit, reading.quality) == (180.0, "degF", Quality.SUSPECT)


def test_coulomb_is_not_taken_for_celsius_nor_farad_for_fahrenheit() -> None:
    # RFC 8428 section 12.1: C is the coulomb, F the farad (seen).
    assert (_one(None, "C", 82.0).unit, _one(None, "F", 180.0).unit) == ("coulomb", "farad")
    assert "Cel" in _one(None, "C", 82.0).reason


def test_percent_is_a_ratio() -> None:
    # RFC 8428 section 12.1, note 2: 0.85 "%" is 85 per cent, for old senders (seen); kept as said.
    reading = _one(None, "%", 0.85)
    assert (reading.value, reading.unit, reading.quality) == (0.85, "%", Quality.GOOD)
