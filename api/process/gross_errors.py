# SPDX-License-Identifier: MIT
"""Is one of the measured values wrong, and which ones could it be?

Pure: numpy and the ground only. Knows nothing of streams or weighings.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from api.process.curves import Floats
from api.process.distributions import chi_square_quantile, normal_quantile
from api.process.reconciliation import Reconciliation
from collector.errors import ProcessError

CONFIDENCE = 0.95
_VISIBLE = 1e-7
_SAME_DIRECTION = 1.0 - 1e-9


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One way in which the measured values could be wrong together.

    Attributes:
        label: What would be wrong.
        direction: How much each value would be off, up to a common factor [-], shape (n,).
    """

    label: str
    direction: Floats


@dataclass(frozen=True, slots=True)
class HypothesisTest:
    """How well one hypothesis explains the imbalance.

    Attributes:
        label: What would be wrong.
        z: Its statistic, standard normal if nothing is wrong [-]; NaN if no balance sees it.
        size: The error that fits best, to be subtracted [unit]; NaN if no balance sees it.
        class_index: Hypotheses with the same number can't be told apart; -1 if none sees it.
        statistic_without: The global statistic with this error allowed for [-].
        explains: With this error allowed for, the global test passes.
    """

    label: str
    z: float
    size: float
    class_index: int
    statistic_without: float
    explains: bool


def single_values(labels: Sequence[str]) -> tuple[Hypothesis, ...]:
    """Return the hypotheses that one measured value is wrong, one for each.

    Args:
        labels: Names of the measured values, in their order.

    Returns:
        One hypothesis for each value, direction [-].

    Source:
        Definition.
    """
    unit = np.eye(len(labels))
    return tuple(Hypothesis(label, unit[i]) for i, label in enumerate(labels))


def global_limit(degrees: int, confidence: float = CONFIDENCE) -> float:
    """Return the limit of the global test.

    Args:
        degrees: Independent balances among the measured values, at least 1 [-].
        confidence: Probability that sound values pass [-].

    Returns:
        The quantile of chi-square [-].

    Raises:
        ProcessError: There are no degrees, or the confidence lies outside 0 … 1.

    Source:
        Ripps 1965, CEP Symp. Ser. 61(55):8 (from memory).
    """
    return chi_square_quantile(confidence, degrees)


def single_limit(tests: int, confidence: float = CONFIDENCE) -> float:
    """Return the two-sided limit of one of several tests, so that all pass together.

    Args:
        tests: How many are made, at least 1 [-].
        confidence: Probability that all of them pass when nothing is wrong [-].

    Returns:
        The normal quantile at 1 - beta / 2 with beta = 1 - confidence^(1 / tests) [-].

    Raises:
        ProcessError: No test is made, or the confidence lies outside 0 … 1.

    Source:
        Sidak 1967; Mah and Tamhane 1982, AIChE J. 28:828 (both from memory).

    Example:
        >>> single_limit(1), single_limit(6)
        (1.960, 2.631)
    """
    if tests < 1:
        raise ProcessError("No test is made.", where="measurement test", do="Give at least 1.")
    beta = 1.0 - confidence ** (1.0 / tests)
    return normal_quantile(1.0 - beta / 2.0)


def nodal_statistics(rows: Floats, measured: Floats, covariance: Floats) -> Floats:
    """Return how far each balance is off, in standard deviations.

    Args:
        rows: One balance a row [-], shape (m, n).
        measured: Measured values [any one unit], shape (n,).
        covariance: Their covariance [unit2], shape (n, n).

    Returns:
        Absolute imbalance over its standard deviation [-], shape (m,).

    Source:
        Mah, Stanley and Downing 1976, Ind. Eng. Chem. Process Des. Dev. 15:175 (from memory).
    """
    spread = np.sqrt(np.einsum("ij,jk,ik->i", rows, covariance, rows))
    statistics: Floats = np.abs(rows @ measured) / spread
    return statistics


def judge(
    result: Reconciliation, hypotheses: Sequence[Hypothesis], confidence: float = CONFIDENCE
) -> tuple[HypothesisTest, ...]:
    """Return how well each hypothesis explains the imbalance, in the order given.

    With g the change of the imbalance under the hypothesis, z = g' S^-1 r / sqrt(g' S^-1 g), and
    allowing for that error lowers the global statistic by exactly z squared. Two hypotheses
    whose g are proportional change every balance alike: nothing can tell them apart.

    Args:
        result: Reconciled values with at least one degree of freedom.
        hypotheses: What could be wrong.
        confidence: Of the global test after one error is allowed for [-].

    Returns:
        One test for each hypothesis; z [-], size in the unit of the values.

    Source:
        Generalised likelihood ratio, Narasimhan and Mah 1987, AIChE J. 33:1514; for single values
        the maximum power test of Mah and Tamhane 1982 (both from memory).
    """
    root = np.linalg.cholesky(result.imbalance_covariance)
    whitened = np.linalg.solve(root, result.imbalance)
    directions = np.array([h.direction for h in hypotheses]).reshape(len(hypotheses), -1)
    seen = np.linalg.solve(root, result.projection.constraints @ directions.T)
    length = np.linalg.norm(seen, axis=0)
    scale = np.sqrt(np.einsum("ij,jk,ik->i", directions, result.covariance, directions))
    tests: list[HypothesisTest] = []
    classes: list[Floats] = []
    for i, hypothesis in enumerate(hypotheses):
        if length[i] * scale[i] <= _VISIBLE:
            tests.append(
                HypothesisTest(hypothesis.label, math.nan, math.nan, -1, result.statistic, False)
            )
            continue
        along = seen[:, i] / length[i]
        projected = float(along @ whitened)
        without = max(result.statistic - projected**2, 0.0)
        left = result.degrees - 1
        tests.append(
            HypothesisTest(
                label=hypothesis.label,
                z=abs(projected),
                size=projected / float(length[i]),
                class_index=_class_of(along, classes),
                statistic_without=without,
                explains=left == 0 or without <= chi_square_quantile(confidence, left),
            )
        )
    return tuple(tests)


def _class_of(along: Floats, classes: list[Floats]) -> int:
    for index, other in enumerate(classes):
        if abs(float(along @ other)) > _SAME_DIRECTION:
            return index
    classes.append(along)
    return len(classes) - 1
