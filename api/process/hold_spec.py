# SPDX-License-Identifier: MIT
"""What a hold asks for, and what came of it.

Pure: no I/O; imports only the ground and what is pure.
"""

from __future__ import annotations

import enum
import math
from dataclasses import dataclass

from api.process.quantities import Quantity, Result, Verdict
from collector.errors import ProcessError

BAND = "band"


class Basis(enum.StrEnum):
    """Why the hold is asked for; safety is judged at the unfavourable end of the uncertainty."""

    QUALITY = "quality"
    SAFETY = "safety"


@dataclass(frozen=True, slots=True)
class HoldSpec:
    """A band to be kept for a time.

    Attributes:
        name: What the maker calls it.
        least_s: Least time inside the band [s].
        low_degc: Lower side of the band; None leaves it open [degC].
        high_degc: Upper side; None leaves it open [degC].
        below_boiling_k: The lower side as this far below the local boiling point [K].
        longest_s: Longest time allowed inside the band, where one matters [s].
        start: The kind of event that starts its clock, or "band": the first entry into the band.
        end: The kind of event by which it must have been kept; None if nothing ends it.
        unbroken: The time must be one stretch; otherwise stretches add up.
        basis: Quality or safety.
    """

    name: str
    least_s: float
    low_degc: float | None = None
    high_degc: float | None = None
    below_boiling_k: float | None = None
    longest_s: float | None = None
    start: str = BAND
    end: str | None = None
    unbroken: bool = True
    basis: Basis = Basis.SAFETY

    def __post_init__(self) -> None:
        fault = self._fault()
        if fault:
            raise ProcessError(fault, where=f"hold {self.name}", do="Mend the recipe's hold.")

    def _fault(self) -> str:
        numbers = (
            self.least_s, self.low_degc, self.high_degc, self.below_boiling_k, self.longest_s,
        )  # fmt: skip
        if any(x is not None and not math.isfinite(x) for x in numbers):
            return "A temperature or a time is not a finite number."
        if self.low_degc is not None and self.below_boiling_k is not None:
            return "Its lower side is given twice: as a temperature and below boiling."
        if self.low_degc is None and self.below_boiling_k is None and self.high_degc is None:
            return "Its band is open on both sides."
        if None not in (self.low_degc, self.high_degc) and self.low_degc >= self.high_degc:  # type: ignore[operator]
            return f"Its band runs from {self.low_degc:g} down to {self.high_degc:g} degC."
        if self.least_s < 0.0 or (self.least_s == 0.0 and self.longest_s is None):
            return f"A least time of {self.least_s:g} s asks for nothing."
        if self.longest_s is not None and self.longest_s < max(self.least_s, 1e-9):
            return (
                f"Its longest time, {self.longest_s:g} s, is below its least, {self.least_s:g} s."
            )
        return ""


@dataclass(frozen=True, slots=True)
class Unusable:
    """A span in which no reading may be used or joined across.

    Attributes:
        start_s: Start [s since 1970 UTC].
        end_s: End, not before the start [s since 1970 UTC].
        reason: Why: "clock step", "probe lifted", "sensor fault" …
        time_uncertain: The clock is in doubt: more time may have passed than it says.
    """

    start_s: float
    end_s: float
    reason: str
    time_uncertain: bool = False


@dataclass(frozen=True, slots=True)
class Gap:
    """A time without usable readings.

    Attributes:
        start_s: Start [s since 1970 UTC].
        length_s: Length [s].
        lowest_degc: The lowest value it could hide; None without a reading at either end [degC].
        highest_degc: The highest value it could hide; None likewise [degC].
        bridged: It counts as inside the band.
        reason: Why there are none, if known.
    """

    start_s: float
    length_s: float
    lowest_degc: float | None
    highest_degc: float | None
    bridged: bool
    reason: str


@dataclass(frozen=True, slots=True)
class Excursion:
    """The value furthest outside the band.

    Attributes:
        value_degc: The value, lag undone where it is known [degC].
        time_s: When [s since 1970 UTC].
        outside_k: How far outside [K].
    """

    value_degc: float
    time_s: float
    outside_k: float


@dataclass(frozen=True, slots=True)
class Margin:
    """By how much a hold was kept, or missed if negative.

    Attributes:
        temperature: How much further inward the band could lie with the least time still kept,
            by the best values [K].
        time: Time credited beyond the least [s].
    """

    temperature: Result
    time: Quantity


@dataclass(frozen=True, slots=True)
class HoldResult:
    """What became of a hold.

    Attributes:
        hold: Its name.
        required: What was asked for, in words.
        verdict: Met, not met, not shown, or running.
        basis: Quality or safety.
        started_s: When its clock started; None if it has not [s since 1970 UTC].
        ended_s: When it ended; None before that [s since 1970 UTC].
        held_s: Time credited inside the band, all stretches together [s].
        longest_unbroken_s: The longest credited stretch [s].
        possible_s: The longest time it could have been, as far as the readings tell; stretch or
            sum as the hold asks [s].
        reached_s: When the least time was reached; None if it never was [s since 1970 UTC].
        entered_s: First entry into the band by the best values [s since 1970 UTC].
        left_s: Last exit; None if it was never left or still is inside [s since 1970 UTC].
        gaps: Times without usable readings.
        gap_s: Their length together [s].
        worst: The value furthest outside the band, None if none is.
        margin: By how much, None if there is nothing to compare.
        evidence: What the verdict rests on, a sentence each.
    """

    hold: str
    required: str
    verdict: Verdict
    basis: Basis
    started_s: float | None = None
    ended_s: float | None = None
    held_s: float = 0.0
    longest_unbroken_s: float = 0.0
    possible_s: float = 0.0
    reached_s: float | None = None
    entered_s: float | None = None
    left_s: float | None = None
    gaps: tuple[Gap, ...] = ()
    gap_s: float = 0.0
    worst: Excursion | None = None
    margin: Margin | None = None
    evidence: tuple[str, ...] = ()


def required_text(spec: HoldSpec) -> str:
    """Return what a hold asks for, in words.

    Args:
        spec: The hold; temperatures [degC], times [s].

    Returns:
        One phrase, times in minutes and seconds.

    Source:
        Definition.

    Example:
        >>> required_text(HoldSpec("stand", 900.0, low_degc=65.0, start="cover", end="ladle"))
        '65.0 degC or above for at least 15 min, unbroken, from cover to ladle (safety)'
    """
    if spec.below_boiling_k is not None:
        low = f"{spec.below_boiling_k:.1f} K below the local boiling point"
    else:
        low = "" if spec.low_degc is None else f"{spec.low_degc:.1f} degC"
    if spec.high_degc is None:
        band = f"{low} or above"
    else:
        band = (
            f"{low} to {spec.high_degc:.1f} degC" if low else f"{spec.high_degc:.1f} degC or below"
        )
    times = [f"at least {duration_text(spec.least_s)}"] if spec.least_s else []
    if spec.longest_s is not None:
        times.append(f"at most {duration_text(spec.longest_s)}")
    start = "the first entry into it" if spec.start == BAND else spec.start
    until = f" to {spec.end}" if spec.end else ""
    whole = "unbroken" if spec.unbroken else "added up"
    return f"{band} for {' and '.join(times)}, {whole}, from {start}{until} ({spec.basis})"


def duration_text(seconds: float) -> str:
    """Return a length of time in hours, minutes and seconds.

    Args:
        seconds: The length [s].

    Returns:
        Words, to the whole second, or to a tenth below ten seconds.

    Source:
        Definition.

    Example:
        >>> duration_text(0.4), duration_text(900.0), duration_text(3725.0), duration_text(-90.0)
        ('0.4 s', '15 min', '1 h 2 min 5 s', '-1 min 30 s')
    """
    sign, seconds = ("-", -seconds) if seconds < 0 else ("", seconds)
    if seconds < 9.95:
        return f"{sign}{seconds:.1f} s"
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    parts = [f"{n} {unit}" for n, unit in ((hours, "h"), (minutes, "min"), (rest, "s")) if n]
    return sign + " ".join(parts)
