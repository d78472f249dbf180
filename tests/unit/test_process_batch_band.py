"""The band in which several batches ran."""

from __future__ import annotations

import numpy as np
import pytest

from api.process.alignment import Aligned
from api.process.batch_band import BatchBand, batch_band
from api.process.quantities import NotShown


def line(start_s: float, end_s: float, lift_k: float, unit: str = "s") -> Aligned:
    x = np.arange(start_s, end_s + 1.0, 5.0)
    return Aligned(x, 20.0 + 0.1 * x + lift_k, unit, 0.0)


def test_a_band_lies_between_the_lowest_and_the_highest_curve() -> None:
    band = batch_band([line(0, 600, lift) for lift in (0.0, 3.0, 1.0)])

    assert isinstance(band, BatchBand)
    assert band.of == 3
    np.testing.assert_allclose(band.low, 20.0 + 0.1 * band.x, atol=1e-9)
    np.testing.assert_allclose(band.middle, 21.0 + 0.1 * band.x, atol=1e-9)
    np.testing.assert_allclose(band.high, 23.0 + 0.1 * band.x, atol=1e-9)


def test_a_band_stands_only_where_at_least_half_of_the_curves_have_a_value() -> None:
    band = batch_band([line(0, 600, 0.0), line(0, 600, 1.0), line(0, 600, 2.0), line(0, 1200, 3.0)])

    assert isinstance(band, BatchBand)
    assert band.x[-1] <= 600.0
    assert set(band.batches.tolist()) == {4.0}


def test_two_curves_make_a_band_only_where_both_have_a_value() -> None:
    band = batch_band([line(0, 600, 0.0), line(300, 900, 1.0)])

    assert isinstance(band, BatchBand)
    assert band.x[0] >= 300.0
    assert band.x[-1] <= 600.0


def test_a_gap_in_the_readings_is_no_band() -> None:
    whole = line(0, 600, 1.0)
    kept = (whole.x <= 200.0) | (whole.x >= 320.0)
    broken = Aligned(whole.x[kept], whole.value[kept], "s", 0.0)

    band = batch_band([line(0, 600, 0.0), broken])

    assert isinstance(band, BatchBand)
    assert not np.any((band.x > 200.0) & (band.x < 320.0))
    assert np.any(band.x > 320.0)


def test_one_curve_or_curves_that_never_meet_are_no_band() -> None:
    alone = batch_band([line(0, 600, 0.0)])
    apart = batch_band([line(0, 100, 0.0), line(500, 600, 0.0)])

    assert isinstance(alone, NotShown)
    assert "too few" in alone.why
    assert isinstance(apart, NotShown)
    assert apart.why == "The curves share no stretch of the axis."


def test_a_time_for_each_kilogram_keeps_its_unit() -> None:
    band = batch_band([line(0, 600, lift, "s/kg") for lift in (0.0, 1.0)])

    assert isinstance(band, BatchBand)
    assert band.x_unit == "s/kg"
    assert band.high[0] - band.low[0] == pytest.approx(1.0)
