# SPDX-License-Identifier: MIT
from __future__ import annotations

import numpy as np
import pytest

from api.process.curves import Curve
from api.process.dip_check import DipCheck, combined_time_constant, dip_check
from api.process.lag import unlagged, unlagged_live
from api.process.quantities import NotShown, Quantity
from api.process.smoothing import noise, smoothing_coefficients, stretches, usual_run
from collector.errors import ProcessError


def _dip(span_k: float = 60.0, interval_s: float = 0.2, before_s: float = 6.0) -> Curve:
    time_s = np.arange(0.0, before_s + 70.0, interval_s)
    after = np.clip(time_s - before_s, 0.0, None)
    return Curve(time_s, 22.0 + span_k * (1.0 - np.exp(-after / 8.0)), name="kitchen/probe")


def _why(check: DipCheck) -> str:
    assert isinstance(check.time_constant, NotShown)
    return check.time_constant.why


def test_a_dip_that_shows_nothing_says_what_to_do() -> None:
    whole = _dip()

    assert "from five seconds before" in _why(dip_check(whole.between(0.0, 2.0)))
    assert "at least 10 K away" in _why(dip_check(_dip(span_k=4.0)))
    assert "until the probe has settled" in _why(dip_check(whole.between(0.0, 20.0)))
    assert "before the plunge" in _why(dip_check(whole.between(6.5, 80.0)))
    assert "log faster" in _why(dip_check(_dip(interval_s=3.0, before_s=15.0)))


def test_a_dip_of_two_movements_is_no_clean_step() -> None:
    time_s = np.arange(0.0, 200.0, 0.2)
    half = np.clip(time_s - 6.0, 0.0, None)
    rest = np.clip(time_s - 60.0, 0.0, None)
    value = 22.0 + 33.0 * (1 - np.exp(-half / 4.0)) + 27.0 * (1 - np.exp(-rest / 4.0))

    assert "one movement" in _why(dip_check(Curve(time_s, value)))


def test_a_dip_into_ice_works_as_well_as_one_into_hot_water() -> None:
    check = dip_check(_dip(span_k=-20.0))

    assert isinstance(check.time_constant, Quantity)
    assert check.time_constant.value == pytest.approx(8.0, rel=0.01)
    assert check.span_k == pytest.approx(-20.0, abs=0.1)


def test_one_dip_alone_is_trusted_less_than_three() -> None:
    one = combined_time_constant([dip_check(_dip())])
    three = combined_time_constant([dip_check(_dip())] * 3)

    assert isinstance(one, Quantity)
    assert isinstance(three, Quantity)
    assert one.u == pytest.approx(0.8, rel=0.05)
    assert three.u < one.u
    assert any("fewer than three" in source for source in one.sources)


def test_dips_that_disagree_widen_the_uncertainty() -> None:
    def with_tau(tau_s: float) -> DipCheck:
        found = Quantity(tau_s, "s", 0.1, "given")
        return DipCheck(found, found)

    result = combined_time_constant([with_tau(7.0), with_tau(8.0), with_tau(9.0)])

    assert isinstance(result, Quantity)
    # s/sqrt(3) = 0.577, times 1.32 for two degrees of freedom, with 0.1 beside it.
    assert result.u == pytest.approx(0.769, abs=0.01)


def test_without_a_usable_dip_there_is_no_time_constant() -> None:
    assert isinstance(combined_time_constant([]), NotShown)
    refused = combined_time_constant([dip_check(_dip(span_k=4.0))])
    assert isinstance(refused, NotShown)
    assert "10 K" in refused.why


def test_a_probe_without_time_constant_is_not_corrected() -> None:
    with pytest.raises(ProcessError, match="Log a dip check"):
        unlagged(_dip())
    with pytest.raises(ProcessError, match="window"):
        unlagged_live(Curve(np.arange(9.0), np.arange(9.0), time_constant_s=3.0), window_s=0.0)


def test_nothing_is_corrected_across_a_gap() -> None:
    time_s = np.concatenate([np.arange(0.0, 60.0), np.arange(90.0, 93.0), np.arange(120.0, 180.0)])
    value = np.where(time_s < 75.0, 80.0, 70.0)
    curve = Curve(time_s, value, time_constant_s=8.0)

    for corrected in (unlagged(curve), unlagged_live(curve)):
        shown = np.isfinite(corrected.value)
        assert not shown[60:63].any()
        assert corrected.value[shown] == pytest.approx(value[shown], abs=1e-9)
    assert [part.stop - part.start for part in stretches(curve)] == [60, 3, 60]


def test_readings_at_uneven_times_are_corrected_too() -> None:
    rng = np.random.default_rng(3)
    time_s = np.cumsum(rng.uniform(0.6, 1.4, 300))
    curve = Curve(time_s, 20.0 + 0.05 * time_s, time_constant_s=8.0)

    assert unlagged(curve).value == pytest.approx(curve.value + 0.4, abs=1e-6)
    live = unlagged_live(curve).value
    assert live[20:] == pytest.approx(curve.value[20:] + 0.4, abs=1e-6)


def test_the_live_correction_never_looks_ahead() -> None:
    time_s = np.arange(0.0, 100.0)
    value = 80.0 - 0.02 * time_s
    later = value.copy()
    later[60:] -= 5.0

    before = unlagged_live(Curve(time_s, value, time_constant_s=8.0)).value
    after = unlagged_live(Curve(time_s, later, time_constant_s=8.0)).value

    assert after[11:60] == pytest.approx(before[11:60])


def test_an_empty_curve_stays_empty() -> None:
    nothing = Curve(np.empty(0), np.empty(0), time_constant_s=8.0)

    assert unlagged(nothing).value.size == 0
    assert stretches(nothing) == []


def test_noise_is_told_from_slope_and_from_a_pour() -> None:
    rng = np.random.default_rng(5)
    time_s = np.arange(0.0, 1200.0)
    value = 60.0 + 0.03 * time_s - 4.0 * (time_s > 600.0) + rng.normal(0.0, 0.05, time_s.size)

    assert noise(Curve(time_s, value)) == pytest.approx(0.05, rel=0.2)
    assert noise(Curve(time_s[:5], value[:5])) == 0.0


def test_a_coarse_display_shows_runs_of_equal_readings() -> None:
    time_s = np.arange(0.0, 600.0)
    value = np.round((60.0 + 0.01 * time_s) / 0.5) * 0.5

    assert usual_run(value) == pytest.approx(46, abs=2)
    assert noise(Curve(time_s, value)) < 0.15


def test_a_polynomial_that_does_not_fit_its_window_is_refused() -> None:
    with pytest.raises(ProcessError, match="degree"):
        smoothing_coefficients(3, 3, 1)
