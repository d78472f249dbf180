from __future__ import annotations

import numpy as np
import pytest

from api.process.boiling import saturation_pressure, saturation_temperature
from api.process.curves import Curve
from api.process.evaporation import OpenPot, evaporation_from_heat, evaporation_from_scale
from api.process.quantities import NotShown, Quantity
from collector.errors import ProcessError

T0 = 1_772_400_000.0
MILK = Quantity(3.0, "kg", 0.003, "weighed")


def scale(rate_kg_per_s: float = 2e-4, seconds: int = 2400, noise_kg: float = 0.0005) -> Curve:
    time_s = np.arange(seconds, dtype=np.float64)
    noise = np.random.default_rng(4).normal(0.0, noise_kg, time_s.size)
    mass_kg = np.round((5.0 - rate_kg_per_s * time_s + noise) / 0.001) * 0.001
    return Curve(T0 + time_s, mass_kg, resolution=0.001, name="pot/scale")


def test_a_steady_fall_is_vapour() -> None:
    found = evaporation_from_scale(scale(), OpenPot(T0, T0 + 2400))

    assert isinstance(found, Quantity)
    assert found.value == pytest.approx(2e-4 * 2390, abs=0.003)
    assert 0.0 < found.u < 0.03
    assert found.sources == ("series pot/scale",)


def test_a_pour_a_lid_and_a_spoon_are_not_vapour() -> None:
    curve = scale()
    mass = curve.value.copy()
    mass[800:] += np.clip(np.arange(1600) / 30.0, 0, 1) * 0.25  # 250 g poured in half a minute
    mass[1000:] += 0.62  # the lid
    mass[1500:] -= 0.14  # the spoon
    moved = Curve(curve.time_s, mass, resolution=0.001, name="pot/scale")

    found = evaporation_from_scale(moved, OpenPot(T0, T0 + 2400, poured=((T0 + 800, T0 + 830),)))

    assert isinstance(found, Quantity)
    assert abs(found.value - 2e-4 * 2390) < 2 * found.u
    assert found.u < 0.04


def test_a_silent_scale_shows_nothing() -> None:
    curve = scale()
    half = Curve(
        np.delete(curve.time_s, slice(600, 1700)), np.delete(curve.value, slice(600, 1700))
    )

    few = evaporation_from_scale(scale(seconds=30), OpenPot(T0, T0 + 2400))
    gap = evaporation_from_scale(half, OpenPot(T0, T0 + 2400))

    assert isinstance(few, NotShown)
    assert isinstance(gap, NotShown)
    assert "silent for 1101 s" in gap.why


def test_a_boil_is_charged_with_the_power_that_came_before_it() -> None:
    # 3 kg at 0.1 K/s take up 1176 W; 600 s of that boil off 0.313 kg, times the hob's setting of
    # 0.55 (heat over heat of vaporisation, definition).
    time_s = np.arange(0.0, 1500.0, 2.0)
    degc = np.minimum(20.0 + 0.1 * time_s, 99.5)
    plateau_s = 1500.0 - 785.0

    found = evaporation_from_heat(
        Curve(T0 + time_s, degc, name="p"), MILK, OpenPot(T0, T0 + 1500), 99.97
    )

    assert isinstance(found, Quantity)
    expected = 0.55 * 0.1 * 3.0 * 3920.0 * plateau_s / 2.2565e6
    assert abs(found.value - expected) < 0.05
    assert found.u > 0.4 * expected


def test_cooling_milk_loses_about_two_thirds_of_its_heat_as_vapour() -> None:
    time_s = np.arange(0.0, 1200.0, 2.0)
    degc = 95.0 - time_s / 60.0
    found = evaporation_from_heat(
        Curve(T0 + time_s, degc, name="p"), MILK, OpenPot(T0, T0 + 1200), 99.97
    )

    assert isinstance(found, Quantity)
    assert found.value == pytest.approx(0.65 * 3.0 * 3920.0 * 20.0 / 2.2565e6, rel=0.03)


def test_milk_that_stays_cold_gives_off_nothing() -> None:
    time_s = np.arange(0.0, 1200.0, 2.0)
    found = evaporation_from_heat(
        Curve(T0 + time_s, np.full(600, 20.0)), MILK, OpenPot(T0, T0 + 1200), 99.97
    )

    assert isinstance(found, Quantity)
    assert found.value == 0.0


def test_vapour_pressure_and_boiling_point_undo_each_other() -> None:
    for degc in (1.0, 25.0, 80.0, 99.974, 150.0, 373.0):
        assert saturation_temperature(saturation_pressure(degc)) == pytest.approx(degc, abs=1e-6)


def test_vapour_pressure_agrees_with_a_reference_library() -> None:
    from iapws.iapws97 import _PSat_T

    for degc in (5.0, 50.0, 80.0, 100.0, 200.0):
        assert saturation_pressure(degc) == pytest.approx(_PSat_T(degc + 273.15) * 1e6, rel=1e-9)


def test_vapour_pressure_refuses_ice() -> None:
    with pytest.raises(ProcessError, match="-5 degC"):
        saturation_pressure(-5.0)
