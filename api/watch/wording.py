# SPDX-License-Identifier: MIT
"""What a notice says. Pure: no clock, no database."""

from __future__ import annotations

import zoneinfo
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from api.process.hold_spec import HoldSpec, duration_text
from api.watch.crossing import Crossing, Direction
from api.watch.targets import Watched
from collector.units import convert

# Beyond this a notice says when it was, and asks for nothing to be done now.
FRESH_S = 60.0
# Further past the target than this, it isn't the target's temperature any more.
FAR_K = 2.0


@dataclass(frozen=True, slots=True)
class Words:
    """A notice in words.

    Attributes:
        title: A line for the head of a message.
        text: What is said, whole by itself; also spoken.
        priority: "high" asks for something to be done now, "medium" tells.
    """

    title: str
    text: str
    priority: str


@dataclass(frozen=True, slots=True)
class Telling:
    """Who speaks, and when.

    Attributes:
        pot: The pot's name, or the batch's.
        now_s: The moment of telling [s since 1970 UTC].
        zone: The kitchen's time zone.
    """

    pot: str
    now_s: float
    zone: str

    def when(self, at_s: float) -> str:
        """Return a time of day in the kitchen, and how long ago it was."""
        return f"{clock_text(at_s, self.zone)} ({duration_text(round(self.now_s - at_s))} ago)"


def clock_text(at_s: float, zone: str) -> str:
    """Return the time of day in a zone, to the minute.

    Args:
        at_s: [s since 1970 UTC]
        zone: Its name, such as "Europe/Paris".

    Example:
        >>> clock_text(1_790_000_000.0, "UTC")
        '14:13'
    """
    utc = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=at_s)
    return utc.astimezone(zoneinfo.ZoneInfo(zone)).strftime("%H:%M")


def target_words(watched: Watched, crossing: Crossing, telling: Telling, *, ready: bool) -> Words:
    """Return what is said when a pot reaches a target.

    Args:
        watched: The target.
        crossing: How it was reached.
        telling: Who speaks, and when.
        ready: The recipe asks for the coagulant at this crossing, and its holds are met.
    """
    pot, said, way = telling.pot, watched.said, crossing.direction
    now = f"{convert(crossing.value_degc, 'degC', watched.unit):.1f} {watched.unit}"
    if crossing.already:
        past = "below" if way is Direction.FALLING else "above"
        text = f"{pot}: {now}, {past} {said} already when the hold before it is complete"
        return Words(f"{pot}: past {said}", text, "high")
    if telling.now_s - crossing.at_s > FRESH_S or _far(watched, crossing):
        when = ""
        if telling.now_s - crossing.at_s > FRESH_S:
            when = f" at {telling.when(crossing.at_s)}"
        text = f"{pot}: passed {said}, {way}{when}; {now} when last read"
        return Words(f"{pot}: passed {said}", text, "high" if ready else "medium")
    if ready:
        return Words(f"{pot}: add the coagulant", f"{pot}: {said}. Add the coagulant now.", "high")
    if watched.target.kind not in ("", "addition"):
        text = f"{pot}: {said}, {way}: the target of {watched.target.kind}"
        return Words(f"{pot}: {said} reached", text, "medium")
    return Words(f"{pot}: passing {said}", f"{pot}: passing {said}, {way}", "medium")


def hold_words(spec: HoldSpec, reached_s: float, telling: Telling) -> Words:
    """Return what is said when a hold has lasted for its least time.

    Args:
        spec: The hold.
        reached_s: When its least time was reached [s since 1970 UTC].
        telling: Who speaks, and when.
    """
    since = "" if telling.now_s - reached_s <= FRESH_S else f" at {telling.when(reached_s)}"
    text = f"{telling.pot}: hold complete{since}: {spec.name}, {duration_text(spec.least_s)}"
    return Words(f"{telling.pot}: hold complete", text, "medium")


def late_note(made_s: float, now_s: float, zone: str) -> str:
    """Return what is added to a message that leaves late, "" if it doesn't.

    Args:
        made_s: When the notice was made [s since 1970 UTC].
        now_s: When it leaves [s since 1970 UTC].
        zone: The kitchen's time zone.
    """
    late_s = round(now_s - made_s)
    if late_s <= FRESH_S:
        return ""
    return f" (Sent late: this was at {clock_text(made_s, zone)}, {duration_text(late_s)} ago.)"


def _far(watched: Watched, crossing: Crossing) -> bool:
    past_k = crossing.value_degc - watched.target.value_degc
    past_k = past_k if crossing.direction is Direction.RISING else -past_k
    return past_k > max(FAR_K, watched.target.tolerance_k)
