"""Did the milk boil: the top of its curve against the boiling point."""

from __future__ import annotations

import numpy as np
import pytest

from api.process.curves import Curve
from api.process.plateau import Plateau, plateau_of
from api.process.quantities import NotShown, Quantity


def boiling(degc: float = 99.4, u: float = 0.3) -> Quantity:
    return Quantity(degc, "degC", u, "pressure", ("barometer",))


def curve(top_degc: float, top_s: float = 600.0, u: float = 0.2) -> Curve:
    """Rise by 0.1 K/s, stay, and fall again; read each second with 0.05 K of noise."""
    time_s = np.arange(0.0, 800.0 + top_s)
    rise = top_degc - 40.0 + 0.1 * (time_s - 400.0)
    fall = top_degc - 0.02 * (time_s - 400.0 - top_s)
    shape = np.where(time_s < 400.0, rise + 40.0, np.where(time_s < 400 + top_s, top_degc, fall))
    noise = np.random.default_rng(4).normal(0.0, 0.05, time_s.size)
    return Curve(time_s, shape + noise, u, name="milk")


def found(of: Curve, at: Quantity) -> Plateau:
    plateau = plateau_of(of, at)
    assert isinstance(plateau, Plateau)
    return plateau


def test_a_plateau_at_the_boiling_point_is_a_boil() -> None:
    plateau = found(curve(99.3), boiling())

    assert plateau.boiled is True
    assert plateau.length_s == pytest.approx(600.0, abs=50.0)
    assert plateau.below_boiling.value == pytest.approx(0.1, abs=0.03)
    assert plateau.below_boiling.u > 0.3


def test_a_simmer_is_no_boil() -> None:
    plateau = found(curve(94.0), boiling())

    assert plateau.boiled is False
    assert "5.4 K below the boiling point: the milk did not boil" in plateau.words


def test_milk_hotter_than_it_can_be_points_at_the_probe() -> None:
    plateau = found(curve(101.5), boiling())

    assert plateau.boiled is False
    assert "check the probe" in plateau.words


def test_a_boiling_point_that_nobody_knows_well_tells_no_boil_from_a_simmer() -> None:
    assert found(curve(99.3), boiling(u=1.1)).boiled is None
    assert "can't be told" in found(curve(99.3), boiling(u=1.1)).words
    assert found(curve(90.0), boiling(u=1.1)).boiled is False


def test_a_top_that_is_only_passed_is_no_plateau() -> None:
    result = plateau_of(curve(99.3, top_s=0.0), boiling())

    assert isinstance(result, NotShown)
    assert "no plateau" in result.why


def test_a_gap_ends_a_plateau() -> None:
    whole = curve(99.3)
    kept = (whole.time_s < 500.0) | (whole.time_s > 620.0)
    broken = Curve(whole.time_s[kept], whole.value[kept], 0.2)

    assert found(broken, boiling()).length_s < 430.0


def test_four_readings_show_nothing() -> None:
    assert isinstance(plateau_of(Curve(np.arange(4.0), np.full(4, 99.0)), boiling()), NotShown)
    assert isinstance(plateau_of(Curve(np.array([]), np.array([])), boiling()), NotShown)
