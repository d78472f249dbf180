# SPDX-License-Identifier: MIT
"""What is about to happen to the milk and when: forecasts from readings up to a moment only.

Pure: numpy only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from api.process.boiling import saturation_pressure
from api.process.curves import Curve, Floats
from api.process.outlook_ahead import SAMPLES, Ahead, go_ahead
from api.process.outlook_beliefs import PotKnown, bank_of
from api.process.outlook_filter import Learnt, learn
from api.process.outlook_stretch import Moving, moving
from api.process.quantities import NotShown
from api.process.vapour_drive import NODES_DEGC, usual_drive_table

COVERAGE = 0.90
# What one place in the pot tells of all the milk, on the heat and off it [K] (common practice).
U_HEATED_K, U_COOLING_K = 0.3, 0.1
# Less than this share of what is possible gets there: then no time is said.
LEAST_REACHED_FRACTION = 0.4


@dataclass(frozen=True, slots=True)
class Expected:
    """A moment that is expected, with an interval that holds nine times in ten.

    Attributes:
        at_s: Best estimate [s since 1970 UTC].
        earliest_s: 5 % bound [s since 1970 UTC].
        latest_s: 95 % bound [s since 1970 UTC].
        method: How it was computed.
        sources: From what.
    """

    at_s: float
    earliest_s: float
    latest_s: float
    method: str
    sources: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Course:
    """Where the milk is and where it goes, learnt once for every question that is asked.

    Attributes:
        now_s: From when one looks [s since 1970 UTC].
        stretch: The readings that tell.
        learnt: What they teach.
        known: What else is known of the pot.
        table: Drive of evaporation [-], shape (441,).
    """

    now_s: float
    stretch: Moving
    learnt: Learnt
    known: PotKnown
    table: Floats


def course_of(curve: Curve, known: PotKnown, now_s: float) -> Course | NotShown:
    """Return where the milk is going.

    Args:
        curve: Calibrated readings of the milk; later ones than now are not looked at [degC].
        known: What is known of the pot.
        now_s: From when one looks [s since 1970 UTC].

    Returns:
        The course, or why the milk isn't on its way.

    Source:
        `api.process.outlook_filter`.
    """
    stretch = moving(curve, now_s)
    if isinstance(stretch, NotShown):
        return stretch
    table = usual_drive_table(saturation_pressure(known.boiling.value))
    drive = np.interp(stretch.value, NODES_DEGC, table)
    usual = float(np.median(np.diff(stretch.value) / np.diff(stretch.time_s)))
    bank = bank_of(known, float(stretch.value[0]), usual, rising=stretch.rising)
    learnt = learn(
        bank, stretch.time_s, (stretch.value, stretch.u), known.around.value, np.asarray(drive)
    )
    return Course(now_s, stretch, learnt, known, table)


def time_to_target(
    course: Course, value_degc: float, approach: str | None = None
) -> Expected | NotShown:
    """Return when the milk will be at a target.

    Args:
        course: Where it is going.
        value_degc: The target [degC].
        approach: "rising", "falling"; None or "either" by the side on which the milk is.

    Returns:
        The moment with its 90 % interval, or why none is said.

    Source:
        Heat balance with dry loss and evaporation (definition), quantiles of 400 samples.
    """
    here = float(course.stretch.value[-1])
    wants_rise = {"rising": True, "falling": False}.get(approach or "", here < value_degc)
    if (here >= value_degc) == wants_rise:
        side = "below" if not wants_rise else "above"
        if not wants_rise and course.stretch.rising:
            return NotShown("the milk has to be hotter first: the target is reached from above")
        return NotShown(f"the milk is already {side} {value_degc:g} degC")
    if course.stretch.rising != wants_rise:
        if wants_rise:
            return NotShown("the milk isn't on its way there: it is cooling")
        return NotShown("the milk is still warming; the target is reached as it cools")
    if wants_rise and value_degc > course.known.boiling.value + 2.0 * course.known.boiling.u:
        return NotShown(f"milk boils here at {course.known.boiling.value:.1f} degC, below it")
    return _expected(course, value_degc, 0.0, rising=wants_rise)


def time_to_boil(course: Course) -> Expected | NotShown:
    """Return when the milk will boil.

    Args:
        course: Where it is going.

    Returns:
        The moment with its 90 % interval, or why none is said.

    Source:
        As `time_to_target`, to the local boiling point with its uncertainty.
    """
    boiling = course.known.boiling
    if not course.stretch.rising:
        return NotShown("the milk isn't on its way to the boil")
    if float(course.stretch.value[-1]) >= boiling.value - 0.3:
        return NotShown("the milk is at its boiling point")
    return _expected(course, boiling.value, boiling.u, rising=True)


def _expected(
    course: Course, goal_degc: float, u_goal_k: float, *, rising: bool
) -> Expected | NotShown:
    place_k = U_HEATED_K if rising else U_COOLING_K
    u_k = math.hypot(u_goal_k, course.stretch.u_calibration_k, place_k)
    goals = goal_degc + u_k * _spread(0.6180339887498949)
    found = go_ahead(course.learnt, goals, course.known.around.value, course.table, rising=rising)
    if found.reached < LEAST_REACHED_FRACTION:
        return NotShown(_never(found, goal_degc, rising=rising))
    lag_s = course.stretch.u_lag_s * _spread(0.7548776662466927)
    edge = (1.0 - COVERAGE) / 2.0
    low, middle, high = (found.quantile(p, lag_s) for p in (edge, 0.5, 1.0 - edge))
    at_s, floor_s = course.learnt.at_s, course.now_s
    earlier = course.known.taught.batches if course.known.taught is not None else 0
    sources = [course.stretch.name, *course.known.boiling.sources, *course.known.around.sources]
    if earlier:
        sources.append(f"{earlier} earlier {'batch' if earlier == 1 else 'batches'} of this pot")
    return Expected(
        max(at_s + middle, floor_s), max(at_s + low, floor_s), max(at_s + high, floor_s),
        "heat balance with loss and evaporation, learnt as it goes", tuple(sources),
    )  # fmt: skip


def _never(found: Ahead, goal_degc: float, *, rising: bool) -> str:
    level = float(np.median(found.levels_degc))
    if rising:
        return f"on this heat the milk levels off near {level:.0f} degC, below {goal_degc:g} degC"
    return f"the milk levels off near {level:.0f} degC, above {goal_degc:g} degC"


def _spread(step: float) -> Floats:
    """Return 400 numbers spread as a normal distribution is, in an order given by the step."""
    share = np.arange(1, SAMPLES + 1, dtype=np.float64) * step % 1.0
    grid = np.linspace(-4.0, 4.0, 401)
    below = np.array([0.5 * math.erfc(-x / math.sqrt(2.0)) for x in grid])
    return np.asarray(np.interp(share, below, grid), dtype=np.float64)
