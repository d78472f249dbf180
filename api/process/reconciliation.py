# SPDX-License-Identifier: MIT
"""Weighted least squares on linear balances: what is redundant, and the values that close.

Pure: numpy and the ground only. Knows nothing of streams or weighings.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from api.process.curves import Floats
from collector.errors import ProcessError

Flags = NDArray[np.bool_]

_RANK_TOLERANCE = 1e-9


@dataclass(frozen=True, slots=True)
class Projection:
    """Balances with the unmeasured quantities projected out.

    Attributes:
        constraints: Independent rows G with G x = 0 for the measured x [-], shape (r, n).
        redundant: Measured quantities that the balances check, shape (n,).
        observable: Unmeasured quantities that the balances determine, shape (k,).
        solution: T with u = T x for the observable ones; other rows mean nothing [-], (k, n).
    """

    constraints: Floats
    redundant: Flags
    observable: Flags
    solution: Floats


@dataclass(frozen=True, slots=True)
class Reconciliation:
    """Measured values made to fit the balances.

    Attributes:
        measured: As measured [any unit], shape (n,).
        covariance: Of the measured values [unit2], shape (n, n).
        reconciled: The values that close [unit], shape (n,).
        reconciled_covariance: Their covariance [unit2], shape (n, n).
        unmeasured: Unmeasured values; NaN where not observable [unit], shape (k,).
        joint_covariance: Of reconciled and unmeasured together; rows of the unobservable are NaN
            [unit2], shape (n + k, n + k).
        imbalance: G y [unit], shape (r,).
        imbalance_covariance: G V G' [unit2], shape (r, r).
        statistic: Imbalance weighed by its covariance, chi-square with r degrees [-].
        projection: What was projected and what is redundant.
    """

    measured: Floats
    covariance: Floats
    reconciled: Floats
    reconciled_covariance: Floats
    unmeasured: Floats
    joint_covariance: Floats
    imbalance: Floats
    imbalance_covariance: Floats
    statistic: float
    projection: Projection

    @property
    def degrees(self) -> int:
        """How many independent checks the balances give [-]."""
        return int(self.imbalance.size)

    @property
    def adjustments(self) -> Floats:
        """Measured minus reconciled [unit], shape (n,)."""
        return self.measured - self.reconciled

    @property
    def adjustment_covariance(self) -> Floats:
        """Covariance of the adjustments [unit2], shape (n, n)."""
        return self.covariance - self.reconciled_covariance


def _rank(singular: Floats) -> int:
    if singular.size == 0:
        return 0
    return int(np.sum(singular > _RANK_TOLERANCE * max(1.0, float(singular[0]))))


def project(measured_rows: Floats, unmeasured_rows: Floats) -> Projection:
    """Return the balances that hold between measured quantities alone.

    With A x + B u = 0, the rows of P' A are the balances in which no unmeasured u is left, where
    the columns of P span what is orthogonal to B. This is the same as merging the nodes that
    share an unmeasured stream, and dropping those from which one leads outside.

    Args:
        measured_rows: A, one row for each balance [-], shape (m, n).
        unmeasured_rows: B [-], shape (m, k); k may be 0.

    Returns:
        Independent balances of the measured [-], and what is redundant or observable.

    Source:
        Crowe, Garcia Campos and Hrymak 1983, AIChE J. 29:881 (projection matrix) (from memory).

    Example:
        >>> import numpy as np
        >>> line = project(np.array([[1.0, 0.0], [0.0, -1.0]]), np.array([[-1.0], [1.0]]))
        >>> line.redundant.tolist(), line.observable.tolist()
        ([True, True], [True])
    """
    left, singular, right = np.linalg.svd(unmeasured_rows, full_matrices=True)
    rank = _rank(singular)
    reduced = left[:, rank:].T @ measured_rows
    _, reduced_singular, reduced_right = np.linalg.svd(reduced, full_matrices=False)
    constraints = reduced_right[: _rank(reduced_singular)]
    undetermined = right[rank:].T
    inverse = right[:rank].T @ (left[:, :rank].T / singular[:rank, None])
    return Projection(
        constraints=constraints,
        redundant=np.any(np.abs(constraints) > _RANK_TOLERANCE, axis=0),
        observable=np.all(np.abs(undetermined) <= _RANK_TOLERANCE, axis=1),
        solution=-inverse @ measured_rows,
    )


def reconcile(
    measured: Floats,
    covariance: Floats,
    measured_rows: Floats,
    unmeasured_rows: Floats | None = None,
) -> Reconciliation:
    """Return the values nearest to the measured ones that satisfy every balance.

    x = y - V G' S^-1 G y with S = G V G'; covariance after V - V G' S^-1 G V. "Nearest" is
    weighed by the inverse covariance, so that the surest value moves least.

    Args:
        measured: Measured values y [any one unit], shape (n,).
        covariance: Their covariance V, positive definite [unit2], shape (n, n).
        measured_rows: Balances A with A x + B u = 0 [-], shape (m, n).
        unmeasured_rows: B [-], shape (m, k); None if everything is measured.

    Returns:
        Reconciled values with covariance [unit, unit2] and the statistic of the global test [-].

    Raises:
        ProcessError: Shapes don't fit, a number isn't finite, or V isn't positive definite.

    Source:
        Kuehn and Davidson 1961, Chem. Eng. Prog. 57(6):44; Narasimhan and Jordache 2000, chapter
        3 (both from memory); the same as the Gaussian adjustment of VDI 2048 (second hand).
    """
    if unmeasured_rows is None:
        unmeasured_rows = np.zeros((measured_rows.shape[0], 0))
    _check(measured, covariance, measured_rows, unmeasured_rows)
    projection = project(measured_rows, unmeasured_rows)
    g = projection.constraints
    imbalance = g @ measured
    gv = g @ covariance
    imbalance_covariance = gv @ g.T
    gain = np.linalg.solve(imbalance_covariance, gv).T
    reconciled = measured - gain @ imbalance
    after = covariance - gain @ gv
    after = 0.5 * (after + after.T)
    np.fill_diagonal(after, np.clip(np.diag(after), 0.0, np.diag(covariance)))
    solution = np.where(projection.observable[:, None], projection.solution, np.nan)
    everything = np.vstack([np.eye(measured.size), solution])
    return Reconciliation(
        measured=measured,
        covariance=covariance,
        reconciled=reconciled,
        reconciled_covariance=after,
        unmeasured=solution @ reconciled,
        joint_covariance=everything @ after @ everything.T,
        imbalance=imbalance,
        imbalance_covariance=imbalance_covariance,
        statistic=float(imbalance @ np.linalg.solve(imbalance_covariance, imbalance)),
        projection=projection,
    )


def _check(measured: Floats, covariance: Floats, rows: Floats, unmeasured_rows: Floats) -> None:
    n, m = measured.size, rows.shape[0]
    if covariance.shape != (n, n) or rows.shape != (m, n) or unmeasured_rows.shape[0] != m:
        raise ProcessError(
            f"{n} values, a covariance of shape {covariance.shape}, and balances of shapes "
            f"{rows.shape} and {unmeasured_rows.shape} don't fit together.",
            where="reconciliation",
            do="Give shapes (n,), (n, n), (m, n) and (m, k).",
        )
    if not all(np.all(np.isfinite(a)) for a in (measured, covariance, rows, unmeasured_rows)):
        raise ProcessError(
            "A value, variance or balance is not a finite number.",
            where="reconciliation",
            do="Leave what is not known out of the measured values.",
        )
    try:
        np.linalg.cholesky(covariance)
    except np.linalg.LinAlgError as error:
        raise ProcessError(
            "The covariance of the measured values is not positive definite.",
            where="reconciliation",
            do="Give every measured value a standard uncertainty above 0.",
        ) from error
