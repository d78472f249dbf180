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


@dataclass(frozen=True, slots=True)
class Drain:
    """How the whey drains under the press: m(t) = m0 + (m_end - m0) (1 - exp(-k t)).

    Attributes:
        start: Whey at the first reading [kg].
        end: Whey after an endless press [kg].
        rate: k [1/s].
        left: What had still to drain at the last reading [kg].
        time_to_95: From the first reading until 95 % of it has drained [s].
        misfit_kg: Root mean square of what the fit leaves [kg].
    """

    start: Quantity
    end: Quantity
    rate: Quantity
    left: Quantity
    time_to_95: Quantity
    misfit_kg: float


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
    Jacobian, whose inverse normal matrix times the misfit gives the covariance.

    Args:
        whey: Mass of the whey since the press was loaded [kg].

    Returns:
        Masses [kg], rate [1/s] and times [s] with their standard uncertainties, or why none.

    Source:
        First-order drain, m(t) = m_end (1 - exp(-k t)) (from memory); Gauss-Newton least squares.
        Early drain often goes by the square root of time (from memory): see the misfit.
    """
    if len(whey) < FEWEST_POINTS:
        return NotShown(
            f"{len(whey)} readings of the whey are too few: {FEWEST_POINTS} are needed."
        )
    time_s, mass_kg = whey.time_s - whey.time_s[0], whey.value
    span_s = float(time_s[-1])
    if float(np.ptp(mass_kg)) <= max(3.0 * whey.resolution, 0.0):
        return NotShown("The whey did not grow by more than the scale's step.")
    rates = np.geomspace(0.05 / span_s, 100.0 / span_s, _RATES)
    misfits = [_linear(time_s, mass_kg, float(rate))[2] for rate in rates]
    best = int(np.argmin(misfits))
    if best in (0, _RATES - 1):
        return NotShown("The drain has not bent yet: how much is left can't be told.")
    fitted = _refine(time_s, mass_kg, float(rates[best]))
    return _drain(whey, time_s, mass_kg, fitted)


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


def _drain(
    whey: Curve, time_s: Floats, mass_kg: Floats, fitted: tuple[float, float, float]
) -> Drain | NotShown:
    start, end, rate = fitted
    jacobian = _jacobian(time_s, start, end, rate)
    decay = np.exp(-rate * time_s)
    rest = mass_kg - (start * decay + end * (1.0 - decay))
    variance = float(rest @ rest) / (len(rest) - 3) + whey.resolution**2 / 12.0
    covariance = variance * np.linalg.pinv(jacobian.T @ jacobian)
    if end <= start or math.sqrt(covariance[1, 1]) > 0.5 * (end - start):
        return NotShown("The drain has not bent enough: how much is left can't be told.")
    span_s = float(time_s[-1])
    gone = math.exp(-rate * span_s)
    slope = np.array([-gone, gone, -(end - start) * span_s * gone])
    fixed = whey.u_calibration
    source = (f"series {whey.name}",) if whey.name else ()

    def quantity(value: float, unit: str, variance: float, fixed: float = 0.0) -> Quantity:
        u = math.hypot(math.sqrt(max(variance, 0.0)), fixed)
        return Quantity(value, unit, u, "first-order drain fitted to the whey", source)

    to_95_s = math.log(20.0) / rate
    return Drain(
        start=quantity(start, "kg", covariance[0, 0], fixed),
        end=quantity(end, "kg", covariance[1, 1], fixed),
        rate=quantity(rate, "1/s", covariance[2, 2]),
        left=quantity((end - start) * gone, "kg", float(slope @ covariance @ slope)),
        time_to_95=quantity(to_95_s, "s", covariance[2, 2] * (to_95_s / rate) ** 2),
        misfit_kg=math.sqrt(float(np.mean(rest**2))),
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
