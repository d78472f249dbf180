# SPDX-License-Identifier: MIT
from __future__ import annotations

import pytest

from api.process.boiling import (
    SOLUTES_U_K,
    boiling_point_at_altitude,
    boiling_point_at_pressure,
    saturation_temperature,
    standard_pressure,
)
from api.process.probe_check import two_point_correction
from api.process.quantities import Quantity
from collector.errors import ProcessError


@pytest.mark.parametrize("pressure_pa", [0.0, -1.0, 1013.25 / 1e4, 23e6, float("nan")])
def test_a_pressure_without_a_boiling_point_is_refused(pressure_pa: float) -> None:
    with pytest.raises(ProcessError, match="in pascal"):
        saturation_temperature(pressure_pa)


def test_an_altitude_in_no_kitchen_is_refused() -> None:
    with pytest.raises(ProcessError, match="12000 m"):
        standard_pressure(12_000.0)


def test_altitude_alone_carries_the_weather() -> None:
    by_altitude = boiling_point_at_altitude(0.0)
    by_pressure = boiling_point_at_pressure(101_325.0)

    assert by_altitude.value == by_pressure.value
    # 0.2777 K/kPa near one atmosphere.
    assert by_altitude.u == pytest.approx((0.4166**2 + 0.0667**2 + SOLUTES_U_K**2) ** 0.5, rel=0.02)
    assert by_pressure.u < 0.15
    assert any("weather" in source for source in by_altitude.sources)


def test_a_known_pressure_without_doubt_leaves_the_solutes() -> None:
    assert boiling_point_at_pressure(95_000.0, 0.0).u == pytest.approx(SOLUTES_U_K)


def test_uncertainties_below_nothing_are_refused() -> None:
    with pytest.raises(ProcessError, match="-1 Pa"):
        boiling_point_at_pressure(95_000.0, -1.0)
    with pytest.raises(ProcessError, match="-2 m"):
        boiling_point_at_altitude(100.0, -2.0)


def test_the_two_point_correction_is_exact_at_both_points() -> None:
    boil = Quantity(98.3, "degC", 0.2, "given")
    line = two_point_correction(-0.6, 99.1, boil, u_indication_k=0.05)

    assert line.apply(-0.6).value == pytest.approx(0.0)
    assert line.apply(99.1).value == pytest.approx(98.3)
    assert line.apply(-0.6).u < line.apply(99.1).u


def test_a_check_in_the_wrong_unit_is_refused() -> None:
    boil = Quantity(98.3, "degC", 0.2, "given")

    with pytest.raises(ProcessError, match=r"melting ice .* showed 32\.5"):
        two_point_correction(32.5, 99.0, boil, u_indication_k=0.05)
    with pytest.raises(ProcessError, match="boiling water"):
        two_point_correction(0.5, 60.0, boil, u_indication_k=0.05)
    with pytest.raises(ProcessError, match="below 0"):
        two_point_correction(0.5, 98.0, boil, u_indication_k=-0.05)
