# SPDX-License-Identifier: MIT
"""One value of a JSON payload into a reading, found by JSON pointers. Pure: the ground only.

Source: RFC 6901 sections 3 to 5 (from memory): "" is the whole document, "/" parts the steps, "~1"
is a slash and "~0" a tilde, an index has no leading zero.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Literal

from collector.errors import FrameError
from collector.frames.instants import milliseconds, rfc3339_ms, time_doubt
from collector.frames.json_text import load_json
from collector.frames.names import name_fault, plain, series_of, shown
from collector.frames.number import parse_number, settle_unit
from collector.frames.protocol import arrived, unreadable
from collector.readings import Quality, Reading, TimeSource

TimeForm = Literal["rfc3339", "s", "ms"]

_INDEX = re.compile(r"0|[1-9][0-9]{0,8}", re.ASCII)
_LONGEST_BOOT = 64


def parse_pointer(pointer: str) -> tuple[str, ...]:
    """Return the steps of a JSON pointer.

    Args:
        pointer: "" or a text that starts with "/".

    Returns:
        The steps, unescaped.

    Raises:
        FrameError: It doesn't start with "/", or a "~" isn't followed by 0 or 1.

    Example:
        >>> parse_pointer("/a~1b/m~0n/0")
        ('a/b', 'm~n', '0')
    """
    if not pointer:
        return ()
    if not pointer.startswith("/"):
        raise FrameError(f"the pointer {shown(pointer)} must start with /")
    if re.search(r"~(?![01])", pointer):
        raise FrameError(f"in the pointer {shown(pointer)}, write ~0 for ~ and ~1 for /")
    steps = pointer[1:].split("/")
    return tuple(step.replace("~1", "/").replace("~0", "~") for step in steps)


def find(document: object, pointer: str) -> object:
    """Return what a JSON pointer points at.

    Args:
        document: What `load_json` gave.
        pointer: The pointer.

    Returns:
        The value there.

    Raises:
        FrameError: There is nothing there.
    """
    here = document
    for step in parse_pointer(pointer):
        if isinstance(here, dict) and step in here:
            here = here[step]
        elif isinstance(here, list) and _INDEX.fullmatch(step) and int(step) < len(here):
            here = here[int(step)]
        else:
            raise FrameError(
                f"nothing is at {shown(pointer)}: step {shown(step)} is missing.",
                do="Check the pointer against a message.",
            )
    return here


@dataclass(frozen=True, slots=True)
class PointerDecoder:
    """Decodes one value of a JSON payload.

    Attributes:
        value_pointer: Where the value is.
        series: A name, or a template made of the topic: {topic}, {1}, {2} …
        unit: The unit; None with a unit pointer or where none is known.
        unit_pointer: Where the unit is.
        time_pointer: Where the time is; without it, the time of arrival is taken.
        time_form: RFC 3339, or seconds or milliseconds since 1970 UTC.
        boot_pointer: Where the instrument's boot id is.
        sequence_pointer: Where its running number is.
        decimal_comma: A value sent as text has a comma for the decimal point.
    """

    value_pointer: str
    series: str = "{topic}"
    unit: str | None = None
    unit_pointer: str | None = None
    time_pointer: str | None = None
    time_form: TimeForm = "rfc3339"
    boot_pointer: str | None = None
    sequence_pointer: str | None = None
    decimal_comma: bool = False

    def decode(self, data: bytes, *, channel: str, arrival_ms: int) -> list[Reading]:
        """Return the one reading; see `Decoder.decode`."""
        series = series_of(self.series, channel)
        fault = name_fault(series)
        if fault:
            return unreadable(channel, fault, data, arrival_ms)
        try:
            document = load_json(data)
            value = self._value(find(document, self.value_pointer))
            said = find(document, self.unit_pointer) if self.unit_pointer is not None else ""
        except FrameError as error:
            return unreadable(channel, str(error), data, arrival_ms)
        if not isinstance(said, str):
            said = shown(said)
        unit, quality, reason = settle_unit(said, self.unit)
        reading = arrived(
            series, value, unit, arrival_ms, quality=quality, reason=reason, frame=data
        )
        return [self._numbered(self._timed(reading, document), document)]

    def _value(self, said: object) -> float:
        if isinstance(said, Decimal):
            return float(said)
        if isinstance(said, str):
            return parse_number(said.strip(), decimal_comma=self.decimal_comma)
        raise FrameError(f"the value is {plain(_json_word(said))}, not a number.")

    def _timed(self, reading: Reading, document: object) -> Reading:
        if self.time_pointer is None:
            return reading
        try:
            time_ms = self._time_ms(find(document, self.time_pointer))
        except FrameError as error:
            return _doubted(reading, f"{error} Time of arrival used.")
        timed = replace(reading, time_ms=time_ms, time_source=TimeSource.INSTRUMENT)
        doubt = time_doubt(time_ms, reading.arrival_ms)
        return _doubted(timed, doubt) if doubt else timed

    def _time_ms(self, said: object) -> int:
        if self.time_form == "rfc3339":
            if not isinstance(said, str):
                raise FrameError(f"the time {plain(_json_word(said))} is not a text.")
            time_ms: int | None = rfc3339_ms(said)
        else:
            if not isinstance(said, Decimal):
                raise FrameError(f"the time {plain(_json_word(said))} is not a number.")
            time_ms = milliseconds(said / 1000 if self.time_form == "ms" else said)
        if time_ms is None or time_ms < 0:
            raise FrameError(f"the time {shown(said)} lies outside 1970 to 9999.")
        return time_ms

    def _numbered(self, reading: Reading, document: object) -> Reading:
        boot: str | None = None
        sequence: int | None = None
        try:
            if self.boot_pointer is not None:
                boot = _boot(find(document, self.boot_pointer))
            if self.sequence_pointer is not None:
                sequence = _sequence(find(document, self.sequence_pointer))
        except FrameError as error:
            return _doubted(reading, str(error))
        return replace(reading, boot=boot, sequence=sequence)


def _doubted(reading: Reading, doubt: str) -> Reading:
    quality = max(reading.quality, Quality.SUSPECT)
    reason = f"{reading.reason}; {doubt}" if reading.reason else doubt
    return replace(reading, quality=quality, reason=reason)


def _boot(said: object) -> str:
    text = said if isinstance(said, str) else str(said) if isinstance(said, Decimal) else ""
    if not text or len(text) > _LONGEST_BOOT or not text.isprintable():
        raise FrameError(f"the boot id {plain(_json_word(said))} can't be used.")
    return text


def _sequence(said: object) -> int:
    whole = isinstance(said, Decimal) and said == said.to_integral_value()
    if not whole or not isinstance(said, Decimal) or not 0 <= said < 2**63:
        raise FrameError(f"the running number {plain(_json_word(said))} can't be used.")
    return int(said)


def _json_word(said: object) -> str:
    if said is None or isinstance(said, bool):
        return "null" if said is None else str(said).lower()
    if isinstance(said, dict | list):
        return "an object" if isinstance(said, dict) else "an array"
    return str(said)
