# SPDX-License-Identifier: MIT
"""A plain number, with or without its unit, into a reading. Pure: imports only the ground."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from collector.errors import FrameError
from collector.frames.names import name_fault, plain, series_of, shown
from collector.frames.protocol import arrived, unreadable
from collector.readings import Quality, Reading
from collector.units import kind_of

_NUMBER = re.compile(r"[+-]?[0-9]+(?P<fraction>[.,][0-9]+)?(?P<exponent>[eE][+-]?[0-9]{1,4})?")
# A unit holds no digit, so that "0x10" and "1e999" aren't taken for a number with a unit.
_NUMBER_AND_UNIT = re.compile(
    r"(?P<number>[+-]?[0-9]+(?:[.,][0-9]+)*(?:[eE][+-]?[0-9]+)?) *(?P<unit>[^\d\s.,+_-]{1,15})?"
)

# How instruments write a unit -> its SenML symbol or the name in `collector.units`.
_SAID_AS: dict[str, str] = {
    **dict.fromkeys(["C", "°C", "℃", "degC", "celsius"], "Cel"),
    **dict.fromkeys(["F", "°F", "℉", "fahrenheit"], "degF"),
    **dict.fromkeys(["KG", "Kg"], "kg"),
    **dict.fromkeys(["G", "GR", "gr"], "g"),
    **dict.fromkeys(["LB", "lbs", "LBS"], "lb"),
    "OZ": "oz",
    "L": "l",
    "mL": "ml",
}


def unit_symbol(said: str) -> str:
    """Return one spelling for a unit that instruments write in several ways.

    Example:
        >>> unit_symbol("°C"), unit_symbol("KG"), unit_symbol("furlong")
        ('Cel', 'kg', 'furlong')
    """
    return _SAID_AS.get(said, said)


def parse_number(text: str, *, decimal_comma: bool = False) -> float:
    """Return the number that `text` is, and nothing else.

    Args:
        text: Sign, digits, a decimal point and digits, an exponent; the last three may be left out.
        decimal_comma: The instrument writes a comma for the decimal point; then a point is refused.

    Returns:
        A finite number.

    Raises:
        FrameError: It is no number, too large, or its comma or point may mean thousands.
    """
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise FrameError(f"{shown(text)} is not a number.")
    mark = (match["fraction"] or "")[:1]
    if mark == "," and not decimal_comma:
        raise FrameError(
            f"{shown(text)} may be a decimal comma or thousands.",
            do="Set decimal_comma = true if the instrument writes a comma.",
        )
    if mark == "." and decimal_comma:
        raise FrameError(
            f"{shown(text)} has a point, and a decimal comma is set.",
            do="Leave decimal_comma out if the instrument writes a point.",
        )
    value = float(text.replace(",", "."))
    if not math.isfinite(value):
        raise FrameError(f"{shown(text)} is too large for a number.")
    return value


def settle_unit(said: str, configured: str | None) -> tuple[str, Quality, str]:
    """Return the unit of a reading and what it means for its quality.

    Args:
        said: The unit in the frame, "" if there is none.
        configured: The unit that the instrument is set to; None if any is taken.

    Returns:
        The unit, the quality and the reason. Another unit than the configured one is bad: somebody
        changed it at the instrument. A unit that isn't known, or none at all, is suspect.
    """
    unit, fixed = unit_symbol(said), unit_symbol(configured or "")
    if unit and fixed and unit != fixed:
        reason = f"unit changed at the instrument: {shown(said)} instead of {fixed!r}"
        return unit, Quality.BAD, reason
    unit = unit or fixed
    if not unit:
        return "", Quality.SUSPECT, "no unit"
    if kind_of(unit) is None:
        return plain(unit), Quality.SUSPECT, f"unknown unit {shown(unit)}"
    return unit, Quality.GOOD, ""


@dataclass(frozen=True, slots=True)
class NumberDecoder:
    """Decodes a payload such as `82.25` or `82.25 C`.

    Attributes:
        series: A name, or a template made of the topic: {topic}, {1}, {2} …
        unit: The unit; None takes it from the payload.
        decimal_comma: The instrument writes a comma for the decimal point.
    """

    series: str
    unit: str | None = None
    decimal_comma: bool = False

    def decode(self, data: bytes, *, channel: str, arrival_ms: int) -> list[Reading]:
        """Return the one reading; see `Decoder.decode`."""
        series = series_of(self.series, channel)
        fault = name_fault(series)
        if fault:
            return unreadable(channel, fault, data, arrival_ms)
        try:
            text = data.decode("utf-8").strip()
            match = _NUMBER_AND_UNIT.fullmatch(text)
            if match is None:
                raise FrameError(f"{shown(text)} is not a number.")
            value = parse_number(match["number"], decimal_comma=self.decimal_comma)
        except (FrameError, UnicodeDecodeError) as error:
            return unreadable(channel, str(error), data, arrival_ms)
        unit, quality, reason = settle_unit(match["unit"] or "", self.unit)
        return [
            arrived(series, value, unit, arrival_ms, quality=quality, reason=reason, frame=data)
        ]
