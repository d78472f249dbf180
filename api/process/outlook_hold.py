# SPDX-License-Identifier: MIT
"""When a hold that is being kept will have been kept, and whether its band is left before.

Pure: numpy only.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from api.process.curves import Curve, Floats
from api.process.hold_spec import Basis, HoldResult, HoldSpec
from api.process.hold_time import Band
from api.process.hold_values import judged_values
from api.process.hold_view import GUARD
from api.process.outlook import Course, Expected, time_to_target
from api.process.quantities import NotShown, Verdict

# Half of a 90 % interval in standard uncertainties (normal distribution).
_HALF = 1.645


@dataclass(frozen=True, slots=True)
class HoldAhead:
    """What comes of a hold that is being kept.

    Attributes:
        hold: Its name.
        kept: When its least time will be full if the band is kept.
        leaves: When the temperature is expected to leave the band before that, None if it isn't.
        edge_degc: Through which side of the band, None if it isn't [degC].
    """

    hold: str
    kept: Expected
    leaves: Expected | None = None
    edge_degc: float | None = None


def hold_ahead(
    curve: Curve,
    hold: tuple[HoldSpec, HoldResult],
    band: Band,
    course: Course | NotShown,
    now_s: float,
) -> HoldAhead | NotShown:
    """Return when a running hold will be full.

    Args:
        curve: Readings of the milk up to now [degC].
        hold: What is asked for, and what came of it so far.
        band: The values that count [degC].
        course: Where the milk is going.
        now_s: The moment from which one looks [s since 1970 UTC].

    Returns:
        Its end with a 90 % interval [s since 1970 UTC], or why none is said.

    Source:
        The least time from the last entry into the band, or what is missing of it (definition);
        the interval from the entry of values that lie 1.645 u higher or lower.
    """
    spec, result = hold
    if result.verdict != Verdict.RUNNING:
        return NotShown(f"{spec.name}: {result.verdict}")
    if result.started_s is None:
        return NotShown(f"{spec.name}: its clock has not started")
    judged = judged_values(curve.between(-np.inf, now_s + 1e-6))
    guard = (GUARD if spec.basis is Basis.SAFETY else 0.0) * judged.u
    since_s, low_s, high_s = (
        _inside_since(judged.time_s, judged.value + side * _HALF * judged.u, guard, band)
        for side in (0, -1, 1)
    )
    if since_s is None:
        return NotShown(f"{spec.name}: the milk is not in its band")
    due_s = _due_s(hold, (since_s, low_s, high_s), result.started_s, now_s)
    if due_s[0] <= now_s:
        return NotShown(f"{spec.name}: its time is full")
    kept = Expected(due_s[0], min(due_s), max(due_s), "time kept so far", (spec.name,))
    return HoldAhead(spec.name, kept, *_leaves(course, band, kept.at_s))


def _due_s(
    hold: tuple[HoldSpec, HoldResult],
    entries_s: tuple[float, float | None, float | None],
    started_s: float,
    now_s: float,
) -> list[float]:
    """Return when the least time is full, for each moment at which the band may be entered."""
    spec, result = hold
    # Without the doubt of the present stretch: what earlier ones already count.
    before_s = 0.0
    if not spec.unbroken:
        before_s = max(result.held_s - (now_s - max(entries_s[0], started_s)), 0.0)
    left_s = spec.least_s - before_s
    return [
        max(max(now_s if entry_s is None else entry_s, started_s) + left_s, now_s)
        for entry_s in entries_s
    ]


def _inside_since(time_s: Floats, value: Floats, guard: Floats, band: Band) -> float | None:
    """Return since when all readings lie inside a band, None if the last one does not."""
    low = -np.inf if band.low is None else band.low
    high = np.inf if band.high is None else band.high
    room = np.minimum(value - guard - low, high - value - guard)
    outside = np.flatnonzero(room < 0.0)
    if not room.size or (outside.size and outside[-1] == room.size - 1):
        return None
    if not outside.size:
        return float(time_s[0])
    last = int(outside[-1])
    share = -room[last] / (room[last + 1] - room[last])
    return float(time_s[last] + share * (time_s[last + 1] - time_s[last]))


def _leaves(
    course: Course | NotShown, band: Band, before_s: float
) -> tuple[Expected | None, float | None]:
    if isinstance(course, NotShown):
        return None, None
    rising = course.stretch.rising
    edge_degc = band.high if rising else band.low
    if edge_degc is None:
        return None, None
    found = time_to_target(course, edge_degc, "rising" if rising else "falling")
    if isinstance(found, NotShown) or found.at_s >= before_s:
        return None, None
    return found, edge_degc
