# SPDX-License-Identifier: MIT
"""The sections of the configuration that name instruments: serial ports, brokers, their topics.

Imports the ground, the decoders and pydantic; opens nothing. A check that needs two keys stands at
the later key, so that all faults of a file are found in one pass.
"""

from __future__ import annotations

import re
from typing import Annotated, Literal

from pydantic import Field, SecretStr, ValidationInfo, field_validator

from collector.config_sections import (
    LOOPBACK,
    EnvironmentName,
    Section,
    secret,
    series_name,
    variable_is_set,
)
from collector.frames.factory import Choice, Payload, decoder
from collector.frames.lines import LINE_FORMS, Weighing, compile_expression
from collector.frames.names import template_fault
from collector.frames.onewire import FalseReadingGuard, Probe
from collector.frames.pointer import TimeForm, parse_pointer
from collector.frames.protocol import Decoder
from collector.units import kind_of

_PLAIN_PORT = re.compile(r"/dev/tty(USB|ACM)[0-9]+")
_POINTERS = ("value_pointer", "unit_pointer", "time_pointer", "boot_pointer", "sequence_pointer")


def _unit(unit: str | None) -> str | None:
    if unit is not None and kind_of(unit) is None:
        raise ValueError("the unit is not known; use Cel, degF, K, kg, g, lb or oz")
    return unit


class SerialLine(Section):
    """One serial port and what it says."""

    port: str = Field(min_length=1)
    series: str
    unit: str | None = None
    pattern: str | None = None
    expression: str | None = None
    terminator: str | None = Field(default=None, min_length=1, max_length=4)
    baud: int = Field(default=9600, ge=50, le=4_000_000)
    bytesize: Literal[5, 6, 7, 8] = 8
    parity: Literal["N", "E", "O", "M", "S"] = "N"
    stopbits: float = 1
    mode: Literal["continuous", "polled"] = "continuous"
    poll: str | None = Field(default=None, min_length=1)
    poll_interval_s: float = Field(default=1.0, gt=0, le=3600)
    silence_s: float = Field(default=1.0, gt=0, le=3600)
    patience_s: float = Field(default=10.0, gt=0, le=86_400)
    dtr: bool = False
    ignore_first_s: float = Field(default=0.0, ge=0, le=600)
    decimal_comma: bool = False
    stable_status: str = Field(default="ST", max_length=16)
    weighing: Weighing = "any"
    display_step: float | None = Field(default=None, gt=0)
    probe: Probe | None = None

    _series_name = field_validator("series")(series_name)
    _unit_known = field_validator("unit")(_unit)

    @field_validator("pattern")
    @classmethod
    def _pattern_known(cls, pattern: str | None) -> str | None:
        if pattern is not None and pattern not in LINE_FORMS:
            raise ValueError(f"it must be one of {', '.join(LINE_FORMS)}")
        return pattern

    @field_validator("expression")
    @classmethod
    def _one_of_two(cls, expression: str | None, info: ValidationInfo) -> str | None:
        if "pattern" not in info.data:  # it has a fault of its own
            return expression
        if (expression is None) == (info.data["pattern"] is None):
            raise ValueError("give either pattern or expression, one of the two")
        if expression is not None:
            compile_expression(expression)
        return expression

    @field_validator("terminator")
    @classmethod
    def _ascii(cls, terminator: str | None) -> str | None:
        if terminator is not None and not terminator.isascii():
            raise ValueError("it must be made of ASCII characters")
        return terminator

    @field_validator("stopbits")
    @classmethod
    def _stop(cls, stopbits: float) -> float:
        if stopbits not in (1, 1.5, 2):
            raise ValueError("it must be 1, 1.5 or 2")
        return stopbits

    @field_validator("poll")
    @classmethod
    def _poll_when_polled(cls, poll: str | None, info: ValidationInfo) -> str | None:
        if info.data.get("mode") == "polled" and poll is None:
            raise ValueError('mode = "polled" needs the text that asks for a reading')
        if info.data.get("mode") == "continuous" and poll is not None:
            raise ValueError('it is used only with mode = "polled"')
        if poll is not None and not poll.isascii():
            raise ValueError("it must be made of ASCII characters")
        return poll

    @property
    def terminator_bytes(self) -> bytes | None:
        """The line end, None for CR, LF and CR LF alike."""
        return self.terminator.encode("ascii") if self.terminator else None

    @property
    def poll_bytes(self) -> bytes | None:
        """What is sent to ask for a reading."""
        return self.poll.encode("ascii") if self.poll else None

    @property
    def warnings(self) -> tuple[str, ...]:
        """What works, but may fail one day."""
        if _PLAIN_PORT.fullmatch(self.port) is None:
            return ()
        return (
            f"port: {self.port} may name another instrument after replugging. "
            "Use its name under /dev/serial/by-id/.",
        )

    def decoder(self) -> Decoder:
        """Return the decoder of this port's lines."""
        return decoder(
            Choice(
                payload="line",
                series=self.series,
                unit=self.unit,
                pattern=self.pattern,
                expression=self.expression,
                decimal_comma=self.decimal_comma,
                stable_status=self.stable_status,
                weighing=self.weighing,
            )
        )

    def guard(self) -> FalseReadingGuard | None:
        """Return the guard against this probe's known false readings, None without `probe`."""
        return FalseReadingGuard(self.probe) if self.probe else None


class Topic(Section):
    """What is subscribed to, and what its messages hold."""

    filter: str = Field(min_length=1, max_length=1024)
    payload: Payload = "senml"
    series: str | None = None
    unit: str | None = None
    decimal_comma: bool = False
    value_pointer: str | None = None
    unit_pointer: str | None = None
    time_pointer: str | None = None
    time_form: TimeForm = "rfc3339"
    boot_pointer: str | None = None
    sequence_pointer: str | None = None
    probe: Probe | None = None

    @field_validator("filter")
    @classmethod
    def _filter(cls, text: str) -> str:
        levels = text.split("/")
        if "\x00" in text or text.startswith("$share/"):
            raise ValueError("a shared subscription or a NUL can't be used")
        if any("#" in level and level != "#" for level in levels) or "#" in levels[:-1]:
            raise ValueError("# may stand only alone and at the end")
        if any("+" in level and level != "+" for level in levels):
            raise ValueError("+ may stand only alone between two /")
        return text

    @field_validator("series", "unit", "decimal_comma")
    @classmethod
    def _not_with_senml(cls, value: str | bool | None, info: ValidationInfo) -> str | bool | None:
        if info.data.get("payload") == "senml" and value:
            raise ValueError(f"a SenML pack carries its own {info.field_name}")
        return value

    @field_validator("series")
    @classmethod
    def _template(cls, series: str | None) -> str | None:
        fault = template_fault(series) if series is not None else None
        if fault:
            raise ValueError(fault)
        return series

    _unit_known = field_validator("unit")(_unit)

    @field_validator(*_POINTERS)
    @classmethod
    def _pointer(cls, pointer: str | None, info: ValidationInfo) -> str | None:
        payload = info.data.get("payload", "json")
        if pointer is None:
            if info.field_name == "value_pointer" and payload == "json":
                raise ValueError('payload = "json" needs a pointer to the value, such as "/temp"')
            return None
        if payload != "json":
            raise ValueError('it is used only with payload = "json"')
        if info.field_name == "unit_pointer" and info.data.get("unit") is not None:
            raise ValueError("give either unit or unit_pointer, one of the two")
        parse_pointer(pointer)
        return pointer

    @property
    def warnings(self) -> tuple[str, ...]:
        """What works, but may mislead one day."""
        wild = "+" in self.filter or self.filter.endswith("#")
        if self.series is None or "{" in self.series or not wild:
            return ()
        return (
            f"series: every topic that fits {self.filter!r} becomes the one series "
            f"{self.series!r}. Use {{topic}} or {{1}}, {{2}} … in it.",
        )

    def decoder(self) -> Decoder:
        """Return the decoder of this topic's messages."""
        return decoder(
            Choice(
                payload=self.payload,
                series=self.series or "{topic}",
                unit=self.unit,
                decimal_comma=self.decimal_comma,
                value_pointer=self.value_pointer,
                unit_pointer=self.unit_pointer,
                time_pointer=self.time_pointer,
                time_form=self.time_form,
                boot_pointer=self.boot_pointer,
                sequence_pointer=self.sequence_pointer,
            )
        )

    def guard(self) -> FalseReadingGuard | None:
        """Return the guard against this probe's known false readings, None without `probe`."""
        return FalseReadingGuard(self.probe) if self.probe else None


class Broker(Section):
    """An MQTT broker, and the topics to take readings from."""

    host: str = Field(default="127.0.0.1", min_length=1)
    port: int = Field(default=1883, ge=1, le=65535)
    client_id: str = Field(min_length=1, max_length=128, pattern=r"^[ -~]+$")
    username: str | None = Field(default=None, min_length=1)
    password_env: EnvironmentName | None = None
    password: SecretStr | None = Field(default=None, exclude=True, repr=False)
    tls: bool = False
    tls_ca_file: str | None = Field(default=None, min_length=1)
    session_expiry_s: int = Field(default=604_800, ge=60, le=4_294_967_295)
    receive_maximum: int = Field(default=32, ge=1, le=65_535)
    keepalive_s: int = Field(default=30, ge=5, le=3600)
    status_topic: str | None = Field(
        default=None, min_length=1, max_length=1024, pattern=r"^[^+#\x00]+$"
    )
    topics: Annotated[tuple[Topic, ...], Field(strict=False)]

    @field_validator("topics")
    @classmethod
    def _some_topic(cls, topics: tuple[Topic, ...]) -> tuple[Topic, ...]:
        if not topics:
            raise ValueError("give at least one [[mqtt.topics]]")
        return topics

    _password_set = field_validator("password_env")(variable_is_set)

    @field_validator("password", mode="before")
    @classmethod
    def _password(cls, given: object, info: ValidationInfo) -> SecretStr | None:
        return secret(given, info, "password_env")

    @field_validator("tls_ca_file")
    @classmethod
    def _only_with_tls(cls, file: str | None, info: ValidationInfo) -> str | None:
        if file is not None and info.data.get("tls") is False:
            raise ValueError("it is used only with tls = true")
        return file

    @property
    def warnings(self) -> tuple[str, ...]:
        """What works, but may mislead or leak one day."""
        found = [f"topics[{n}].{text}" for n, t in enumerate(self.topics) for text in t.warnings]
        if self.password_env and not self.tls and self.host not in LOOPBACK:
            found.insert(0, f"tls: the password travels to {self.host} in clear. Set tls = true.")
        return tuple(found)
