# SPDX-License-Identifier: MIT
"""The decoder that a line of configuration asks for. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from collector.errors import FrameError
from collector.frames.lines import LineDecoder, Weighing
from collector.frames.number import NumberDecoder
from collector.frames.onewire import ScratchpadDecoder
from collector.frames.pointer import PointerDecoder, TimeForm
from collector.frames.protocol import Decoder
from collector.frames.senml import SenmlDecoder

Payload = Literal["senml", "number", "json", "scratchpad"]


@dataclass(frozen=True, slots=True)
class Choice:
    """What a configuration may say of a decoder; each kind takes what it needs.

    Attributes:
        payload: A kind of message, or "line" for lines of a serial port.
        series: A name, or a template made of the topic.
        unit: The unit that the instrument is set to.
        decimal_comma: It writes a comma for the decimal point.
        pattern: For lines: a known layout.
        expression: For lines: the user's own.
        stable_status: For an expression: what its group `status` says at rest.
        weighing: For lines that say it: gross or net, if only one is wanted.
        value_pointer: For json, as the other pointers: where the value is.
        unit_pointer: Where the unit is.
        time_pointer: Where the time is.
        time_form: How it is written.
        boot_pointer: Where the boot id is.
        sequence_pointer: Where the running number is.
    """

    payload: Payload | Literal["line"]
    series: str = "{topic}"
    unit: str | None = None
    decimal_comma: bool = False
    pattern: str | None = None
    expression: str | None = None
    stable_status: str = "ST"
    weighing: Weighing = "any"
    value_pointer: str | None = None
    unit_pointer: str | None = None
    time_pointer: str | None = None
    time_form: TimeForm = "rfc3339"
    boot_pointer: str | None = None
    sequence_pointer: str | None = None


def decoder(choice: Choice) -> Decoder:
    """Return the decoder that is asked for.

    Args:
        choice: From the configuration.

    Returns:
        A frozen decoder.

    Raises:
        FrameError: Something that this kind needs is missing or can't be used.
    """
    if choice.payload == "senml":
        return SenmlDecoder()
    if choice.payload == "number":
        return NumberDecoder(choice.series, choice.unit, choice.decimal_comma)
    if choice.payload == "scratchpad":
        return ScratchpadDecoder(choice.series)
    if choice.payload == "line":
        return _line(choice)
    return _pointers(choice)


def _line(choice: Choice) -> LineDecoder:
    return LineDecoder(
        series=choice.series,
        unit=choice.unit,
        pattern=choice.pattern or "",
        expression=choice.expression or "",
        decimal_comma=choice.decimal_comma,
        stable_status=choice.stable_status,
        weighing=choice.weighing,
    )


def _pointers(choice: Choice) -> PointerDecoder:
    if choice.value_pointer is None:
        raise FrameError("no pointer to the value.", do='Give one such as "/temperature".')
    return PointerDecoder(
        value_pointer=choice.value_pointer,
        series=choice.series,
        unit=choice.unit,
        unit_pointer=choice.unit_pointer,
        time_pointer=choice.time_pointer,
        time_form=choice.time_form,
        boot_pointer=choice.boot_pointer,
        sequence_pointer=choice.sequence_pointer,
        decimal_comma=choice.decimal_comma,
    )
