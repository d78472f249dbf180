# SPDX-License-Identifier: MIT
"""Pressing: the pressure on the curd, how the whey drains, and when the rest is worth a wait.

Pure: numpy and what is pure only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from api.process.curves import Curve, Floats
from api.process.quantities import NotShown, Quantity, Result

STANDARD_GRAVITY = 9.80665
FEWEST_POINTS = 8
# The drain has slowed enough once less than this runs off for this long (common practice).
SLOW_KG_PER_S_PER_KG = 0.001 / 60.0
SLOW_FOR_S = 180.0
_RATES = 60
# A drain is often fast at first and slow later. The fit then begins later, by these shares of the
# whole, until what it leaves looks like noise.
_BEGIN_FRACTIONS = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6)
_MOST_POINTS = 200
_TESTED_BLOCKS = 40
_HIGHEST_AUTOCORRELATION = 0.25


@dataclass(frozen=True, slots=True)
class Drain:
    """How the whey drains under the press: m(t) = m0 + (m_end - m0) (1 - exp(-k t)).

    Attributes:
        start: Whey at the first reading [kg].
        end: Whey after an endless press [kg].
        rate: k, of the slow part where the drain was faster at first [1/s].
        left: What had still to drain at the last reading [kg].
        time_to_95: From the first reading until 95 % of it has drained [s].
        misfit_kg: Root mean square of what the fit leaves [kg].
        fitted_from_s: When the fitted part begins, after the first reading [s].
    """

    start: Quantity
    end: Quantity
    rate: Quantity
    left: Quantity
    time_to_95: Quantity
    misfit_kg: float
    fitted_from_s: float


@dataclass(frozen=True, slots=True)
class _Fit:
    """A drain fitted to the readings from a moment on."""

    begin_s: float
    start: float
    end: float
    rate: float
    rest: Floats
    covariance: Floats


def pressure(load: Quantity, area: Quantity) -> Result:
    """Return the pressure of a weight on the curd.

    p = m g / A, with the weight of the follower in m, and A the curd inside the cloth.

    Args:
        load: Mass on the curd [kg].
        area: Area of the curd [m2].

    Returns:
        Pressure [Pa], or why there is none.

    Source:
        Definition; g = 9.80665 m/s2, standard gravity (definition; local gravity differs by up
        to 0.3 %).

    Example:
        >>> one = Quantity(1.0, "kg", 0.0, "given"), Quantity(0.01, "m2", 0.0, "given")
        >>> round(pressure(*one).value, 1)
        980.7
    """
    if area.value <= 0.0 or load.value < 0.0:
        return NotShown(f"A load of {load.value:g} kg on {area.value:g} m2 presses nothing.")
    value = load.value * STANDARD_GRAVITY / area.value
    u = math.hypot(load.u * STANDARD_GRAVITY / area.value, value * area.u / area.value)
    return Quantity(value, "Pa", u, "weight over area", load.sources + area.sources)


def drain_of(whey: Curve) -> Drain | NotShown:
    """Return the fit of a first-order drain to the whey under a press.

    For each rate the two masses follow by linear least squares; the best rate is refined with the
    Jacobian, whose inverse normal matrix times the misfit gives the covariance. A drain that is
    faster at first leaves residuals that hang together: the fit then begins later, where one rate
    is enough, and what the next beginning changes goes into u.

    Args:
        whey: Mass of the whey since the press was loaded [kg].

    Returns:
        Masses [kg], rate [1/s] and times [s] with their standard uncertainties, or why none.

    Source:
        First-order drain, m(t) = m_end (1 - exp(-k t)) (from memory); Gauss-Newton least squares;
        residuals by their first autocorrelation (common practice). Early drain often goes by the
        square root of time (from memory).
    """
    if len(whey) < FEWEST_POINTS:
        return NotShown(
            f"{len(whey)} readings of the whey are too few: {FEWEST_POINTS} are needed."
        )
    if float(np.ptp(whey.value)) <= max(3.0 * whey.resolution, 0.0):
        return NotShown("The whey did not grow by more than the scale's step.")
    time_s, mass_kg = _thinned(whey.time_s - whey.time_s[0], whey.value)
    span_s = float(time_s[-1])
    why = NotShown("The drain follows no single rate: how much is left can't be told.")
    for i, share in enumerate(_BEGIN_FRACTIONS):
        fit = _fit(time_s, mass_kg, share * span_s, whey.resolution)
        if isinstance(fit, NotShown):
            why = fit if share == 0.0 else why
        elif _looks_like_noise(fit.rest, whey.resolution):
            later = None
            if share > 0.0 and i + 1 < len(_BEGIN_FRACTIONS):
                begin_s = _BEGIN_FRACTIONS[i + 1] * span_s
                later = _fit(time_s, mass_kg, begin_s, whey.resolution)
            return _drain(whey, (time_s, mass_kg), fit, later)
    return why


def _thinned(time_s: Floats, mass_kg: Floats) -> tuple[Floats, Floats]:
    """Return means of blocks where there are more readings than a fit needs."""
    if time_s.size <= 2 * _MOST_POINTS:
        return time_s, mass_kg
    time_blocks = np.array_split(time_s, _MOST_POINTS)
    mass_blocks = np.array_split(mass_kg, _MOST_POINTS)
    return np.array([b.mean() for b in time_blocks]), np.array([b.mean() for b in mass_blocks])


def _fit(time_s: Floats, mass_kg: Floats, begin_s: float, resolution: float) -> _Fit | NotShown:
    """Return the drain that fits the readings from a moment on."""
    kept = time_s >= begin_s
    begin_s = float(time_s[kept][0])
    time_s, mass_kg = time_s[kept] - begin_s, mass_kg[kept]
    if time_s.size < FEWEST_POINTS:
        return NotShown("Too few readings of the slow part of the drain.")
    span_s = float(time_s[-1])
    rates = np.geomspace(0.05 / span_s, 100.0 / span_s, _RATES)
    misfits = [_linear(time_s, mass_kg, float(rate))[2] for rate in rates]
    best = int(np.argmin(misfits))
    if best in (0, _RATES - 1):
        return NotShown("The drain has not bent yet: how much is left can't be told.")
    start, end, rate = _refine(time_s, mass_kg, float(rates[best]))
    jacobian = _jacobian(time_s, start, end, rate)
    decay = np.exp(-rate * time_s)
    rest = mass_kg - (start * decay + end * (1.0 - decay))
    variance = float(rest @ rest) / (len(rest) - 3) + resolution**2 / 12.0
    covariance = np.asarray(variance * np.linalg.pinv(jacobian.T @ jacobian), dtype=np.float64)
    if end <= start or math.sqrt(covariance[1, 1]) > 0.5 * (end - start):
        return NotShown("The drain has not bent enough: how much is left can't be told.")
    return _Fit(begin_s, start, end, rate, rest, covariance)


def _looks_like_noise(rest: Floats, resolution: float) -> bool:
    """Return whether residuals don't hang together, or lie within the scale's own step."""
    if float(np.sqrt(np.mean(rest**2))) <= 1.2 * resolution / math.sqrt(12.0):
        return True
    blocks = rest
    if rest.size > _TESTED_BLOCKS:
        blocks = np.array([b.mean() for b in np.array_split(rest, _TESTED_BLOCKS)])
    blocks = blocks - blocks.mean()
    total = float(blocks @ blocks)
    return total == 0.0 or float(blocks[:-1] @ blocks[1:]) / total < _HIGHEST_AUTOCORRELATION


def _linear(time_s: Floats, mass_kg: Floats, rate: float) -> tuple[float, float, float]:
    """Return the start, the end and the sum of squares that fit best at a rate."""
    decay = np.exp(-rate * time_s)
    design = np.stack([decay, 1.0 - decay], axis=1)
    solved, *_ = np.linalg.lstsq(design, mass_kg, rcond=None)
    rest = mass_kg - design @ solved
    return float(solved[0]), float(solved[1]), float(rest @ rest)


def _jacobian(time_s: Floats, start: float, end: float, rate: float) -> Floats:
    decay = np.exp(-rate * time_s)
    return np.stack([decay, 1.0 - decay, (end - start) * time_s * decay], axis=1)


def _refine(time_s: Floats, mass_kg: Floats, rate: float) -> tuple[float, float, float]:
    start, end, best = _linear(time_s, mass_kg, rate)
    for _ in range(50):
        decay = np.exp(-rate * time_s)
        rest = mass_kg - (start * decay + end * (1.0 - decay))
        step, *_ = np.linalg.lstsq(_jacobian(time_s, start, end, rate), rest, rcond=None)
        wanted = rate + float(step[2])
        tried = wanted if 0.5 * rate < wanted < 2.0 * rate else rate * (0.7 if step[2] < 0 else 1.4)
        new_start, new_end, squares = _linear(time_s, mass_kg, tried)
        if squares > best * (1.0 + 1e-12) or abs(tried - rate) < 1e-10 * rate:
            break
        start, end, best, rate = new_start, new_end, squares, tried
    return start, end, rate


def _figures(
    params: Floats, begin_s: float, time_s: Floats, mass_kg: Floats
) -> tuple[float, float, float]:
    """Return what drains in the end [kg], what is left [kg], and the time to 95 % [s].

    Args:
        params: Start [kg] and end [kg] of the fitted part, and its rate [1/s].
        begin_s: When the fitted part begins [s].
        time_s: Times since the first reading [s].
        mass_kg: Readings [kg].
    """
    start, end, rate = (float(param) for param in params)
    left = (end - start) * math.exp(-rate * (float(time_s[-1]) - begin_s))
    first_kg = start if begin_s == 0.0 else float(mass_kg[0])
    goal_kg = first_kg + 0.95 * (end - first_kg)
    if goal_kg > start:
        to_95_s = begin_s + math.log((end - start) / (end - goal_kg)) / rate
    else:
        to_95_s = float(np.interp(goal_kg, np.maximum.accumulate(mass_kg), time_s))
    return end, left, to_95_s


def _drain(
    whey: Curve, readings: tuple[Floats, Floats], fit: _Fit, later: _Fit | NotShown | None
) -> Drain:
    params = np.array([fit.start, fit.end, fit.rate])
    found = np.array(_figures(params, fit.begin_s, *readings))
    slopes = np.zeros((3, 3))
    for column, param in enumerate(params):
        step = 1e-5 * max(abs(float(param)), 1e-6)
        moved = params.copy()
        moved[column] += step
        slopes[:, column] = (np.array(_figures(moved, fit.begin_s, *readings)) - found) / step
    variance = np.maximum(np.diag(slopes @ fit.covariance @ slopes.T), 0.0)
    if isinstance(later, _Fit):
        params = np.array([later.start, later.end, later.rate])
        apart = np.array(_figures(params, later.begin_s, *readings)) - found
        variance = variance + apart**2
    u_end, u_left, u_to_95 = np.sqrt(variance).tolist()
    fixed = whey.u_calibration
    source = (f"series {whey.name}",) if whey.name else ()

    def quantity(value: float, unit: str, u: float) -> Quantity:
        return Quantity(float(value), unit, u, "first-order drain fitted to the whey", source)

    first_kg = fit.start if fit.begin_s == 0.0 else float(readings[1][0])
    u_first = math.sqrt(float(fit.covariance[0, 0]))
    return Drain(
        start=quantity(first_kg, "kg", math.hypot(u_first, fixed)),
        end=quantity(found[0], "kg", math.hypot(u_end, fixed)),
        rate=quantity(fit.rate, "1/s", math.sqrt(float(fit.covariance[2, 2]))),
        left=quantity(found[1], "kg", u_left),
        time_to_95=quantity(found[2], "s", u_to_95),
        misfit_kg=math.sqrt(float(np.mean(fit.rest**2))),
        fitted_from_s=fit.begin_s,
    )


def slow_since(whey: Curve, curd_kg: float) -> float | None:
    """Return when the drain had slowed so far that the rest is hardly worth a wait.

    That is the end of the first three minutes over which less than 1 g a minute ran off for each
    kilogram of curd.

    Args:
        whey: Mass of the whey under the press [kg].
        curd_kg: Curd that went under the press [kg].

    Returns:
        The moment [s since 1970 UTC]; None if it has not come, or nothing can be told.

    Source:
        Common practice.
    """
    if len(whey) < 2 or not curd_kg > 0.0:
        return None
    for i in range(len(whey)):
        last = int(np.searchsorted(whey.time_s, whey.time_s[i] + SLOW_FOR_S, side="left"))
        if last >= len(whey):
            return None
        run_s = float(whey.time_s[last] - whey.time_s[i])
        ran_kg = float(whey.value[last] - whey.value[i])
        if ran_kg < SLOW_KG_PER_S_PER_KG * curd_kg * run_s:
            return float(whey.time_s[last])
    return None
