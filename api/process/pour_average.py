# SPDX-License-Identifier: MIT
"""Temperatures on both sides of a pour, averaged over the pours that could have been.

Pure: numpy only.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from api.process.curves import Floats
from api.process.pour_problem import Problem, Solved
from api.process.pour_score import DROP, SLOPE
from api.process.pour_trend import Trend

_EARLIER_S = 15.0


@dataclass(frozen=True, slots=True)
class PourFit:
    """What the readings say of a pour.

    Attributes:
        before_degc: Milk at its start [degC].
        after_degc: Mixture at its end [degC].
        covariance: Of the two, from noise, fit and placing alone [K2], shape (2, 2).
        slope_before_k_per_s: Of the milk at the start [K/s].
        slope_earlier_k_per_s: Of the milk a quarter of a minute before that [K/s].
        slope_after_k_per_s: Of the mixture at the end [K/s].
        start_s: From the mark [s].
        u_start_s: [s].
        end_s: From the mark [s].
        u_end_s: [s].
        lag_s: Lag of the probe as the dip shows it, both stages together [s].
        drop_k: How far the pour cooled the milk [K].
    """

    before_degc: float
    after_degc: float
    covariance: Floats
    slope_before_k_per_s: float
    slope_earlier_k_per_s: float
    slope_after_k_per_s: float
    start_s: float
    u_start_s: float
    end_s: float
    u_end_s: float
    lag_s: float
    drop_k: float


def averaged(problem: Problem, solved: list[Solved], variance: float, tempering: float) -> PourFit:
    """Return the mean over all candidates, and how far they and the noise scatter it.

    Args:
        problem: The stretch of readings [s, degC].
        solved: Every case with its candidates and their weights.
        variance: Of the whitened noise, its memory included [-].
        tempering: What the log weights are divided by, since neighbours repeat each other [-].

    Returns:
        Temperatures, slopes and times [degC, K/s, s].

    Source:
        Model averaging: mean of means, mean of variances plus variance of means (definition).
    """
    top = max(float(np.max(one.log_weight)) for one in solved)
    rows = []
    for one in solved:
        weight = np.exp((one.log_weight - top) / tempering)
        keep = np.flatnonzero(weight > 1e-3)
        if keep.size:
            rows.append(_candidate_values(one, keep, weight[keep], variance))
    table = np.concatenate(rows, axis=1)
    weight, values, spreads = table[0] / table[0].sum(), table[1:10], table[10:]
    mean = values @ weight
    apart = values[:2] - mean[:2, None]
    covariance = (apart * weight) @ apart.T
    covariance += np.array([[spreads[0], spreads[1]], [spreads[1], spreads[2]]]) @ weight
    u_start, u_end = np.sqrt(((values[2:4] - mean[2:4, None]) ** 2) @ weight)
    before, after, start_s, end_s, slope, earlier, slope_after, lag_s, drop_k = mean.tolist()
    return PourFit(
        before_degc=before + problem.level_degc,
        after_degc=after + problem.level_degc,
        covariance=covariance,
        slope_before_k_per_s=slope,
        slope_earlier_k_per_s=earlier,
        slope_after_k_per_s=slope_after,
        start_s=start_s,
        u_start_s=float(u_start),
        end_s=end_s,
        u_end_s=float(u_end),
        lag_s=lag_s,
        drop_k=drop_k,
    )


def _candidate_values(
    solved: Solved, keep: NDArray[np.intp], weight: Floats, variance: float
) -> Floats:
    """Return a row each of weight, before, after, start, end, three slopes, lag, drop, spreads."""
    trend, pours, scored = solved.trend, solved.pours.those(keep), solved.scored
    sizes, shadow = scored.sizes[keep], scored.shadow[:, :, keep]
    inverse = np.linalg.inv(scored.normal[keep])
    end_s = pours.start_s + pours.duration_s
    before, *at_start = _functional(trend, shadow, sizes, trend.basis(pours.start_s), 0.0)
    after, *at_end = _functional(trend, shadow, sizes, trend.basis(end_s), -1.0)
    spreads = [
        variance
        * (
            np.einsum("kc,kc->c", one[0], two[0])
            + np.einsum("ca,cab,cb->c", one[1], inverse, two[1])
        )
        for one, two in ((at_start, at_start), (at_start, at_end), (at_end, at_end))
    ]
    weights = trend.shadow[:, None] - np.einsum("kac,ca->kc", shadow, sizes)
    weights = np.linalg.solve(trend.triangle, weights)
    slope, earlier = (
        np.einsum("ck,kc->c", trend.slope_basis(time_s), weights)
        for time_s in (pours.start_s, pours.start_s - _EARLIER_S)
    )
    lag_s = pours.lag_s + pours.second_lag_s
    rows = [weight, before, after, pours.start_s, end_s, slope, earlier]
    return np.stack([*rows, slope + sizes[:, SLOPE], lag_s, sizes[:, DROP], *spreads])


def _functional(
    trend: Trend, shadow: Floats, sizes: Floats, basis: Floats, drop: float
) -> tuple[Floats, Floats, Floats]:
    """Return the trend plus `drop` times the drop, and how noise passes into it."""
    along = np.asarray(np.linalg.solve(trend.triangle.T, basis.T), dtype=np.float64)
    own = -np.einsum("kc,kac->ca", along, shadow)
    own[:, DROP] += drop
    value: Floats = along.T @ trend.shadow + np.einsum("ca,ca->c", own, sizes)
    return value, along, own
