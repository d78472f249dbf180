# SPDX-License-Identifier: MIT
"""The sections of the configuration that say how somebody is called: contact, sounders, lamps.

Imports the ground and pydantic; opens nothing. Routes with addresses are kept in the records, since
addresses hold secrets.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field, SecretStr, ValidationInfo, field_validator, model_validator

from collector.config_sections import (
    LOOPBACK,
    EnvironmentName,
    Section,
    secret,
    variable_is_set,
)

_LONGEST_BYTES = 64


class Notices(Section):
    """What holds for all notices.

    `contact` is whom a push service may write to when this kitchen's messages make trouble.
    """

    contact: str = Field(
        default="mailto:nobody@example.org",
        pattern=r"^(mailto:[^@\s]+@[^@\s]+\.[^@\s]+|https://[^\s/]+\.[^\s]+)$",
        max_length=200,
    )


class Sounder(Section):
    """A wired sounder or lamp: on while an alarm is unacknowledged, off when none is.

    It hangs on a serial port, or listens at a broker. `on` and `off` are the bytes that it is told;
    they are told again every `repeat_s`, so that one that was without power finds its state. With
    `longest_min` above 0 an alarm sounds no longer than that; 0 is until it is acknowledged.
    """

    name: str = Field(min_length=1, max_length=80)
    port: str | None = Field(default=None, min_length=1)
    baud: int = Field(default=9600, ge=50, le=4_000_000)
    dtr: bool = False
    host: str | None = Field(default=None, min_length=1)
    broker_port: int = Field(default=1883, ge=1, le=65535)
    topic: str | None = Field(default=None, min_length=1, pattern=r"^[^+#\x00]+$")
    username: str | None = Field(default=None, min_length=1)
    password_env: EnvironmentName | None = None
    on: str = "A\n"
    off: str = "a\n"
    repeat_s: float = Field(default=10.0, ge=1, le=3600)
    longest_min: float = Field(default=0.0, ge=0, le=1440)
    least_priority: Literal["low", "medium", "high"] = "medium"
    password: SecretStr | None = Field(default=None, exclude=True, repr=False)

    _password_set = field_validator("password_env")(variable_is_set)

    @field_validator("on", "off")
    @classmethod
    def _bytes(cls, text: str) -> str:
        if not text or len(text) > _LONGEST_BYTES or max(map(ord, text)) > 0xFF:
            raise ValueError(
                f"it must be 1 to {_LONGEST_BYTES} characters from \\u0000 to \\u00ff, one a byte"
            )
        return text

    @field_validator("password", mode="before")
    @classmethod
    def _password(cls, given: object, info: ValidationInfo) -> SecretStr | None:
        return secret(given, info, "password_env")

    @model_validator(mode="after")
    def _one_of_two(self) -> Sounder:
        if (self.port is None) == (self.host is None):
            raise ValueError("give either port (a serial line) or host and topic (a broker)")
        if (self.host is None) != (self.topic is None):
            raise ValueError("host and topic belong together")
        if self.on == self.off:
            raise ValueError("on and off must differ")
        return self

    @property
    def on_bytes(self) -> bytes:
        """What is told while an alarm is unacknowledged."""
        return self.on.encode("latin-1")

    @property
    def off_bytes(self) -> bytes:
        """What is told when none is."""
        return self.off.encode("latin-1")

    @property
    def warnings(self) -> tuple[str, ...]:
        """What works, but may leak one day."""
        if self.password_env is None or self.host in LOOPBACK:
            return ()
        return ("host: the password travels in clear to another machine",)
