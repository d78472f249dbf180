# SPDX-License-Identifier: MIT
"""Whether milk boiled: the plateau at the top of its curve against the local boiling point.

Pure: numpy and what is pure only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from api.process.curves import Curve
from api.process.hold_values import judged_values
from api.process.quantities import NotShown, Quantity

# What lies so near the top belongs to the plateau, and so long it must last to be one: a boil
# moves by a few tenths (common practice).
WITHIN_K = 0.7
LEAST_S = 60.0
_GAP_INTERVALS, _LEAST_GAP_S = 3.0, 30.0
COVERAGE = 2.0


@dataclass(frozen=True, slots=True)
class Plateau:
    """The longest flat stretch at the top of a curve.

    Attributes:
        start_s: Its start [s since 1970 UTC].
        length_s: How long it lasted without a gap [s].
        level: Its median [degC].
        below_boiling: How far it lies below the local boiling point [K]; below 0 if above.
        boiled: It agrees with the boiling point; None where its uncertainty can't tell.
        words: The same in words.
    """

    start_s: float
    length_s: float
    level: Quantity
    below_boiling: Quantity
    boiled: bool | None
    words: str


def plateau_of(curve: Curve, boiling: Quantity, *, tells_k: float = 2.0) -> Plateau | NotShown:
    """Return the plateau at the top of a curve, and whether it was a boil.

    It agrees with the boiling point where the two differ by no more than twice the standard
    uncertainty of their difference. Where that is larger than `tells_k`, milk that only simmers
    would agree as well, and nothing is said.

    Args:
        curve: Calibrated readings of the milk [degC].
        boiling: Local boiling point [degC].
        tells_k: The largest doubt, at twice its standard uncertainty, that still tells a boil
            from a simmer [K].

    Returns:
        The plateau [degC, s], or why there is none.

    Source:
        Definition: the longest stretch without a gap within 0.7 K of the highest median of five
        readings, at least a minute long (common practice); JCGM 100:2008, 5.1 (from memory).
    """
    if len(curve) < 5:
        return NotShown("Fewer than five readings show no plateau.")
    judged = judged_values(curve)
    top = float(
        np.max(np.median(np.lib.stride_tricks.sliding_window_view(judged.value, 5), axis=1))
    )
    near = judged.value >= top - WITHIN_K
    longest_s = max(_GAP_INTERVALS * curve.usual_interval_s, _LEAST_GAP_S)
    joined = near[:-1] & near[1:] & (np.diff(judged.time_s) <= longest_s)
    first, last = _longest(joined)
    length_s = float(judged.time_s[last] - judged.time_s[first])
    if length_s < LEAST_S:
        return NotShown(
            f"The milk stayed within {WITHIN_K:g} K of its highest temperature, {top:.1f} degC, "
            f"for {length_s:.0f} s only: there is no plateau."
        )
    inside = slice(first, last + 1)
    level = Quantity(
        float(np.median(judged.value[inside])),
        "degC",
        float(np.median(judged.u[inside])),
        "median of the plateau",
        (curve.name or "milk probe", judged.basis),
    )
    below_k, u_k = boiling.value - level.value, math.hypot(level.u, boiling.u)
    sources = (*level.sources, *boiling.sources)
    below = Quantity(below_k, "K", u_k, "boiling point less plateau", sources)
    boiled, words = _words(below, tells_k)
    return Plateau(float(judged.time_s[first]), length_s, level, below, boiled, words)


def _longest(joined: np.ndarray) -> tuple[int, int]:
    """Return the first and last index of the longest run of readings that belong together."""
    best, start = (0, 0), 0
    for i, is_joined in enumerate([*joined.tolist(), False]):
        if not is_joined:
            if i - start > best[1] - best[0]:
                best = (start, i)
            start = i + 1
    return best


def _words(below: Quantity, tells_k: float) -> tuple[bool | None, str]:
    doubt_k = COVERAGE * below.u
    apart = f"{abs(below.value):.1f} K {'below' if below.value >= 0 else 'above'} the boiling point"
    if below.value > doubt_k:
        return False, f"The plateau lies {apart}: the milk did not boil."
    if below.value < -doubt_k:
        return False, f"The plateau lies {apart}: check the probe, and the altitude or pressure."
    if doubt_k > tells_k:
        return None, (
            f"The plateau lies {apart}, but that is known within {doubt_k:.1f} K only: a simmer "
            f"can't be told from a boil. State the pressure or check the probe."
        )
    return True, f"The plateau lies {apart}, within its uncertainty: the milk boiled."
