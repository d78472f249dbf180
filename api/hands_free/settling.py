# SPDX-License-Identifier: MIT
"""When something was put on a scale and lay still. Pure: numpy only.

A level is a stretch of readings that stay within a tolerance of its first one. A load is a level
that stood for some seconds and lies well above the level that stood before it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from api.process.curves import Floats

# What stands so long is a level; what stood before a load needs less (common practice).
STEADY_S, BEFORE_S = 4.0, 2.0
_TOLERANCE_KG, _TOLERANCE_FRACTION, _TOLERANCE_STEPS = 0.002, 0.0005, 1.5
_LEAST_KG, _LEAST_STEPS = 0.010, 10.0
_FEWEST = 3


@dataclass(frozen=True, slots=True)
class Load:
    """Something that was put on a scale.

    Attributes:
        at_s: The first reading after it lay still for `STEADY_S` [s since 1970 UTC].
        level_kg: What the scale then showed [kg].
        before_kg: What stood on it before [kg].
    """

    at_s: float
    level_kg: float
    before_kg: float


@dataclass(frozen=True, slots=True)
class _Level:
    start_s: float
    end_s: float
    settled_s: float | None
    kg: float


def loads(time_s: Floats, mass_kg: Floats, step_kg: float) -> list[Load]:
    """Return what was put on a scale, oldest first.

    Args:
        time_s: Times of stable readings, increasing [s since 1970 UTC], shape (n,).
        mass_kg: What they show [kg], shape (n,).
        step_kg: The scale's display step, 0 if it isn't known [kg].

    Example:
        >>> time_s = np.arange(0.0, 20.0)
        >>> mass_kg = np.where(time_s < 8.0, 0.0, 3.2)
        >>> loads(time_s, mass_kg, 0.001)
        [Load(at_s=12.0, level_kg=3.2, before_kg=0.0)]
    """
    levels = [one for one in _levels(time_s, mass_kg, step_kg) if one.end_s - one.start_s > 0]
    found: list[Load] = []
    before: _Level | None = None
    for one in levels:
        if before is not None and one.settled_s is not None:
            least_kg = max(_LEAST_KG, _LEAST_STEPS * step_kg, 0.01 * abs(before.kg))
            if one.kg - before.kg >= least_kg:
                found.append(Load(one.settled_s, one.kg, before.kg))
        if one.end_s - one.start_s >= BEFORE_S:
            before = one
    return found


def _levels(time_s: Floats, mass_kg: Floats, step_kg: float) -> Sequence[_Level]:
    found: list[_Level] = []
    start = 0
    for i in range(1, time_s.size + 1):
        if i < time_s.size and abs(mass_kg[i] - mass_kg[start]) <= _tolerance(
            float(mass_kg[start]), step_kg
        ):
            continue
        found.append(_level(time_s[start:i], mass_kg[start:i]))
        start = i
    return found


def _level(time_s: Floats, mass_kg: Floats) -> _Level:
    still = np.flatnonzero(time_s - time_s[0] >= STEADY_S)
    enough = still.size and still[0] + 1 >= _FEWEST
    settled = int(still[0]) if enough else None
    kept = mass_kg if settled is None else mass_kg[: settled + 1]
    return _Level(
        float(time_s[0]),
        float(time_s[-1]),
        None if settled is None else float(time_s[settled]),
        float(np.median(kept)),
    )


def _tolerance(mass_kg: float, step_kg: float) -> float:
    return max(_TOLERANCE_KG, _TOLERANCE_STEPS * step_kg, _TOLERANCE_FRACTION * abs(mass_kg))
