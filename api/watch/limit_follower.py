# SPDX-License-Identifier: MIT
"""Follows one series of milk temperatures against the limits of its batch. Pure.

The temperatures come corrected, the probe's lag undone, so that a slow probe doesn't tell late.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from api.watch.alarm_condition import Condition, Side, Trend
from api.watch.crossing import Lift
from api.watch.limits import Limit

TREND_S = 60.0
# Milk that warms by less than this in a minute isn't said to be rising, nor to cool [K].
RISING_K = 0.3


@dataclass(frozen=True, slots=True)
class Change:
    """A limit was passed, or the milk came back.

    Attributes:
        limit: Which.
        active: Whether it is an alarm now.
        at_s: The reading that showed it [s since 1970 UTC].
        value: What was judged, in the unit of the limit's kind.
    """

    limit: Limit
    active: bool
    at_s: float
    value: float


@dataclass(slots=True)
class Follower:
    """One limit on its way.

    Attributes:
        limit: The limit.
        condition: Whether it is an alarm.
        last_s: The last reading that was judged [s since 1970 UTC].
        entered: Whether a reading lay on its good side.
    """

    limit: Limit
    condition: Condition
    last_s: float
    entered: bool = False
    _was_below: bool = False

    def step(self, time_s: float, value_degc: float, moved_k: float | None) -> Change | None:
        """Take the next reading.

        Args:
            time_s: Its time [s since 1970 UTC].
            value_degc: Its corrected value [degC].
            moved_k: By how much the milk has moved in the last minute, if that is known [K].
        """
        limit = self.limit
        if time_s < limit.from_s:
            return None
        self._enter(value_degc)
        if time_s <= self.last_s:
            return None
        self.last_s = time_s
        judged = self._judged(value_degc, moved_k)
        if judged is not None and not self.condition.band.beyond(judged):
            self._was_below = True
        if judged is None or not (self.condition.active or self._counts(judged, moved_k)):
            return None
        cools = limit.rising and moved_k is not None and moved_k <= -RISING_K
        if not self.condition.step(time_s, judged, gone=cools):
            return None
        return Change(limit, self.condition.active, time_s, judged)

    def _enter(self, value_degc: float) -> None:
        enter = self.limit.enter_degc
        if enter is None:
            self.entered = True
        elif not self.entered:
            up = self._goes_up()
            self.entered = value_degc <= enter if up else value_degc >= enter

    def _goes_up(self) -> bool:
        limit = self.limit
        if limit.goal_degc is not None and limit.enter_degc is not None:
            return limit.goal_degc > limit.enter_degc
        return limit.band.side is Side.HIGH

    def _judged(self, value_degc: float, moved_k: float | None) -> float | None:
        """Return what the limit judges; None if too few readings tell it."""
        if self.limit.measure == "value":
            return value_degc
        if moved_k is None:
            return None
        if self.limit.measure == "trend":
            return moved_k
        return self._to_go_s(value_degc, moved_k)

    def _to_go_s(self, value_degc: float, moved_k: float) -> float | None:
        """Return how long until the goal is reached by the last minute's rate; None if it isn't."""
        assert self.limit.goal_degc is not None
        left_k = self.limit.goal_degc - value_degc
        if not self._goes_up():
            left_k, moved_k = -left_k, -moved_k
        if left_k <= 0.0:
            return 1e6  # it is reached, and told as that
        # One that moves away, or hardly moves, won't reach it in any time that matters.
        return left_k / moved_k * TREND_S if moved_k > RISING_K else 1e6

    def _counts(self, judged: float, moved_k: float | None) -> bool:
        if not self.entered:
            return False
        if not self.limit.rising:
            return True
        # Too few readings for a trend: what came from below has risen.
        warms = self._was_below if moved_k is None else moved_k >= RISING_K
        return warms or not self.condition.band.beyond(judged)


@dataclass(slots=True)
class MilkLine:
    """The milk of one batch, by one series, against all its limits.

    Attributes:
        followers: By the limits' keys.
    """

    followers: dict[str, Follower] = field(default_factory=dict)
    _trend: Trend = field(default_factory=lambda: Trend(TREND_S))
    _lift: Lift = field(default_factory=Lift)
    _last_s: float | None = None

    def renew(
        self, limits: Iterable[Limit], recorded: Mapping[str, tuple[bool, float]]
    ) -> float | None:
        """Take the limits as they are now.

        Args:
            limits: All that hold.
            recorded: By key, whether its condition holds by the records, and when it last changed:
                readings up to then were judged [s since 1970 UTC].

        Returns:
            From when on readings are to be seen again for what is new; None if nothing is
            [s since 1970 UTC].
        """
        kept: dict[str, Follower] = {}
        from_s: list[float] = []
        for limit in limits:
            known = self.followers.get(limit.key)
            if known is not None and known.limit == limit:
                kept[limit.key] = known
                continue
            is_active, last_s = recorded.get(limit.key, (False, float("-inf")))
            kept[limit.key] = Follower(limit, Condition(limit.band, is_active), last_s)
            from_s.append(limit.from_s)
        self.followers = kept
        return min(from_s) - TREND_S if from_s else None

    def restart(self) -> None:
        """Forget the last readings: they are about to be seen again."""
        self._trend, self._lift, self._last_s = Trend(TREND_S), Lift(), None

    def step(self, time_s: float, value_degc: float) -> list[Change]:
        """Take the next reading, and return what it changes.

        Args:
            time_s: Its time [s since 1970 UTC].
            value_degc: Its corrected value [degC].
        """
        if self._last_s is not None and time_s <= self._last_s:
            return []
        self._last_s = time_s
        if self._lift.out(time_s, value_degc):
            self._trend = Trend(TREND_S)  # the air isn't the milk
            return []
        moved_k = self._trend.step(time_s, value_degc)
        found = (f.step(time_s, value_degc, moved_k) for f in self.followers.values())
        return [change for change in found if change is not None]
