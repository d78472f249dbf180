# SPDX-License-Identifier: MIT
"""Equivalent times against the published tables, closed forms, and a fine numerical integral."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from api.process.curves import Floats
from api.process.ingredient_rows import Status
from api.process.lethality import (
    NON_PROTEOLYTIC_BOTULINUM,
    VEGETATIVE_PATHOGENS,
    Reference,
    equivalent_hold_s,
    lethality_s,
)

# Food Standards Agency, vacuum packing training, module 3 section 2, data of the Chilled Food
# Association 2006; seen. Minutes that equal 10 min at 90 degC, as printed.
FSA_90_10 = {
    80: 129.0, 81: 100.0, 82: 77.0, 83: 60.0, 84: 46.0, 85: 36.0, 86: 28.0, 87: 22.0, 88: 17.0,
    89: 13.0, 90: 10.0, 91: 7.9, 92: 6.3, 93: 5.0, 94: 4.0, 95: 3.2, 96: 2.5, 97: 2.0, 98: 1.6,
    99: 1.3, 100: 1.0,
}  # fmt: skip


@pytest.mark.parametrize("degc", FSA_90_10)
def test_each_of_the_21_times_of_the_agency_comes_out_to_its_printed_digits(degc: int) -> None:
    minutes = equivalent_hold_s(NON_PROTEOLYTIC_BOTULINUM, float(degc)) / 60.0

    half_unit = 0.5 if degc <= 90 else 0.05
    assert minutes == pytest.approx(FSA_90_10[degc], abs=half_unit)


@pytest.mark.parametrize(
    ("degc", "minutes"),
    # Food Standards Agency and ACMSF as reported; second hand. Rounded up, so one-sided.
    [(75.0, 30 / 60), (80.0, 6 / 60)],
)
def test_the_agency_asks_for_no_less_above_70(degc: float, minutes: float) -> None:
    assert 0.8 * minutes < equivalent_hold_s(VEGETATIVE_PATHOGENS, degc) / 60.0 <= minutes


@pytest.mark.parametrize(
    ("degc", "minutes"),
    # The same after the revision for E. coli; second hand.
    [(60.0, 93.0), (65.0, 14.0)],
)
def test_the_revision_for_e_coli_below_70(degc: float, minutes: float) -> None:
    assert equivalent_hold_s(VEGETATIVE_PATHOGENS, degc) / 60.0 == pytest.approx(minutes, rel=0.05)


def plain(reference_degc: float, z_k: float) -> Reference:
    return Reference("plain", reference_degc, z_k, z_k, 60.0, -50.0, "test", Status.COMPUTED)


def line(*points: tuple[float, float]) -> tuple[Floats, Floats]:
    minutes, degc = np.array(points, dtype=float).T
    return 60.0 * minutes, degc


EIGHT_POINTS = line(
    (0, 20), (10, 60), (15, 75), (20, 90), (30, 95), (40, 95), (45, 82), (60, 74)
)  # fmt: skip


@pytest.mark.parametrize(
    ("profile", "reference_degc", "z_k", "minutes"),
    [
        # Closed form z (L2 - L1)/(ln 10 rate); computed.
        (line((0, 60), (10, 70)), 70.0, 7.5, 3.1060),
        (line((0, 60), (15, 90)), 90.0, 9.0, 1.9534),
        (line((0, 60), (15, 90)), 70.0, 10.0, 216.93),
        (line((0, 70), (2, 70)), 70.0, 7.5, 2.0),
        (EIGHT_POINTS, 90.0, 10.0, 57.955),
        (EIGHT_POINTS, 70.0, 7.5, 35931.0),
    ],
)
def test_profiles_with_a_closed_form(
    profile: tuple[Floats, Floats], reference_degc: float, z_k: float, minutes: float
) -> None:
    found = lethality_s(plain(reference_degc, z_k), *profile).sum() / 60.0

    assert found == pytest.approx(minutes, rel=2e-5)


def test_two_z_values_and_a_floor_agree_with_a_fine_integral() -> None:
    """scipy.integrate.quad over the same straight lines; computed."""
    reference = NON_PROTEOLYTIC_BOTULINUM
    time_s, degc = EIGHT_POINTS

    def rate(at_s: float) -> float:
        t = float(np.interp(at_s, time_s, degc))
        if t < reference.floor_degc:
            return 0.0
        z = reference.z_below_k if t < 90.0 else reference.z_above_k
        return float(10.0 ** ((t - 90.0) / z))

    breaks = [*time_s[1:-1].tolist(), 15 * 60 - 100.0]
    expected, _ = quad(rate, time_s[0], time_s[-1], points=breaks, limit=400)
    assert lethality_s(reference, time_s, degc).sum() == pytest.approx(expected, rel=1e-4)


@given(
    st.lists(st.floats(20.0, 110.0), min_size=2, max_size=30),
    st.floats(0.01, 10.0),
    st.integers(0, 29),
)
def test_a_hotter_reading_never_counts_less(degc: list[float], more_k: float, at: int) -> None:
    time_s = np.arange(len(degc), dtype=np.float64) * 20.0
    cooler, hotter = np.array(degc), np.array(degc)
    hotter[at % len(degc)] += more_k

    for reference in (NON_PROTEOLYTIC_BOTULINUM, VEGETATIVE_PATHOGENS):
        low = lethality_s(reference, time_s, cooler).sum()
        high = lethality_s(reference, time_s, hotter).sum()
        assert high >= low * (1 - 1e-9)


@given(st.floats(30.0, 110.0), st.floats(30.0, 110.0), st.floats(0.01, 0.99))
def test_a_reading_more_on_the_same_line_changes_nothing(a: float, b: float, share: float) -> None:
    time_s, degc = np.array([0.0, 100.0]), np.array([a, b])
    finer_s = np.array([0.0, 100.0 * share, 100.0])
    finer = np.array([a, a + share * (b - a), b])

    for reference in (NON_PROTEOLYTIC_BOTULINUM, replace(VEGETATIVE_PATHOGENS, floor_degc=40.0)):
        coarse = lethality_s(reference, time_s, degc).sum()
        assert lethality_s(reference, finer_s, finer).sum() == pytest.approx(
            coarse, rel=1e-6, abs=1e-9
        )
