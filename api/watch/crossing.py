# SPDX-License-Identifier: MIT
"""When a pot reaches a temperature, and from which side. Pure: imports nothing of the project.

A crossing counts once for each direction. Noise at the target is no crossing: the pot has to have
been clear of the target by a dead-band before it can cross it.
"""

from __future__ import annotations

import enum
import math
from collections import deque
from dataclasses import dataclass, field

# 1 % of a range of 0 to 100 degC is the usual start for a temperature (EEMUA 191, second hand);
# half of it, because the pot moves by less than a kelvin while the maker reaches for the ladle.
DEAD_BAND_K = 0.5
# A second approach from the other side: the pot was well past the target, and comes back. A dip
# from the pour is less than that.
AGAIN_K = 5.0

# No pot of milk falls that fast by itself; a probe that is lifted out of it does (common practice).
FASTEST_FALL_K_PER_S = 0.6
OVER_S = 5.0
# It is back in the milk when it is this near to what it said before, and has steadied.
BACK_WITHIN_K = 15.0
STEADY_S = 10.0


class Direction(enum.StrEnum):
    """Which way the pot crosses."""

    RISING = "rising"
    FALLING = "falling"


@dataclass(frozen=True, slots=True)
class Crossing:
    """The pot reached a target.

    Attributes:
        direction: Which way.
        at_s: The moment, by a straight line between two readings [s since 1970 UTC].
        before_s: The reading before it [s since 1970 UTC].
        shown_s: The reading that showed it [s since 1970 UTC].
        value_degc: What that reading says [degC].
        already: The pot was past the target when the target was armed.
    """

    direction: Direction
    at_s: float
    before_s: float
    shown_s: float
    value_degc: float
    already: bool = False


@dataclass(slots=True)
class Lift:
    """Tells a probe that is lifted out of the milk from a pot that cools.

    A pour makes it fall fast too, but by a few kelvin, and it steadies there.
    """

    _recent: deque[tuple[float, float]] = field(default_factory=deque)
    _before_degc: float | None = None
    _steady_since_s: float = 0.0

    def out(self, time_s: float, value_degc: float) -> bool:
        """Take the next reading, and tell whether it may be one of the air.

        Args:
            time_s: Its time, later than the one before [s since 1970 UTC].
            value_degc: Its value [degC].
        """
        while len(self._recent) > 1 and time_s - self._recent[1][0] >= OVER_S:
            self._recent.popleft()
        fast = False
        if self._recent:
            then_s, then_degc = self._recent[0]
            fast = (value_degc - then_degc) < -FASTEST_FALL_K_PER_S * (time_s - then_s)
            fast = fast and then_degc - value_degc > 1.0
        if fast and self._before_degc is None:
            self._before_degc = max(degc for _, degc in self._recent)
        self._recent.append((time_s, value_degc))
        if fast:
            self._steady_since_s = time_s
        if self._before_degc is None:
            return False
        near = abs(value_degc - self._before_degc) <= BACK_WITHIN_K
        if near and time_s - self._steady_since_s >= STEADY_S:
            self._before_degc = None
            return False
        return True


@dataclass(slots=True)
class Pursuit:
    """Follows one series towards one target, reading by reading.

    Attributes:
        target_degc: The target [degC].
        approach: "rising" or "falling"; "either" or None takes the side the pot is on.
        found: Directions that were found already.
    """

    target_degc: float
    approach: str | None = None
    found: set[Direction] = field(default_factory=set)
    _side: int = 0  # -1 below, +1 above, 0 while it was never clear of the target
    _farthest_k: float = 0.0  # from the target, since it came to this side
    _first_k: float | None = None
    _last: tuple[float, float] | None = None
    _armed: bool = False
    _lift: Lift = field(default_factory=Lift)

    def step(self, time_s: float, value_degc: float, armed_s: float | None) -> Crossing | None:
        """Take the next reading.

        Args:
            time_s: Its time, later than the one before [s since 1970 UTC].
            value_degc: Its corrected value [degC].
            armed_s: Crossings before this moment don't count; None as long as none does
                [s since 1970 UTC].

        Returns:
            The crossing that this reading shows, if it is a new one that was asked for.
        """
        if self._lift.out(time_s, value_degc) and value_degc < self.target_degc:
            return None  # only a fall to the target could be that of a lifted probe
        off_k = value_degc - self.target_degc
        crossed = self._crossed(off_k)
        crossing = None
        if crossed is not None and armed_s is not None:
            at_s = self._moment_s(time_s, value_degc)
            if at_s >= armed_s:
                before_s = self._last[0] if self._last else time_s
                crossing = Crossing(crossed, at_s, before_s, time_s, value_degc)
        if crossing is None:
            crossing = self._already(time_s, value_degc, armed_s)
        self._move(off_k, time_s, value_degc)
        if crossing is None or not self._wanted(crossing):
            return None
        self.found.add(crossing.direction)
        return crossing

    def _crossed(self, off_k: float) -> Direction | None:
        """Tell which way the target is crossed, if the pot was clear of it before."""
        if self._side == 0:
            # It began close to the target: only once it is clear is it known which way it went.
            if self._first_k is None or abs(off_k) < DEAD_BAND_K or self._first_k * off_k >= 0.0:
                return None
            return Direction.RISING if off_k > 0 else Direction.FALLING
        if self._farthest_k < DEAD_BAND_K or self._side * off_k > 0.0:
            return None
        other_found = self.found - {Direction.RISING if self._side < 0 else Direction.FALLING}
        if other_found and self._farthest_k < AGAIN_K:
            return None
        return Direction.RISING if self._side < 0 else Direction.FALLING

    def _moment_s(self, time_s: float, value_degc: float) -> float:
        if self._last is None or self._last[1] == value_degc:
            return time_s
        last_s, last_degc = self._last
        share = (self.target_degc - last_degc) / (value_degc - last_degc)
        return last_s + min(max(share, 0.0), 1.0) * (time_s - last_s)

    def _already(self, time_s: float, value_degc: float, armed_s: float | None) -> Crossing | None:
        """Tell at the first reading after arming whether the pot was past the target by then."""
        if self._armed or armed_s is None or not math.isfinite(armed_s) or time_s < armed_s:
            return None
        self._armed = True
        off_k = value_degc - self.target_degc
        past = {Direction.FALLING: off_k < 0, Direction.RISING: off_k > 0}
        for direction, is_past in past.items():
            if is_past and self.approach == direction.value:
                return Crossing(direction, armed_s, armed_s, time_s, value_degc, already=True)
        return None

    def _move(self, off_k: float, time_s: float, value_degc: float) -> None:
        if self._first_k is None:
            self._first_k = off_k
        side = (off_k > 0) - (off_k < 0)
        if self._side == 0:
            self._side = side if abs(off_k) >= DEAD_BAND_K else 0
            self._farthest_k = abs(off_k)
        elif side and side != self._side:
            self._side, self._farthest_k = side, abs(off_k)
        else:
            self._farthest_k = max(self._farthest_k, abs(off_k))
        self._last = (time_s, value_degc)

    def _wanted(self, crossing: Crossing) -> bool:
        if crossing.direction in self.found:
            return False
        return self.approach in (None, "either", crossing.direction.value)
