"""How numbers and times are written."""

from __future__ import annotations

import pytest

from dashboards import formats, times
from dashboards.formats import Units

FAHRENHEIT = Units(temperature="degF")
OUNCES = Units(mass="oz")


@pytest.mark.parametrize(
    ("value", "u", "shown"),
    [
        (80.3127, 0.2149, ("80.31", "0.21")),
        (0.97812, 0.00312, ("0.9781", "0.0031")),
        (2807.55, 19.4, ("2808", "19")),
        (4508.5, 996.0, ("4500", "1000")),
        (0.5, 0.0996, ("0.50", "0.10")),
        (-3.2, 0.104, ("\N{MINUS SIGN}3.20", "0.10")),
        (12.0, 1.0, ("12.0", "1.0")),
    ],
)
def test_a_value_is_rounded_to_the_second_digit_of_its_uncertainty(
    value: float, u: float, shown: tuple[str, str]
) -> None:
    assert formats.rounded(value, u) == shown


def test_minus_zero_is_written_as_zero_and_minus_with_its_own_sign() -> None:
    assert formats.plain(-0.04, 1) == "0.0"
    assert formats.plain(-3.25, 2) == "\N{MINUS SIGN}3.25"


def test_the_uncertainty_of_a_temperature_in_fahrenheit_is_scaled_and_not_shifted() -> None:
    result = {"value": 80.0, "unit": "degC", "u": 0.5, "method": "", "from": []}

    assert formats.quantity(result, FAHRENHEIT) == ("176.00 °F", "0.90 °F")


def test_a_difference_in_kelvin_is_shown_without_the_shift_of_the_scale() -> None:
    loss = {"value": 1.5, "unit": "K", "u": 0.2, "method": "", "from": []}

    assert formats.quantity(loss, FAHRENHEIT) == ("2.70 °F", "0.36 °F")
    assert formats.difference(4.2, Units()) == "4.2 °C"


def test_what_can_not_be_shown_says_so_in_place_of_a_number() -> None:
    assert formats.quantity({"status": "not applicable", "why": "-"}, Units()) == (
        "not applicable",
        "",
    )
    assert formats.quantity(None, Units()) == ("not shown", "")


def test_masses_below_a_kilogram_are_in_grams_and_from_there_in_kilograms() -> None:
    assert formats.mass_parts(0.012, Units(), 0.0005) == ("12.00 g", "0.50 g")
    assert formats.mass_parts(3.56, Units(), 0.002) == ("3.5600 kg", "0.0020 kg")
    assert formats.mass(-0.2, Units()) == "\N{MINUS SIGN}200.0 g"


def test_masses_in_pounds_and_ounces_add_up() -> None:
    # 1 lb = 0.45359237 kg exactly (agreement of 1959, from memory).
    assert formats.mass(0.45359237 * 7.5, OUNCES) == "7 lb 8.0 oz"
    assert formats.mass(0.45359237 / 16.0 * 15.96, OUNCES) == "1 lb 0.0 oz"
    assert formats.mass(None, OUNCES) == "not known"


def test_a_mass_in_ounces_keeps_its_uncertainty_in_ounces() -> None:
    text, u = formats.mass_parts(0.45359237, OUNCES, 0.45359237 / 16.0 * 0.25)

    assert (text, u) == ("1 lb 0.00 oz", "0.25 oz")


def test_units_that_nobody_knows_fall_back_to_the_usual_ones() -> None:
    assert formats.units_of({"temperature": "<b>", "mass": None}) == Units("degC", "g")


def test_clock_times_are_the_kitchens_across_a_change_to_summer_time() -> None:
    # Europe/Vienna: 2026-03-29 at 01:00 UTC the clock goes from 02:00 to 03:00 (EU rule).
    vienna = times.zone_of("Europe/Vienna")

    assert times.clock("2026-03-29T00:59:00Z", vienna) == "01:59"
    assert times.clock("2026-03-29T01:00:00Z", vienna) == "03:00"
    assert times.seconds_between("2026-03-29T00:59:00Z", "2026-03-29T01:00:00Z") == 60.0


def test_a_zone_that_is_not_on_the_machine_shows_utc() -> None:
    assert times.clock("2026-03-02T08:15:00Z", times.zone_of("No/Where")) == "08:15"


def test_durations_are_in_the_two_units_that_matter() -> None:
    assert times.duration(59.6) == "1 min"
    assert times.duration(3599.0) == "59 min 59 s"
    assert times.duration(7170.0) == "2 h"
    assert times.duration(-30.0) == "\N{MINUS SIGN}30 s"
    assert times.duration(None) == "not known"


def test_a_day_is_left_out_where_it_is_today() -> None:
    zone = times.zone_of("UTC")

    assert times.day_and_clock("2026-03-02T08:15:00Z", zone, "2026-03-02T20:00:00Z") == "08:15"
    assert (
        times.day_and_clock("2026-03-01T08:15:00Z", zone, "2026-03-02T20:00:00Z")
        == "Sun 1 Mar, 08:15"
    )
