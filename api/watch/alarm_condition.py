# SPDX-License-Identifier: MIT
"""Whether a value has been beyond a limit for long enough: dead-band and delays. Pure.

A high alarm is on at x >= L and off at x < L - DB (the OPC alarm model, seen); a low one mirrors
it. Without the dead-band a value that rests at its limit would raise an alarm at every flicker;
the delays let a single reading neither raise nor end one. A verdict on a hold never comes from
here: it is judged on the readings themselves.
"""

from __future__ import annotations

import enum
from collections import deque
from dataclasses import dataclass, field

# A silence that is longer doesn't show that the value was well in between.
GAP_S = 30.0


class Side(enum.StrEnum):
    """On which side of the limit the alarm lies."""

    HIGH = "high"
    LOW = "low"


@dataclass(frozen=True, slots=True)
class Band:
    """A limit with its dead-band and delays.

    Attributes:
        side: High or low.
        limit: The limit, in the unit of what is judged.
        dead_band: How far back inside a value must be before the alarm may end, same unit.
        on_delay_s: How long it must be beyond the limit before the alarm is raised [s].
        off_delay_s: How long it must be well inside before the alarm ends [s].
    """

    side: Side
    limit: float
    dead_band: float = 0.0
    on_delay_s: float = 0.0
    off_delay_s: float = 0.0

    def beyond(self, value: float) -> bool:
        """Tell whether a value lies at the limit or beyond."""
        return value >= self.limit if self.side is Side.HIGH else value <= self.limit

    def well_inside(self, value: float) -> bool:
        """Tell whether a value lies inside the limit by more than the dead-band."""
        if self.side is Side.HIGH:
            return value < self.limit - self.dead_band
        return value > self.limit + self.dead_band


@dataclass(slots=True)
class Condition:
    """Follows one value against one limit.

    Attributes:
        band: The limit.
        active: Whether the alarm's condition holds.
        since_s: Since when what would change it has lasted; None if nothing would
            [s since 1970 UTC].
    """

    band: Band
    active: bool = False
    since_s: float | None = None
    _last_s: float | None = None

    def step(self, time_s: float, value: float, *, gone: bool = False) -> bool:
        """Take the next value.

        Args:
            time_s: Its time, later than the one before [s since 1970 UTC].
            value: In the limit's unit.
            gone: The reason for the alarm is gone whatever the value, such as milk that may foam
                over and now cools.

        Returns:
            Whether `active` has changed.
        """
        gap = self._last_s is not None and time_s - self._last_s > GAP_S
        self._last_s = time_s
        if self.active:
            leaving = gone or self.band.well_inside(value)
        else:
            leaving = self.band.beyond(value)
        if not leaving:
            self.since_s = None
            return False
        if self.since_s is None or (gap and self.active):
            self.since_s = time_s
        delay_s = self.band.off_delay_s if self.active else self.band.on_delay_s
        if time_s - self.since_s < delay_s:
            return False
        self.active, self.since_s = not self.active, None
        return True


@dataclass(slots=True)
class Trend:
    """How much a value has moved over the last span, seen through its noise.

    Attributes:
        span_s: The span [s].
    """

    span_s: float = 60.0
    _recent: deque[tuple[float, float]] = field(default_factory=deque)

    def step(self, time_s: float, value: float) -> float | None:
        """Take the next value, and return what it has moved by since the span began.

        The mean of the last third less the mean of the first, scaled to the whole span; None as
        long as fewer than six values, or less than half of the span, lie behind.

        Args:
            time_s: Its time, later than the one before [s since 1970 UTC].
            value: The value.

        Example:
            >>> trend = Trend(span_s=60.0)
            >>> moved = [trend.step(float(s), 80.0 + 0.05 * s) for s in range(61)]
            >>> moved[10], round(moved[60], 2)
            (None, 3.0)
        """
        recent = self._recent
        if recent and time_s - recent[-1][0] > GAP_S:
            recent.clear()
        recent.append((time_s, value))
        while time_s - recent[0][0] > self.span_s:
            recent.popleft()
        length_s = time_s - recent[0][0]
        if len(recent) < 6 or length_s < self.span_s / 2.0:
            return None
        begin_s = recent[0][0]
        early = [v for t, v in recent if t - begin_s <= length_s / 3.0]
        late = [v for t, v in recent if t - begin_s >= length_s * 2.0 / 3.0]
        between_s = length_s * 2.0 / 3.0
        moved = sum(late) / len(late) - sum(early) / len(early)
        return moved * self.span_s / between_s
