# SPDX-License-Identifier: MIT
"""Reconciliation and gross-error tests against published problems and exact identities."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize

from api.process.gross_errors import (
    global_limit,
    judge,
    nodal_statistics,
    single_limit,
    single_values,
)
from api.process.reconciliation import Reconciliation, project, reconcile

# Heat exchanger with a bypass, Narasimhan and Jordache 2000, chapter 1: 1 feed, 2 to the exchanger,
# 3 bypass, 4 out of the exchanger, 5 out of the bypass, 6 product; every variance 1.
EXCHANGER = np.array(
    [
        [1.0, -1, -1, 0, 0, 0],
        [0, 1, 0, -1, 0, 0],
        [0, 0, 1, 0, -1, 0],
        [0, 0, 0, 1, 1, -1],
    ]
)
# Measured flows: problem P4 of the open collection EDSONCV/dr-ged-benchmarks; seen.
EXCHANGER_MEASURED = np.array([101.91, 64.45, 34.65, 64.20, 36.44, 98.88])


def exchanger(bias_on_2: float = 0.0) -> Reconciliation:
    measured = EXCHANGER_MEASURED + bias_on_2 * np.eye(6)[1]
    return reconcile(measured, np.eye(6), EXCHANGER)


def test_the_exchanger_with_bypass_is_reconciled_as_printed() -> None:
    # Table 1-1 of the book, two decimals: from memory; the same computed by hand.
    printed = [100.22, 64.50, 35.72, 64.50, 35.72, 100.22]

    result = exchanger()

    assert result.reconciled == pytest.approx(printed, abs=0.005)
    assert result.statistic == pytest.approx(6.4075, abs=5e-5)  # computed
    assert result.statistic < global_limit(4) == pytest.approx(9.488, abs=0.0005)
    # Four balances on six equal variances leave one third of each: 1 / sqrt 3, exact.
    after = np.sqrt(np.diag(result.reconciled_covariance))
    assert after == pytest.approx(np.full(6, 1 / np.sqrt(3)), abs=1e-12)


def test_a_bias_of_four_on_stream_two_is_found_on_stream_two() -> None:
    # Global statistic 16.674: chapter 7 of the book, from memory; computed 16.6742.
    # The z of the streams and nodes: computed.
    z_of_streams = [1.253, 3.205, 0.494, 2.000, 1.698, 2.458]
    z_of_nodes = [0.687, 3.005, 1.266, 1.016]

    result = exchanger(4.0)
    tests = judge(result, single_values("123456"))

    assert result.statistic == pytest.approx(16.6742, abs=5e-5)
    assert [t.z for t in tests] == pytest.approx(z_of_streams, abs=0.0005)
    nodal = nodal_statistics(EXCHANGER, result.measured, np.eye(6))
    assert nodal == pytest.approx(z_of_nodes, abs=0.0005)
    flagged = [t.label for t in tests if t.z > single_limit(6)]
    assert flagged == ["2"]  # the book flags stream 2 (from memory)
    biased = [100.887, 65.833, 35.053, 65.833, 35.053, 100.887]  # computed
    assert result.reconciled == pytest.approx(biased, abs=0.0005)


def test_the_measurement_test_is_the_adjustment_over_its_deviation() -> None:
    """With independent errors the maximum power test is |a| / sqrt W, as textbooks print it."""
    result = exchanger(4.0)
    by_adjustment = np.abs(result.adjustments) / np.sqrt(np.diag(result.adjustment_covariance))

    tests = judge(result, single_values("123456"))

    assert [t.z for t in tests] == pytest.approx(by_adjustment, rel=1e-9)


def test_leaving_a_stream_out_lowers_the_statistic_by_exactly_its_z_squared() -> None:
    # 6.40375 without stream 2, and the flows that are left: computed.
    result = exchanger(4.0)

    for j, test in enumerate(judge(result, single_values("123456"))):
        others = np.delete(np.arange(6), j)
        alone = reconcile(
            result.measured[others], np.eye(5), EXCHANGER[:, others], EXCHANGER[:, [j]]
        )
        assert alone.statistic == pytest.approx(result.statistic - test.z**2, abs=1e-9)
        assert test.statistic_without == pytest.approx(alone.statistic, abs=1e-9)
        assert alone.unmeasured[0] == pytest.approx(result.measured[j] - test.size, abs=1e-9)
        if j == 1:
            assert alone.statistic == pytest.approx(6.40375, abs=5e-6)
            flows = [100.2325, 35.7075, 64.525, 35.7075, 100.2325]
            assert alone.reconciled == pytest.approx(flows, abs=5e-5)


def test_critical_values_are_those_of_sidak() -> None:
    # For n tests at 95 %: SciPy, computed.
    expected = {1: 1.960, 3: 2.388, 5: 2.569, 6: 2.631, 8: 2.727}

    for tests, z in expected.items():
        assert single_limit(tests) == pytest.approx(z, abs=0.0005)


def test_the_twelve_streams_of_zhang_are_reconciled() -> None:
    # Zhang et al. 2010, Comput. Chem. Eng. 34:154: measured and standard deviations seen in the
    # open collection EDSONCV/dr-ged-benchmarks; reconciled values and statistic computed.
    measured, sigma = np.array(
        [
            (190.26, 2.1412), (174.71, 1.9484), (3.1157, 0.0341), (32.458, 0.3451),
            (33.474, 0.4001), (7.3519, 0.0868), (0.31392, 0.00356), (92.432, 1.0594),
            (29.118, 0.3607), (24.275, 0.3001), (18.225, 0.20011), (54.838, 0.6453),
        ]
    ).T  # fmt: skip
    rows = np.zeros((3, 12))
    rows[0, [0, 1, 2, 10]] = [1, -1, 1, -1]
    rows[1, [1, 3, 4, 5, 6, 7, 8, 10, 11]] = [1, -1, -1, -1, -1, -1, 1, 1, -1]
    rows[2, [2, 8, 9, 11]] = [-1, -1, -1, 1]

    result = reconcile(measured, np.diag(sigma**2), rows)

    assert result.statistic == pytest.approx(4.4001, abs=5e-5)
    expected = [190.0493, 174.9345, 3.11259, 32.4564, 33.4719, 7.35180, 0.313920, 92.4172]
    expected += [28.7774, 24.0381, 18.2274, 55.9281]
    assert result.reconciled == pytest.approx(expected, rel=2e-6)


def test_the_six_streams_of_dovi_and_solisio_are_reconciled() -> None:
    # Dovi and Solisio 2001, Chem. Eng. J. 84:309: measured seen in the same collection, whose
    # author chose the variances; reconciled values and statistic computed.
    measured = np.array([11, 9.9, 21.25, 11.1, 7, 3.8])
    variance = np.array([0.032, 0.026, 0.120, 0.033, 0.052, 0.015])
    rows = np.array([[1.0, 1, -1, 0, 0, 0], [0, -1, 1, -1, 0, 0], [0, 0, 0, 1, -1, -1]])

    result = reconcile(measured, np.diag(variance), rows)

    assert result.statistic == pytest.approx(1.66749, abs=5e-6)
    expected = [11.02931, 9.95711, 20.98642, 11.02931, 7.17797, 3.85134]
    assert result.reconciled == pytest.approx(expected, abs=5e-6)


def test_the_one_node_of_rao_and_narasimhan_agrees_with_a_general_optimiser() -> None:
    # Rao and Narasimhan 1996, Ind. Eng. Chem. Res. 35:1362, one node 1 - 2 - 3: measured seen in
    # the same collection, which takes 3 % of each as standard deviation.
    measured = np.array([9.22, 4.83, 3.22])
    sigma = 0.03 * measured
    row = np.array([[1.0, -1.0, -1.0]])

    result = reconcile(measured, np.diag(sigma**2), row)

    best = minimize(
        lambda x: float(np.sum(((x - measured) / sigma) ** 2)),
        measured,
        constraints={"type": "eq", "fun": lambda x: row @ x},
        options={"ftol": 1e-14},
    )
    assert result.reconciled == pytest.approx(best.x, abs=1e-5)
    assert result.statistic == pytest.approx(best.fun, rel=1e-6)
    # By hand: (9.22 - 4.83 - 3.22)^2 / sum of variances, exact.
    assert result.statistic == pytest.approx(1.17**2 / np.sum(sigma**2), rel=1e-12)


def test_two_scales_on_one_stream_meet_in_the_middle() -> None:
    # Exact: 100 and 110 with equal deviation give 105 each, deviation over sqrt 2.
    result = reconcile(np.array([100.0, 110.0]), 9.0 * np.eye(2), np.array([[1.0, -1.0]]))

    assert result.reconciled == pytest.approx([105.0, 105.0], abs=1e-12)
    assert np.diag(result.reconciled_covariance) == pytest.approx([4.5, 4.5], abs=1e-12)


def test_three_readings_of_one_mass_are_weighed_by_their_variance() -> None:
    # Exact: (100/1 + 104/4 + 96/1) / 2.25 = 98.6667, sum of squares (1.7778 + 7.1111 + 7.1111).
    rows = np.array([[1.0, -1.0, 0.0], [0.0, 1.0, -1.0]])

    result = reconcile(np.array([100.0, 104.0, 96.0]), np.diag([1.0, 4.0, 1.0]), rows)

    assert result.reconciled == pytest.approx([222 / 2.25] * 3, abs=1e-10)
    assert result.statistic == pytest.approx(16.0, abs=1e-10)


def test_the_covariance_after_is_that_of_a_monte_carlo_run() -> None:
    """Errors are drawn with a shared part; 20,000 draws settle a deviation within 2 %."""
    rng = np.random.default_rng(20260101)
    rows = np.array([[1.0, -1, -1, 0, 0], [0, 0, 1, -1, -1]])
    truth = np.array([4.5, 0.95, 3.55, 1.0, 2.55])
    covariance = np.diag([0.02, 0.01, 0.03, 0.005, 0.02]) ** 2
    covariance += 0.015**2 * np.outer([1, 0, 1, 0, 0], [1, 0, 1, 0, 0])
    draws = rng.multivariate_normal(truth, covariance, size=20_000)
    gain = covariance @ rows.T @ np.linalg.inv(rows @ covariance @ rows.T)

    spread = np.cov((draws - (draws @ rows.T) @ gain.T).T)
    result = reconcile(draws[0], covariance, rows)

    assert np.diag(result.reconciled_covariance) == pytest.approx(np.diag(spread), rel=0.04)
    assert result.reconciled_covariance == pytest.approx(spread, abs=0.03 * spread.max())


def test_the_global_statistic_is_chi_square_when_nothing_is_wrong() -> None:
    """Monte Carlo: the mean of chi-square is its degrees, and 5 % lie beyond the limit."""
    rng = np.random.default_rng(7)
    statistics = np.array(
        [reconcile(e, np.eye(6), EXCHANGER).statistic
         for e in rng.standard_normal((4000, 6))]
    )  # fmt: skip

    assert statistics.mean() == pytest.approx(4.0, abs=4 * np.sqrt(8 / 4000))
    beyond = np.mean(statistics > global_limit(4))
    assert beyond == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / 4000))


def test_what_is_redundant_and_what_is_observable_follows_from_the_projection() -> None:
    """The exchanger without 2 and 5: by hand, 1 - 3 = 4, 5 = 3, and 4 + 3 = 6 can be told."""
    measured, unmeasured = [0, 2, 3, 5], [1, 4]

    projection = project(EXCHANGER[:, measured], EXCHANGER[:, unmeasured])

    assert projection.constraints.shape == (2, 4)
    assert projection.redundant.tolist() == [True, True, True, True]
    assert projection.observable.tolist() == [True, True]
    flows = np.array([100.0, 36.0, 64.0, 100.0])
    assert projection.constraints @ flows == pytest.approx([0.0, 0.0], abs=1e-9)
    assert projection.solution @ flows == pytest.approx([64.0, 36.0], abs=1e-9)


def test_a_loop_of_unmeasured_streams_is_not_observable() -> None:
    """Bypass and exchanger side unmeasured: by hand, their split can't be known."""
    projection = project(EXCHANGER[:, [0, 5]], EXCHANGER[:, [1, 2, 3, 4]])

    assert projection.redundant.tolist() == [True, True]
    assert projection.observable.tolist() == [False, False, False, False]
