# SPDX-License-Identifier: MIT
"""How often alarms call, against the published figures. Pure.

The figures are hints about a kitchen's settings, not about its food: they decide nothing.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

TEN_MIN_S = 600.0
DAY_S = 86_400.0
MINUTE_S = 60.0


@dataclass(frozen=True, slots=True)
class Figure:
    """One published figure.

    Attributes:
        about: What it is a figure of.
        value: The figure.
        text: It in words.
        source: Where it stands.
        status: How it is known.
    """

    about: str
    value: float
    text: str
    source: str
    status: str


_MEASURING = "EEMUA 191, as reported in Measuring alarm system effectiveness"
FIGURES = (
    Figure("steady", 1.0, "at most 1 in 10 min is manageable", _MEASURING, "second hand"),
    Figure("upset", 10.0, "at most 10 in the first 10 min of an upset", _MEASURING, "second hand"),
    Figure("day", 150.0, "about 150 a day are acceptable", "EEMUA 191", "from memory"),
    Figure("most in a day", 300.0, "300 a day are the most", "EEMUA 191", "from memory"),
    Figure("chattering", 3.0, "3 of the same in a minute chatter", "ISA-18.2", "from memory"),
)
# The share of low, medium and high alarms.
PRIORITY_SHARES = {"low": 0.80, "medium": 0.15, "high": 0.05}
PRIORITY_SOURCE = (_MEASURING, "second hand")


@dataclass(frozen=True, slots=True)
class Call:
    """An alarm that called somebody.

    Attributes:
        alarm: Its id.
        at_s: When [s since 1970 UTC].
        priority: "low", "medium" or "high".
    """

    alarm: str
    at_s: float
    priority: str


@dataclass(frozen=True, slots=True)
class Rate:
    """How often alarms called.

    Attributes:
        last_10_min: In the last ten minutes.
        last_day: In the last 24 hours.
        busiest_10_min: The most in any ten minutes of these 24 hours.
        chattering: Alarms that called three times or more within a minute.
        shares: The share of each priority among those of the last day [-]; empty without any.
    """

    last_10_min: int
    last_day: int
    busiest_10_min: int
    chattering: tuple[str, ...]
    shares: dict[str, float]

    @property
    def words(self) -> str:
        """How the last ten minutes compare with the figures."""
        steady, upset = FIGURES[0].value, FIGURES[1].value
        if self.last_10_min > upset:
            return "a flood: more than one person can follow"
        if self.last_10_min > steady:
            return "more than is manageable for long"
        return "manageable"


def rate_of(calls: Iterable[Call], now_s: float) -> Rate:
    """Return how often alarms have called up to a moment.

    Args:
        calls: In any order; those of more than a day ago count for nothing.
        now_s: The moment [s since 1970 UTC].

    Example:
        >>> rate_of([Call("a", 0.0, "low"), Call("a", 550.0, "low")], 650.0).last_10_min
        1
    """
    day = sorted((c for c in calls if now_s - DAY_S < c.at_s <= now_s), key=lambda c: c.at_s)
    counted = Counter(call.priority for call in day)
    return Rate(
        last_10_min=sum(now_s - call.at_s < TEN_MIN_S for call in day),
        last_day=len(day),
        busiest_10_min=_busiest([call.at_s for call in day], TEN_MIN_S),
        chattering=_chattering(day),
        shares={p: counted[p] / len(day) for p in PRIORITY_SHARES} if day else {},
    )


def _busiest(times_s: Sequence[float], span_s: float) -> int:
    within: deque[float] = deque()
    most = 0
    for at_s in times_s:
        within.append(at_s)
        while at_s - within[0] >= span_s:
            within.popleft()
        most = max(most, len(within))
    return most


def _chattering(calls: Sequence[Call]) -> tuple[str, ...]:
    by_alarm: dict[str, list[float]] = {}
    for call in calls:
        by_alarm.setdefault(call.alarm, []).append(call.at_s)
    least = FIGURES[4].value
    return tuple(a for a, times_s in by_alarm.items() if _busiest(times_s, MINUTE_S) >= least)
