# SPDX-License-Identifier: MIT
"""From the readings of a button to presses. Pure: imports only the ground.

A press is a rise: 0 to 1 of a contact, or a counter of presses that grows. The first reading of all
only sets the level, so that what a broker had retained is no press. A value that falls is a
release, or a counter that began anew.
"""

from __future__ import annotations

import enum
from collections.abc import Sequence
from dataclasses import dataclass

from collector.readings import Reading
from collector.store.writing import POSSIBLE_REPEAT

BOUNCE_MS = 1_000
"""A contact that closes again within this is still the same press (common practice)."""
PAUSE_MS = 3_000
"""A second press within this marks nothing, as at the page's own key: hands are wet."""
LATE_MS = 300_000
"""A press that arrives later than this marks nothing: too much may have happened since."""


class Meaning(enum.StrEnum):
    """What a rise means."""

    PRESS = "press"
    BOUNCE = "bounce"
    AGAIN = "again too soon"
    LATE = "too late"
    REPEAT = "perhaps a repeat"


@dataclass(frozen=True, slots=True)
class Rise:
    """A moment at which a button's value rose.

    Attributes:
        at_ms: The reading's own time [ms since 1970 UTC].
        arrival_ms: When it arrived [ms since 1970 UTC].
        meaning: What is made of it.
    """

    at_ms: int
    arrival_ms: int
    meaning: Meaning


def rises(
    news: Sequence[Reading], before: float | None, last_press_ms: int | None
) -> tuple[list[Rise], int | None]:
    """Return the rises that readings show, and when the last press was.

    Args:
        news: Readings of one button in the order of their times; those without a value are passed
            over.
        before: The value before them, None if there was none.
        last_press_ms: The last press before them, None if there was none [ms since 1970 UTC].

    Example:
        >>> from collector.readings import Reading, TimeSource
        >>> said = [Reading("b", v, "", t, TimeSource.INSTRUMENT, t)
        ...         for t, v in ((0, 0.0), (5_000, 1.0), (5_020, 0.0), (5_040, 1.0))]
        >>> [str(one.meaning) for one in rises(said, None, None)[0]]
        ['press', 'bounce']
    """
    found: list[Rise] = []
    level = before
    for one in news:
        if one.value is None:
            continue
        rose = level is not None and one.value > level
        level = one.value
        if not rose:
            continue
        meaning = _meaning(one, last_press_ms)
        if meaning is Meaning.PRESS:
            last_press_ms = one.time_ms
        found.append(Rise(one.time_ms, one.arrival_ms, meaning))
    return found, last_press_ms


def _meaning(one: Reading, last_press_ms: int | None) -> Meaning:
    if POSSIBLE_REPEAT in one.reason:
        return Meaning.REPEAT
    if last_press_ms is not None and abs(one.time_ms - last_press_ms) <= BOUNCE_MS:
        return Meaning.BOUNCE
    if last_press_ms is not None and abs(one.time_ms - last_press_ms) < PAUSE_MS:
        return Meaning.AGAIN
    return Meaning.LATE if one.arrival_ms - one.time_ms > LATE_MS else Meaning.PRESS
