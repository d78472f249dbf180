# SPDX-License-Identifier: MIT
"""What the last minutes of a scale show at one moment.

Pure: numpy only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from api.process.curves import Floats
from api.process.marks_series import display_step
from api.process.smoothing import middle_of

LOOK_S = 300.0
# A pour brings between a five-hundredth and a third of what is in the pot.
WEIGHED_SPREADS, LEAST_GAIN, LARGEST_GAIN = 6.0, 0.002, 0.3
# A lid is on within this, the scale's own settling included [s].
_LID_S = 3.5
_GROWING_FRACTION = 0.0015
# What came before has to be flat, or it is the same pour.
_CREPT_FRACTION = 0.12
_GAIN_WINDOWS_S = ((15.0, 6.0), (25.0, 6.0), (40.0, 12.0), (60.0, 20.0), (90.0, 30.0))


@dataclass(frozen=True, slots=True)
class MassLook:
    """The last minutes of a scale, seen at one moment.

    Attributes:
        now_s: The moment [s since 1970 UTC].
        time_s: Before that moment [s], shape (n,), oldest first.
        mass_kg: [kg].
        step_kg: Display step [kg].
    """

    now_s: float
    time_s: Floats
    mass_kg: Floats
    step_kg: float

    def between(self, from_s: float, to_s: float) -> Floats:
        """Return the masses of a stretch [kg]."""
        return self.mass_kg[(self.time_s >= from_s) & (self.time_s <= to_s)]


def mass_look(
    time_s: Floats, mass_kg: Floats, now_s: float, step_kg: float | None = None
) -> MassLook | None:
    """Return the last five minutes of a scale.

    Args:
        time_s: Times of all readings so far [s since 1970 UTC], strictly increasing.
        mass_kg: [kg].
        now_s: The moment [s since 1970 UTC].
        step_kg: Display step, found in the readings if None [kg].

    Returns:
        The look, None with fewer than four readings.

    Source:
        Definition.
    """
    first, last = np.searchsorted(time_s, (now_s - LOOK_S, now_s + 1e-6))
    if last - first < 4:
        return None
    mass_kg = mass_kg[first:last]
    step_kg = display_step(mass_kg) if step_kg is None else step_kg
    return MassLook(now_s, time_s[first:last] - now_s, mass_kg, step_kg)


def spread_of(mass_kg: Floats, step_kg: float) -> float:
    """Return the spread of steady readings [kg]: median absolute deviation, display included.

    Args:
        mass_kg: Readings [kg], shape (n,).
        step_kg: Display step [kg].

    Returns:
        The spread, infinity without readings [kg].

    Source:
        1.4826 times the median absolute deviation is the standard deviation of normal noise
        (definition).
    """
    if mass_kg.size == 0:
        return math.inf
    middle = middle_of(mass_kg)
    return math.hypot(1.4826 * middle_of(np.abs(mass_kg - middle)), step_kg / 3.46)


@dataclass(frozen=True, slots=True)
class Gain:
    """Mass that came into the pot.

    Attributes:
        fraction: Share of what was there before [-].
        u_fraction: Standard uncertainty of that [-].
        spreads: How far beyond the noise [-].
    """

    fraction: float
    u_fraction: float
    spreads: float


def mass_gain(look: MassLook, start_s: float, end_s: float) -> Gain | None:
    """Return how much mass came between two moments, None if too few readings tell.

    Args:
        look: The last minutes of the scale under the pot.
        start_s: When it began to come [s before now].
        end_s: When all of it had come [s before now].

    Returns:
        The gain, None if too few readings tell.

    Source:
        Difference of medians, whose standard error is 1.25 times that of means (definition).
    """
    return _gain(
        look,
        look.between(start_s - 40.0, start_s - 3.0),
        look.between(min(end_s + 4.0, -10.0), 0.0),
    )


def _gain(look: MassLook, before: Floats, after: Floats) -> Gain | None:
    if before.size < 3 or after.size < 2:
        return None
    before_kg, after_kg = middle_of(before), middle_of(after)
    if before_kg <= 0.0:
        return None
    u_kg = 1.25 * math.hypot(
        spread_of(before, look.step_kg) / math.sqrt(before.size),
        spread_of(after, look.step_kg) / math.sqrt(after.size),
    )
    u_kg = max(u_kg, look.step_kg / 2.0, 1e-9)
    gain_kg = after_kg - before_kg
    return Gain(gain_kg / before_kg, u_kg / before_kg, gain_kg / u_kg)


def find_gain(look: MassLook, earliest_s: float) -> tuple[float, Gain] | None:
    """Return since when mass has been coming into the pot, and how much of it, if any has.

    Args:
        look: The last minutes of the scale under the pot.
        earliest_s: It did not begin before this [s before now].

    Returns:
        When it began [s before now] and the gain, None if nothing came or a lid did.

    Source:
        Difference of medians (definition); windows are ours.
    """
    for base_s, after_s in _GAIN_WINDOWS_S:
        from_s = max(-base_s - 40.0, earliest_s)
        before = look.between(from_s, -base_s)
        gain = _gain(look, before, look.between(-after_s, 0.0))
        if gain is None or gain.spreads < WEIGHED_SPREADS:
            continue
        if not LEAST_GAIN < gain.fraction < LARGEST_GAIN:
            continue
        middle_kg = middle_of(before)
        half = before.size // 2
        crept_kg = abs(middle_of(before[:half]) - middle_of(before[half:]))
        if half < 2 or crept_kg > _CREPT_FRACTION * gain.fraction * middle_kg:
            continue
        if _abrupt(look, middle_kg, gain.fraction * middle_kg, from_s):
            return None
        band_kg = max(3.0 * spread_of(before, look.step_kg), 0.1 * gain.fraction * middle_kg)
        below = np.flatnonzero((look.mass_kg < middle_kg + band_kg) & (look.time_s > from_s))
        return (float(look.time_s[below[-1]]), gain) if below.size else None
    return None


def _abrupt(look: MassLook, before_kg: float, gain_kg: float, from_s: float) -> bool:
    """Tell whether the mass came in one go, as a lid does, and was not poured."""
    since = look.time_s > from_s
    low = np.flatnonzero(since & (look.mass_kg < before_kg + 0.15 * gain_kg))
    high = np.flatnonzero(since & (look.mass_kg > before_kg + 0.85 * gain_kg))
    if not (low.size and high.size):
        return False
    first = high[high > low[-1]]
    if not first.size:
        return False
    took_s = float(look.time_s[first[0]] - look.time_s[low[-1]])
    interval_s = middle_of(np.diff(look.time_s))
    return took_s < max(_LID_S, 1.2 * interval_s)


def is_growing(look: MassLook) -> bool:
    """Tell whether mass still comes in.

    Args:
        look: The last minutes of the scale under the pot.

    Returns:
        Whether mass came in within the last seconds.

    Source:
        Difference of medians (definition).
    """
    now, before = look.between(-6.0, 0.0), look.between(-20.0, -12.0)
    if now.size < 2 or before.size < 2:
        return False
    gain = middle_of(now) - middle_of(before)
    return gain > max(4.0 * look.step_kg, _GROWING_FRACTION * middle_of(before))
