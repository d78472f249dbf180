# SPDX-License-Identifier: MIT
"""ASCII lines of scales and probes into readings. Pure: imports only the ground.

The layouts are common practice among bench and platform scales; none is a standard. A line that
doesn't fit its layout as a whole is a bad frame; nothing is guessed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Literal

from collector.errors import FrameError
from collector.frames.line_buffer import CAP_BYTES, Line, LineBuffer
from collector.frames.names import shown
from collector.frames.number import parse_number, settle_unit
from collector.frames.protocol import arrived, unreadable
from collector.readings import Quality, Reading

__all__ = ["CAP_BYTES", "LINE_FORMS", "Line", "LineBuffer", "LineDecoder", "compile_expression"]

Weighing = Literal["any", "gross", "net"]

_NUMBER = r"[0-9]+(?:[.,][0-9]+)?"
_MASS = r"(?:kg|KG|g|G|lbs?|LBS?|oz|OZ)"
_UNIT = r"[^\s0-9+\-.,_]{1,8}"

# Name of a layout -> its expression. Groups: status, mode, sign, value, unit, pounds, ounces.
LINE_FORMS: dict[str, str] = {
    "status-mode-weight-unit": (
        r"(?P<status>ST|US|OL|UL),(?P<mode>GS|NT|TR),(?P<sign>[+-]) *"
        rf"(?:(?P<value>{_NUMBER})|[-=]+) *(?P<unit>{_MASS})?"
    ),
    "reply-state-weight-unit": (
        rf"S (?P<status>[SDI+\-])(?: +(?P<sign>-?)(?P<value>{_NUMBER}) +(?P<unit>{_MASS}))?"
    ),
    "sign-weight-unit": rf"(?P<sign>[+-]) *(?P<value>{_NUMBER}) {{0,3}}(?P<unit>{_MASS})?",
    "pounds-and-ounces": (rf"(?P<sign>[+-]?) *(?P<pounds>[0-9]+) *lb *(?P<ounces>{_NUMBER}) *oz"),
    "number": rf"(?P<sign>[+-]?) *(?P<value>{_NUMBER})",
    "number-unit": rf"(?P<sign>[+-]?) *(?P<value>{_NUMBER}) *(?P<unit>{_UNIT})",
}

_NO_VALUE: dict[str, str] = {
    "OL": "overload", "UL": "underload", "I": "not ready", "+": "overload", "-": "underload",
}  # fmt: skip
_STABLE = {"ST", "S"}
_UNIT_WANTED = {"status-mode-weight-unit"}
_OUNCES_PER_POUND = 16


def compile_expression(expression: str) -> re.Pattern[str]:
    """Return a user's own expression, compiled, once it is known to be of use.

    Args:
        expression: A regular expression that fits a whole line, with the named group `value` and,
            where there is one, `sign`, `unit` and `status`.

    Returns:
        The pattern.

    Raises:
        FrameError: It isn't a regular expression, or it lacks the group `value`.
    """
    try:
        pattern = re.compile(expression, re.ASCII)
    except (re.error, OverflowError, RecursionError) as error:
        raise FrameError(f"the expression can't be read: {error}") from error
    names = set(pattern.groupindex)
    if "value" not in names:
        raise FrameError("the expression needs a group (?P<value>…)")
    unknown = names - {"status", "sign", "value", "unit"}
    if unknown:
        raise FrameError(
            f"the expression has a group {sorted(unknown)[0]!r}",
            do="Known are status, sign, value and unit.",
        )
    return pattern


def _text(data: bytes) -> str:
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        text = data.decode("latin-1")  # the degree sign of older instruments is one byte
    return text.strip(" \t\r\n\x02\x03")


@dataclass(frozen=True, slots=True)
class LineDecoder:
    """Decodes one line of a scale or a probe.

    Attributes:
        series: The series of its readings.
        unit: The unit the instrument is set to; None takes what the line says.
        pattern: One of `LINE_FORMS`; "" with an expression of the user's own.
        expression: A regular expression with the groups of `compile_expression`.
        decimal_comma: The instrument writes a comma for the decimal point.
        stable_status: What the group `status` of an expression says when the load is at rest.
        weighing: Gross or net, if the layout says which and only one is wanted.
    """

    series: str
    unit: str | None = None
    pattern: str = ""
    expression: str = ""
    decimal_comma: bool = False
    stable_status: str = "ST"
    weighing: Weighing = "any"
    _compiled: re.Pattern[str] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if self.pattern and self.pattern not in LINE_FORMS:
            raise FrameError(
                f"the pattern {self.pattern!r} is not known", do=f"Use {', '.join(LINE_FORMS)}."
            )
        compiled = (
            re.compile(LINE_FORMS[self.pattern], re.ASCII)
            if self.pattern
            else compile_expression(self.expression)
        )
        object.__setattr__(self, "_compiled", compiled)

    def decode(self, data: bytes, *, channel: str, arrival_ms: int) -> list[Reading]:
        """Return the one reading of a line; see `Decoder.decode`."""
        text = _text(data)
        match = self._compiled.fullmatch(text)
        if match is None:
            reason = f"the line {shown(text)} doesn't fit {self.pattern or 'the expression'}"
            return unreadable(channel, reason, data, arrival_ms)
        said = {name: part.strip() for name, part in match.groupdict(default="").items()}
        try:
            value, unit, quality, reason = self._judge(said)
        except FrameError as error:
            return unreadable(channel, str(error), data, arrival_ms)
        return [
            arrived(
                self.series, value, unit, arrival_ms, quality=quality, reason=reason, frame=data
            )
        ]

    def _judge(self, said: dict[str, str]) -> tuple[float | None, str, Quality, str]:
        status = said.get("status", "")
        number = said.get("pounds") or said.get("value", "")
        if self.pattern and status in _NO_VALUE:
            return None, self.unit or "", Quality.BAD, _NO_VALUE[status]
        if not number:
            return None, self.unit or "", Quality.BAD, "no value"
        if self.pattern in _UNIT_WANTED and not said["unit"]:
            raise FrameError("the line has no unit.", do="Switch the unit on at the scale.")
        value, unit_said = self._value(said)
        unit, quality, reason = settle_unit(unit_said, self.unit)
        reasons = [reason] if reason else []
        if quality is not Quality.BAD:
            doubts = self._doubts(said)
            reasons = [*doubts, *reasons]
            quality = Quality.SUSPECT if reasons else quality
        return value, unit, quality, "; ".join(reasons)

    def _value(self, said: dict[str, str]) -> tuple[float, str]:
        sign = -1.0 if said.get("sign") == "-" else 1.0
        if "pounds" not in said:
            value = parse_number(said["value"], decimal_comma=self.decimal_comma)
            return sign * value, said.get("unit", "")
        ounces = parse_number(said["ounces"], decimal_comma=self.decimal_comma)
        if ounces >= _OUNCES_PER_POUND:
            raise FrameError(f"{ounces:g} oz beside pounds: an ounce part is below 16.")
        return sign * (parse_number(said["pounds"]) + ounces / _OUNCES_PER_POUND), "lb"

    def _doubts(self, said: dict[str, str]) -> list[str]:
        doubts = []
        status = said.get("status", "")
        if self.pattern:
            moving = bool(status) and status not in _STABLE
            moving = moving or (self.pattern == "sign-weight-unit" and not said["unit"])
        else:
            moving = "status" in said and status != self.stable_status
        if moving:
            doubts.append("not stable")
        mode = said.get("mode", "")
        if mode == "TR":
            doubts.append("a tare, not a load")
        elif self.weighing == "gross" and mode == "NT":
            doubts.append("net, not gross: a tare was set at the scale")
        elif self.weighing == "net" and mode == "GS":
            doubts.append("gross, not net: no tare is set at the scale")
        return doubts
