# SPDX-License-Identifier: MIT
"""A cooling curve fitted, and when it will reach a temperature if nothing changes.

Pure: numpy only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from api.process.curves import Curve, Floats
from api.process.quantities import NotShown, Quantity
from api.process.smoothing import bin_means

FEWEST_READINGS = 8
LEAST_FALL_K = 2.0
_MOST_POINTS = 100
_RATES = 40
_LEAST_SPREAD_K = 0.03
_BEND_FRACTION = 0.05
# How far two terms may be from the true shape, as a share of the fall (common practice).
_SHAPE_FRACTION = 0.006
# How many times as fast the second term of conduction dies away: a slab 9 times against a cold
# bath, more in still air (definition); blocks and cups lie between.
_SECOND_TERM = (3.0, 4.5, 6.5, 9.0, 13.0)
# What surrounds a block where nobody measured it: a cold room, or tap water (common practice).
UNKNOWN_AMBIENT = Quantity(8.0, "degC", 5.0, "assumed", ("assumed: surroundings 8 degC, u 5 K",))
_NODES = np.linspace(-2.4, 2.4, 9)


@dataclass(frozen=True, slots=True)
class NewtonFit:
    """A cooling curve: T = T_a + A exp(-k t), with a first bend that dies away faster.

    Attributes:
        rate_per_s: k [1/s].
        ambient: T_a that the curve runs to [degC].
        residual_k: Scatter about the fit [K].
        fitted_from_s: Its time 0 [s since 1970 UTC].
    """

    rate_per_s: Quantity
    ambient: Quantity
    residual_k: float
    fitted_from_s: float


@dataclass(frozen=True, slots=True)
class Forecast:
    """When a temperature will be reached if nothing changes.

    Attributes:
        at_s: Best estimate; infinite if it will not be reached [s since 1970 UTC].
        earliest_s: Lower bound, of 2.5 % unless asked otherwise [s since 1970 UTC].
        latest_s: Upper bound, of 97.5 % likewise; infinite if it may never be reached [s since
            1970 UTC].
    """

    at_s: float
    earliest_s: float
    latest_s: float


def fit_cooling(curve: Curve, ambient: Quantity | None = None) -> NewtonFit | NotShown:
    """Return the constant and the end temperature of a cooling curve.

    Args:
        curve: Readings since the block last changed its surroundings [degC].
        ambient: Temperature of the surroundings, None if not measured [degC].

    Returns:
        The fit, or why there is none [1/s, degC].

    Source:
        First two terms of conduction out of a body (definition); least squares over a grid of
        constants, each averaged by its likelihood.
    """
    found = _posterior(curve, ambient)
    if isinstance(found, NotShown):
        return found
    weight, rate, end = found.weight, found.rate, found.mean[:, 0]
    k, end_degc = float(weight @ rate), float(weight @ end)
    u_k = math.sqrt(float(weight @ (rate - k) ** 2))
    u_end = math.sqrt(float(weight @ ((end - end_degc) ** 2 + found.cov[:, 0, 0])))
    sources = (curve.name or "core probe",)
    return NewtonFit(
        rate_per_s=Quantity(k, "1/s", u_k, "fit with a first bend", sources),
        ambient=Quantity(end_degc, "degC", u_end, "fit with a first bend", sources),
        residual_k=found.residual_k,
        fitted_from_s=found.from_s,
    )


def forecast(
    curve: Curve, target_degc: float, ambient: Quantity | None = None, *, coverage: float = 0.95
) -> Forecast | NotShown:
    """Return when a cooling curve will reach a temperature.

    Args:
        curve: Readings since the block last changed its surroundings [degC].
        target_degc: Temperature to be reached [degC].
        ambient: Temperature of the surroundings, None if not measured [degC].
        coverage: How often the interval is to hold the truth [-].

    Returns:
        The moment with its interval, or why none can be told [s since 1970 UTC].

    Source:
        As `fit_cooling`; quantiles over all constants that the readings allow.
    """
    found = _posterior(curve, ambient)
    if isinstance(found, NotShown):
        return found
    moments, share = _moments(found, target_degc)
    order = np.argsort(moments)
    total = np.cumsum(share[order])
    earliest, middle, latest = (
        float(moments[order][min(int(np.searchsorted(total, p * total[-1])), moments.size - 1)])
        for p in ((1.0 - coverage) / 2.0, 0.5, (1.0 + coverage) / 2.0)
    )
    from_s = found.from_s
    return Forecast(from_s + middle, from_s + earliest, from_s + latest)


def _moments(found: _Posterior, target_degc: float) -> tuple[Floats, Floats]:
    """Return moments at which the target is reached [s], with their weights."""
    end, height = found.mean[:, 0, None], found.mean[:, 1, None]
    # End and height along the two axes of their covariance, a few nodes of a normal on each.
    size, axes = np.linalg.eigh(found.cov)
    reach = np.sqrt(np.maximum(size, 0.0))
    one, two = (axis.ravel() for axis in np.meshgrid(_NODES, _NODES))
    shift = np.einsum("kij,kj,jn->kin", axes, reach, np.stack([one, two]))
    left = (target_degc - end - shift[:, 0]) / np.maximum(height + shift[:, 1], 1e-6)
    falls = (left > 0) & (left < 1)
    moments = np.full(left.shape, np.inf)
    moments[left >= 1] = 0.0
    moments[falls] = (-np.log(np.where(falls, left, 0.5)) / found.rate[:, None])[falls]
    nodes = np.exp(-0.5 * (one**2 + two**2))
    share = found.weight[:, None] * nodes / nodes.sum()
    return moments.ravel(), share.ravel()


@dataclass(frozen=True, slots=True)
class _Posterior:
    """Constants on a grid with their weights, end and height of each, and their covariance."""

    weight: Floats
    rate: Floats
    mean: Floats
    cov: Floats
    residual_k: float
    from_s: float

    def since(self, from_s: float) -> _Posterior:
        """Return the same with its time 0 named [s since 1970 UTC]."""
        return replace(self, from_s=from_s)


def _posterior(curve: Curve, ambient: Quantity | None) -> _Posterior | NotShown:
    if len(curve) < FEWEST_READINGS:
        return NotShown(f"{len(curve)} readings since the surroundings changed; wait for more.")
    span_s = float(curve.time_s[-1] - curve.time_s[0])
    time_s, value = bin_means(curve.time_s, curve.value, span_s / _MOST_POINTS)
    if value.size < FEWEST_READINGS or value[0] - value[-1] < LEAST_FALL_K:
        return NotShown(
            f"The core has fallen by less than {LEAST_FALL_K:g} K since its surroundings changed; "
            "wait."
        )
    around = ambient or UNKNOWN_AMBIENT
    # The core stays as it was for a while; more than two terms rule that.
    begun = float(np.max(value[:3])) - _BEND_FRACTION * (float(value[0]) - around.value)
    start = min(int(np.argmax(value <= begun)), value.size - FEWEST_READINGS)
    time_s, value = time_s[start:], value[start:]
    since = time_s - time_s[0]
    fall_k = float(value[0] - value[-1])
    beliefs = (around, 0.5 * fall_k)
    least = max(curve.resolution / math.sqrt(12.0), _LEAST_SPREAD_K, _SHAPE_FRACTION * fall_k)
    coarse = _weighed(since, value, np.geomspace(0.05, 30.0, _RATES) / since[-1], beliefs, least)
    if coarse is None:
        return NotShown("The core is not cooling.")
    step = 600.0 ** (1.0 / (_RATES - 1))
    low, high = float(coarse.rate.min()) / step, float(coarse.rate.max()) * step
    fine = _weighed(since, value, np.geomspace(low, high, _RATES), beliefs, least)
    return NotShown("The core is not cooling.") if fine is None else fine.since(float(time_s[0]))


def _weighed(
    since: Floats,
    value: Floats,
    rates: Floats,
    beliefs: tuple[Quantity, float],
    least: float,
) -> _Posterior | None:
    rate, ratio = (axis.ravel() for axis in np.meshgrid(rates, _SECOND_TERM))
    decay = np.exp(-rate[:, None] * since)
    bend = np.exp(-(rate * ratio)[:, None] * since)
    columns = np.stack([np.ones_like(decay), decay, bend], axis=2)
    _, _, squares = _solve(columns, value, beliefs, least)
    residual = math.sqrt(max(float(squares.min()), 0.0) / max(value.size - 4, 1))
    scale = max(residual, least)
    mean, cov, squares = _solve(columns, value, beliefs, scale)
    best = int(np.argmin(squares))
    inflation = _memory(value - columns[best] @ mean[best])
    weight = np.exp(-(squares - squares.min()) / (2.0 * scale**2 * inflation))
    weight = weight * (mean[:, 1] > 0)
    if not weight.sum() > 0:
        return None
    keep = weight > 1e-4 * weight.max()
    return _Posterior(
        weight=weight[keep] / weight[keep].sum(),
        rate=rate[keep],
        mean=mean[keep, :2],
        cov=cov[keep, :2, :2] * inflation,
        residual_k=residual,
        from_s=0.0,
    )


def _solve(
    columns: Floats, value: Floats, beliefs: tuple[Quantity, float], spread: float
) -> tuple[Floats, Floats, Floats]:
    """Return end, height and bend for each constant, their covariance, and sums of squares."""
    around, bend_k = beliefs
    prior = (spread / np.array([max(around.u, 1e-3), 1e4, max(bend_k, 0.1)])) ** 2
    normal = np.einsum("kni,knj->kij", columns, columns) + np.diag(prior)
    right = np.einsum("kni,n->ki", columns, value)
    right[:, 0] += prior[0] * around.value
    inverse = np.linalg.inv(normal)
    mean = np.einsum("kij,kj->ki", inverse, right)
    left = value - np.einsum("kni,ki->kn", columns, mean)
    squares = (left**2).sum(axis=1) + prior[0] * (mean[:, 0] - around.value) ** 2
    squares += prior[2] * mean[:, 2] ** 2
    return mean, inverse * spread**2, squares


def _memory(left: Floats) -> float:
    """Return by how much residuals that resemble their neighbours count less than they are."""
    total = max(float(left @ left), 1e-12)
    # What two terms leave out of the true shape varies slowly, eight times over a curve.
    inflation = max(left.size / 8.0, 1.0)
    remembered = 1.0
    for step in range(1, max(left.size // 4, 2)):
        likeness = float(left[step:] @ left[:-step]) / total
        if likeness < 2.0 / math.sqrt(left.size):
            break
        remembered += 2.0 * likeness
    return max(inflation, min(remembered, 20.0))
