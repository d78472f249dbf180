# SPDX-License-Identifier: MIT
"""The linear algebra of reconciliation at its edges."""

from __future__ import annotations

import numpy as np
import pytest

from api.process.distributions import chi_square_quantile, chi_square_survival, normal_quantile
from api.process.gross_errors import judge, single_limit, single_values
from api.process.reconciliation import reconcile
from collector.errors import ProcessError


def test_malformed_matrices_are_refused_with_advice() -> None:
    row = np.array([[1.0, -1.0]])
    with pytest.raises(ProcessError, match="don't fit together"):
        reconcile(np.ones(3), np.eye(2), row)
    with pytest.raises(ProcessError, match="not a finite number"):
        reconcile(np.array([1.0, np.nan]), np.eye(2), row)
    with pytest.raises(ProcessError, match="not positive definite"):
        reconcile(np.ones(2), np.zeros((2, 2)), row)


def test_a_value_that_no_balance_sees_has_no_statistic() -> None:
    rows = np.array([[1.0, -1.0, 0.0]])

    tests = judge(reconcile(np.array([1.0, 2.0, 9.0]), np.eye(3), rows), single_values("abc"))

    assert np.isnan(tests[2].z)
    assert not tests[2].explains
    assert tests[0].class_index == tests[1].class_index != tests[2].class_index


def test_without_any_balance_nothing_moves() -> None:
    result = reconcile(np.array([3.0, 4.0]), np.eye(2), np.zeros((0, 2)))

    assert result.reconciled.tolist() == [3.0, 4.0]
    assert result.degrees == 0
    assert result.statistic == 0.0


def test_a_balance_stated_twice_counts_once() -> None:
    rows = np.array([[1.0, -1.0], [2.0, -2.0]])

    result = reconcile(np.array([100.0, 110.0]), np.eye(2), rows)

    assert result.degrees == 1
    assert result.reconciled == pytest.approx([105.0, 105.0])


def test_probabilities_that_have_no_quantile_are_refused() -> None:
    with pytest.raises(ProcessError, match="has no quantile"):
        normal_quantile(1.0)
    with pytest.raises(ProcessError, match="has no quantile"):
        chi_square_quantile(float("nan"), 2)
    with pytest.raises(ProcessError, match="makes no sense"):
        chi_square_survival(1.0, 0)
    with pytest.raises(ProcessError, match="No test is made"):
        single_limit(0)
