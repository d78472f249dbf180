# SPDX-License-Identifier: MIT
"""What batches that are done teach of a pot: its power and its losses, for the next one.

Pure: numpy only.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from api.process.curves import Curve, Floats
from api.process.outlook import Course, course_of
from api.process.outlook_beliefs import LOSS, STEADY, VAPOUR, PotKnown, Taught
from api.process.quantities import NotShown, Quantity

# Two batches of the same pot are never quite alike: fill, flame, draught (common practice).
BETWEEN_FRACTION = 0.12
# Below the boil and below the top of the curve by so much the heating is over [K].
_BELOW_TOP_K = 3.0
# What was learnt with the lid on tells nothing of the open pot.
_OPEN_AT_LEAST = 0.5


@dataclass(frozen=True, slots=True)
class Lesson:
    """What one stretch of one batch taught.

    Attributes:
        milk_kg: Mass in the pot, None if nobody weighed it [kg].
        power: Heat of the hob by heat capacity, None from a cooling [K/s].
        loss: Dry loss [1/s].
        vapour: Evaporation at 95 degC, lid off [K/s].
    """

    milk_kg: float | None
    power: Quantity | None
    loss: Quantity
    vapour: Quantity


def lessons_of(curve: Curve, known: PotKnown, cooled_until_s: float | None) -> list[Lesson]:
    """Return what a batch that is done teaches.

    Args:
        curve: All its readings of the milk [degC].
        known: What was known of the pot then.
        cooled_until_s: When its addition was, None if there was none [s since 1970 UTC].

    Returns:
        One lesson from its heating and one from its cooling, where the curve tells them.

    Source:
        `api.process.outlook_filter`.
    """
    if not len(curve):
        return []
    top = min(float(np.max(curve.value)), known.boiling.value)
    hot = np.flatnonzero(curve.value >= top - _BELOW_TOP_K)
    moments = [float(curve.time_s[hot[0]])] if hot.size else []
    if cooled_until_s is not None:
        moments.append(cooled_until_s)
    courses = [course_of(curve, known, at_s) for at_s in moments]
    found = [_lesson(one) for one in courses if isinstance(one, Course)]
    return [one for one in found if not isinstance(one, NotShown)]


def _lesson(course: Course) -> Lesson | NotShown:
    learnt = course.learnt
    is_open = learnt.bank.covered < 0.5
    weight = learnt.weight * is_open
    if float(weight.sum()) < _OPEN_AT_LEAST:
        return NotShown("the lid was on")
    weight = weight / weight.sum()

    def state(place: int, unit: str) -> Quantity:
        return _mixed(weight, learnt.mean[:, place], learnt.cov[:, place, place], unit)

    milk = course.known.milk
    return Lesson(
        milk.value if milk is not None else None,
        state(STEADY, "K/s") if course.stretch.rising else None,
        state(LOSS, "1/s"),
        state(VAPOUR, "K/s"),
    )


def _mixed(weight: Floats, mean: Floats, variance: Floats, unit: str) -> Quantity:
    value = float(weight @ mean)
    u = math.sqrt(float(weight @ (variance + (mean - value) ** 2)))
    return Quantity(value, unit, u, "learnt from one batch")


def taught_by(lessons: Sequence[Lesson], milk_kg: float | None, batches: int) -> Taught | None:
    """Return what earlier batches teach of this one.

    Args:
        lessons: Of the same pot.
        milk_kg: Mass in the pot now, None if nobody weighed it [kg].
        batches: From how many batches they come [-].

    Returns:
        Power and losses brought to this mass, or None without lessons.

    Source:
        In one pot the surface stays as it is: all go with the inverse of the mass (definition);
        weighted mean with the scatter between batches, at least 12 % (ours).
    """
    scales = [
        one.milk_kg / milk_kg if one.milk_kg is not None and milk_kg else 1.0 for one in lessons
    ]
    losses = _together([(one.loss, s) for one, s in zip(lessons, scales, strict=True)])
    vapours = _together([(one.vapour, s) for one, s in zip(lessons, scales, strict=True)])
    powers = [
        (one.power, s) for one, s in zip(lessons, scales, strict=True) if one.power is not None
    ]
    if losses is None or vapours is None:
        return None
    return Taught(_together(powers), losses, vapours, batches)


def _together(found: Sequence[tuple[Quantity, float]]) -> Quantity | None:
    usable = [(q.value * s, q.u * s, q.unit) for q, s in found if q.value > 0 and q.u > 0]
    if not usable:
        return None
    value, u = np.array([one[0] for one in usable]), np.array([one[1] for one in usable])
    share = 1.0 / (u**2 + (BETWEEN_FRACTION * value) ** 2)
    mean = float(share @ value / share.sum())
    chi = float(share @ (value - mean) ** 2) / max(value.size - 1, 1)
    own = math.sqrt(max(chi, 1.0) / float(share.sum()))
    return Quantity(
        mean, usable[0][2], math.hypot(own, BETWEEN_FRACTION * mean), "learnt from earlier batches"
    )
