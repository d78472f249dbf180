# SPDX-License-Identifier: MIT
"""Boiling point of water against the published test points, tables, and a second library."""

from __future__ import annotations

import numpy as np
import pytest
from iapws import IAPWS97

from api.process.boiling import (
    boiling_point_at_altitude,
    saturation_temperature,
    standard_pressure,
    station_pressure,
)
from api.process.probe_check import two_point_correction
from api.process.quantities import Quantity


@pytest.mark.parametrize(
    ("pressure_mpa", "kelvin"),
    [
        # IAPWS-IF97 release, table 36 (from memory); reproduced to all digits by iapws 1.5.
        (0.1, 372.755919),
        (1.0, 453.035632),
        (10.0, 584.149488),
    ],
)
def test_saturation_line_passes_the_points_of_the_release(
    pressure_mpa: float, kelvin: float
) -> None:
    assert saturation_temperature(pressure_mpa * 1e6) + 273.15 == pytest.approx(kelvin, abs=5e-7)


@pytest.mark.parametrize("pressure_kpa", [50.0, 70.0, 75.0, 85.0, 95.0, 101.325, 108.0])
def test_saturation_line_agrees_with_a_second_library(pressure_kpa: float) -> None:
    """Library iapws; computed."""
    expected = IAPWS97(P=pressure_kpa / 1000.0, x=0).T - 273.15

    assert saturation_temperature(1000.0 * pressure_kpa) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    ("altitude_m", "kpa"),
    [
        # ICAO standard atmosphere, as tabulated (second hand): sea level exact by definition.
        (0.0, 101.325),
        (1000.0, 89.875),
        (2000.0, 79.495),
        (3000.0, 70.109),
        (11000.0, 22.632),
    ],
)
def test_standard_atmosphere_agrees_with_its_table(altitude_m: float, kpa: float) -> None:
    assert standard_pressure(altitude_m) / 1000.0 == pytest.approx(kpa, abs=0.0006)


@pytest.mark.parametrize(
    ("feet", "published_degc"),
    [
        # USDA Complete Guide to Home Canning, table of elevations; seen. It falls by 1.8 degF
        # for each 1 000 ft, so it lies up to 0.16 K above the standard atmosphere.
        (0, 100.0),
        (1000, 99.01),
        (2000, 98.03),
        (3000, 97.05),
        (4000, 96.08),
    ],
)
def test_boiling_points_lie_near_the_canning_table(feet: int, published_degc: float) -> None:
    boiling = boiling_point_at_altitude(0.3048 * feet)

    assert boiling.value == pytest.approx(published_degc, abs=0.2)
    assert abs(boiling.value - published_degc) < 2 * boiling.u


def test_pressure_of_a_weather_report_is_brought_up_to_the_kitchen() -> None:
    """At sea-level pressure of one atmosphere it is the standard atmosphere; identity."""
    assert station_pressure(101_325.0, 1500.0) == pytest.approx(standard_pressure(1500.0))


def test_uncertainty_of_the_two_point_correction_holds_in_a_monte_carlo() -> None:
    """JCGM 101 style: 40 000 draws of what went in; seed fixed."""
    rng = np.random.default_rng(20250301)
    n = 40_000
    boil = Quantity(99.2, "degC", 0.3, "given")
    line = two_point_correction(0.5, 98.6, boil, u_indication_k=0.1, u_ice_point_k=0.05)
    ice_drawn = 0.5 + rng.normal(0, 0.1, n)
    boil_drawn = 98.6 + rng.normal(0, 0.1, n)
    ice_point = rng.normal(0, 0.05, n)
    boiling_point = 99.2 + rng.normal(0, 0.3, n)

    for indication in (21.0, 82.0, 95.0):
        share = (indication - ice_drawn) / (boil_drawn - ice_drawn)
        drawn = ice_point + share * (boiling_point - ice_point)
        corrected = line.apply(indication)
        assert corrected.value == pytest.approx(float(np.mean(drawn)), abs=0.005)
        assert corrected.u == pytest.approx(float(np.std(drawn)), rel=0.03)
