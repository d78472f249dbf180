# SPDX-License-Identifier: MIT
"""How well each pour that could have been explains the readings, and the sizes that it implies.

Given start, duration and lag, the size of the drop and the trend are linear, and are solved for
many candidates at once by variable projection (Golub and Pereyra 1973, from memory). Pure: numpy
only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from api.process.curves import Floats
from api.process.pour_trend import Trend

DROP, SLOPE, PASSING = 0, 1, 2
# What is believed of a pour beforehand: its slope changes by about 1.5 K/min.
SLOPE_CHANGE_K_PER_S = 0.025
WIDEST_DROP_K = 4.0
# Weight of the belief that the noise is as large as the readings' differences say [readings].
NOISE_BELIEF = 6.0


@dataclass(frozen=True, slots=True)
class Scored:
    """What each candidate says, arrays over c candidates and their a columns.

    Attributes:
        sizes: Drop [K], change of slope [K/s], what passes [K], shape (c, a).
        normal: Normal matrix of the sizes, priors included, shape (c, a, a).
        shadow: The columns seen along the trend's, shape (m + 2, a, c).
        log_likelihood: Of the readings with the pour [-], shape (c,).
        log_likelihood_without: With a change of slope there, but no pour [-], shape (c,).
        drop_spread_k: Standard deviation of the drop [K], shape (c,).
    """

    sizes: Floats
    normal: Floats
    shadow: Floats
    log_likelihood: Floats
    log_likelihood_without: Floats
    drop_spread_k: Floats


def score(
    trend: Trend,
    columns: Floats,
    passing_k: tuple[float, float],
    expected_k: tuple[float, float] | None,
) -> Scored:
    """Return how well each candidate explains the readings, and the sizes that it implies.

    Args:
        trend: The smooth part [-].
        columns: Whitened columns of the candidates [-], shape (a, n, c).
        passing_k: How large what passes is believed to be, and its standard deviation [K].
        expected_k: Drop that the masses lead one to expect, and its standard deviation [K]; it
            weighs the candidates, and never moves the sizes.

    Returns:
        Sizes [K, K/s], their normal matrices and marginal likelihoods [-].

    Source:
        Variable projection, Golub and Pereyra 1973 (from memory); marginal likelihood of a linear
        model with normal priors and an unknown noise (definition).
    """
    a, n, c = columns.shape
    flat = columns.transpose(1, 0, 2).reshape(n, a * c)
    along = trend.orthogonal.T @ flat
    shadow = along.reshape(-1, a, c)
    normal = np.einsum("anc,bnc->cab", columns, columns) - np.einsum("kac,kbc->cab", shadow, shadow)
    right = (trend.readings @ flat - trend.shadow @ along).reshape(a, c).T.copy()
    beliefs = np.array([0.0, SLOPE_CHANGE_K_PER_S**-2, passing_k[1] ** -2][:a])
    normal[:, np.arange(a), np.arange(a)] += beliefs + 1e-9
    offset = 0.0
    if a > PASSING:
        right[:, PASSING] += passing_k[0] / passing_k[1] ** 2
        offset = (passing_k[0] / passing_k[1]) ** 2
    sizes = np.linalg.solve(normal, right[..., None])[..., 0]
    degrees = n - 2 + NOISE_BELIEF
    left = trend.unexplained + offset - np.einsum("ca,ca->c", right, sizes)
    spread = np.linalg.inv(normal)[:, 0, 0] * (np.maximum(left, 0.0) + NOISE_BELIEF)
    with_pour = _likelihood(
        trend.unexplained + offset, (normal, right), expected_k or (0.0, WIDEST_DROP_K), degrees
    )
    slope_alone = normal[:, SLOPE, SLOPE]
    left = trend.unexplained - right[:, SLOPE] ** 2 / slope_alone
    without = -0.5 * degrees * np.log(np.maximum(left, 0.0) + NOISE_BELIEF)
    without += trend.log_volume - 0.5 * np.log(slope_alone) - math.log(SLOPE_CHANGE_K_PER_S)
    constant = trend.log_volume + 0.5 * float(np.sum(np.log(beliefs[1:])))
    return Scored(
        sizes=sizes,
        normal=normal,
        shadow=shadow,
        log_likelihood=with_pour + constant,
        log_likelihood_without=without,
        drop_spread_k=np.sqrt(spread / (degrees - 4)),
    )


def _likelihood(
    unexplained: float,
    equations: tuple[Floats, Floats],
    expected_k: tuple[float, float],
    degrees: float,
) -> Floats:
    drop_k, spread_k = expected_k
    normal, right = equations[0].copy(), equations[1].copy()
    normal[:, DROP, DROP] += spread_k**-2
    right[:, DROP] += drop_k / spread_k**2
    sizes = np.linalg.solve(normal, right[..., None])[..., 0]
    left = unexplained + (drop_k / spread_k) ** 2 - np.einsum("ca,ca->c", right, sizes)
    result: Floats = (
        -0.5 * degrees * np.log(np.maximum(left, 0.0) + NOISE_BELIEF)
        - 0.5 * np.linalg.slogdet(normal)[1]
        - math.log(spread_k)
    )
    return result
