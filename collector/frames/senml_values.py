# SPDX-License-Identifier: MIT
"""What one resolved SenML record says, into a reading with its quality. Pure."""

from __future__ import annotations

import base64
import math
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal

from collector.frames.instants import LATEST_MS, milliseconds, time_doubt
from collector.frames.names import plain, shown
from collector.frames.senml_units import PRIMARY, SECONDARY, SPELT_OUT, to_primary
from collector.readings import Quality, Reading, TimeSource

RELATIVE_BELOW_S = Decimal(2**28)  # RFC 8428 section 4.5.3; 2^28 s is 1978-07-04T21:24:16Z
_SECONDARY_FEATURE = 16  # 2^4


@dataclass(frozen=True, slots=True)
class Said:
    """One record with the base fields applied.

    Attributes:
        name: Base name and name.
        unit: Its unit, else the base unit, else "".
        value: Base value plus value [unit]; None if it has no number.
        other: A text, a boolean or base64url data instead of a number.
        data: `other` is base64url data.
        sum: Base sum plus sum [unit x s], None without either.
        time: Base time plus time [s], None without either.
        version: Of the pack.
        boot: The instrument's boot id, if sent.
        sequence: Its running number, if sent.
    """

    name: str
    unit: str
    value: Decimal | None
    other: str | bool | None
    data: bool
    sum: Decimal | None
    time: Decimal | None
    version: int
    boot: str | None
    sequence: int | None


def reading_of(said: Said, now_ms: int) -> Reading:
    """Return the reading that a resolved record is.

    Args:
        said: The record.
        now_ms: The time of arrival [ms since 1970 UTC].

    Returns:
        A good or suspect reading of a number, or of a boolean as 0 or 1; a bad one, with what was
        said, of anything else.
    """
    time_ms, source, doubts = _time(said.time, now_ms)
    value, unit, unit_doubt = _in_primary_unit(said)
    if unit_doubt:
        doubts.append(unit_doubt)
    quality = Quality.SUSPECT if doubts else Quality.GOOD
    number = float(value) if value is not None else None
    if isinstance(said.other, bool):
        number = float(said.other)
    if number is None or not math.isfinite(number):
        doubts.insert(0, _no_number(said))
        number, quality = None, Quality.BAD
    return Reading(
        series=said.name,
        value=number,
        unit=unit,
        time_ms=time_ms,
        time_source=source,
        arrival_ms=now_ms,
        quality=quality,
        reason="; ".join(doubts),
        boot=said.boot,
        sequence=said.sequence,
    )


def _time(time_s: Decimal | None, now_ms: int) -> tuple[int, TimeSource, list[str]]:
    if time_s is None:
        return now_ms, TimeSource.ARRIVAL, []
    if time_s >= RELATIVE_BELOW_S:
        time_ms = milliseconds(time_s)
    elif abs(time_s) < RELATIVE_BELOW_S * 1000:
        time_ms = now_ms + int((time_s * 1000).to_integral_value(ROUND_HALF_EVEN))
    else:
        time_ms = None
    if time_ms is None or not 0 <= time_ms <= LATEST_MS:
        doubt = f"time {shown(time_s)} s lies outside 1970 to 9999, time of arrival used"
        return now_ms, TimeSource.ARRIVAL, [doubt]
    doubt = time_doubt(time_ms, now_ms)
    return time_ms, TimeSource.INSTRUMENT, [doubt] if doubt else []


def _in_primary_unit(said: Said) -> tuple[Decimal | None, str, str]:
    unit = said.unit
    number_wanted = said.other is None
    if unit in PRIMARY:
        if unit in SPELT_OUT:
            word = SPELT_OUT[unit]
            return said.value, word, f"in SenML {unit} is the {word}; degree Celsius is Cel"
        return said.value, unit, ""
    if unit in SECONDARY:
        if not (said.version > 10 and said.version & _SECONDARY_FEATURE):
            return said.value, unit, f"secondary unit {unit!r} without bver 26"
        if said.value is None:
            return None, unit, ""
        value, primary = to_primary(said.value, unit)
        return value, SPELT_OUT.get(primary, primary), ""
    if not unit:
        return said.value, "", "no unit" if number_wanted else ""
    doubt = f"unknown unit {shown(unit)}: send a SenML symbol such as Cel or kg"
    return said.value, plain(unit), doubt


def _no_number(said: Said) -> str:
    if isinstance(said.other, str) and said.data:
        raw = base64.urlsafe_b64decode(said.other + "=" * (-len(said.other) % 4))
        return f"not a number: {len(raw)} bytes of data, {raw[:16].hex(' ')}"
    if said.other is not None:
        return f"not a number: text {shown(said.other)}"
    if said.value is not None:
        return f"the sum with the base value is too large: {shown(said.value)}"
    return f"a sum without a value: {shown(said.sum)} x s"
