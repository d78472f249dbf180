# SPDX-License-Identifier: MIT
"""The sections of the configuration file, one frozen model for each.

Imports the ground, the decoders and pydantic; opens nothing. Checks that need two keys stand at
the later key, so that all faults of a file are found in one pass.
"""

from __future__ import annotations

import re
import zoneinfo
from pathlib import PurePosixPath, PureWindowsPath
from typing import Annotated, Literal
from urllib.parse import urlsplit

from pydantic import BaseModel, ConfigDict, Field, SecretStr, ValidationInfo, field_validator

from collector.frames.names import name_fault

LOOPBACK = ("127.0.0.1", "::1", "localhost")
_HEADER_TEXT = re.compile(r"[!-~]+", re.ASCII)
EnvironmentName = Annotated[str, Field(pattern=r"^[A-Za-z_][A-Za-z0-9_]*$")]


class Section(BaseModel):
    """What all sections share: frozen, no unknown key, no silent change of type."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", strict=True, validate_default=True, allow_inf_nan=False
    )


def series_name(name: str) -> str:
    """Return the name of a series, or raise ValueError with what is wrong with it."""
    fault = name_fault(name)
    if fault:
        raise ValueError(fault)
    return name


def variable_is_set(name: str | None, info: ValidationInfo) -> str | None:
    """Return the name of an environment variable, or raise ValueError if it isn't set."""
    environ = (info.context or {}).get("environ")
    if name is not None and environ is not None and not environ.get(name):
        raise ValueError(f"the environment variable {name} is not set")
    return name


def secret(given: object, info: ValidationInfo, key: str) -> SecretStr | None:
    """Return the secret whose variable is named at `key`; it is never taken from the file."""
    if given is not None:
        raise ValueError(f"a secret isn't kept in the file; name its variable in {key}")
    name = info.data.get(key)
    environ = (info.context or {}).get("environ")
    return SecretStr(environ[name]) if name is not None and environ is not None else None


def _under_data_folder(text: str) -> str:
    posix, windows = PurePosixPath(text), PureWindowsPath(text)
    if not posix.name or posix.is_absolute() or windows.drive or ".." in windows.parts:
        raise ValueError("it must be a file name inside the data folder")
    return text


class Kitchen(Section):
    """The place, for times, the boiling point and heat losses."""

    name: str = Field(default="Kitchen", min_length=1, max_length=80)
    zone: str = "UTC"
    altitude_m: float | None = Field(default=None, ge=-500, le=6000)
    pressure_hpa: float | None = Field(default=None, ge=450, le=1100)
    room_temperature_degc: float = Field(default=20.0, ge=-20, le=60)

    @field_validator("zone")
    @classmethod
    def _zone_exists(cls, zone: str) -> str:
        try:
            zoneinfo.ZoneInfo(zone)
        except (KeyError, OSError, ValueError) as error:
            raise ValueError("there is no such time zone; write it like Europe/Paris") from error
        return zone


class Alarms(Section):
    """When an alarm is raised, where the maker may choose."""

    lead_s: float = Field(default=60.0, gt=0, le=3600)
    over_target_k: float = Field(default=2.0, ge=0.5, le=20)
    edge_k: float = Field(default=1.0, ge=0.2, le=10)
    silent_h: float = Field(default=12.0, ge=1, le=168)
    disk_low_mb: float = Field(default=500.0, ge=50, le=100_000)
    disk_low_percent: float = Field(default=5.0, ge=0, le=50)
    forward_behind_min: float = Field(default=10.0, ge=2, le=10_080)


class HandsFree(Section):
    """What is done without anybody being asked.

    `when_heated` says what when an idle pot begins to heat: `join` the one batch that is planned or
    soaking for it, else ask; always `ask`; or `off`.
    """

    when_heated: Literal["join", "ask", "off"] = "join"


class Store(Section):
    """Where readings are kept."""

    kind: Literal["sqlite"] = "sqlite"
    file: str = "readings.sqlite3"

    _inside = field_validator("file")(_under_data_folder)


class Replay(Section):
    """A file of readings that is played again, as if it came from an instrument."""

    file: str = Field(min_length=1)
    series: str | None = None
    speed: float = Field(default=1.0, gt=0, le=10_000)

    @field_validator("series")
    @classmethod
    def _series_name(cls, series: str | None) -> str | None:
        return series if series is None else series_name(series)


class SimulatedPot(Section):
    """A pot that exists only in the computer; `options` go to the simulation as they are."""

    name: str = Field(min_length=1, max_length=80)
    seed: int = Field(default=0, ge=0)
    series_prefix: str = "simulated"
    speed: float = Field(default=1.0, gt=0, le=1000)
    options: dict[str, bool | int | float | str] = {}

    _prefix_name = field_validator("series_prefix")(series_name)


class Forward(Section):
    """A central engine that committed readings are shipped to."""

    url: str = Field(pattern=r"^https?://[^\s/]+")
    token_env: EnvironmentName
    org: str = Field(min_length=1)
    bucket: str = Field(min_length=1)
    site: str | None = Field(default=None, min_length=1, max_length=80)
    readings_per_write: int = Field(default=5000, ge=1, le=50_000)
    token: SecretStr | None = Field(default=None, exclude=True, repr=False)

    _token_set = field_validator("token_env")(variable_is_set)

    @field_validator("url")
    @classmethod
    def _url_is_plain(cls, url: str) -> str:
        try:
            parts = urlsplit(url)
            known = bool(parts.hostname) and parts.port != 0
        except ValueError:  # no port number, or an address in broken brackets
            known = False
        if any(mark in url for mark in "@?#"):
            raise ValueError("it must be an address alone: no name, no password, no query")
        if not known:
            raise ValueError("there is no host or port that could be reached in it")
        return url

    @field_validator("token", mode="before")
    @classmethod
    def _token(cls, given: object, info: ValidationInfo) -> SecretStr | None:
        token = secret(given, info, "token_env")
        if token is not None and not _HEADER_TEXT.fullmatch(token.get_secret_value()):
            raise ValueError(
                "its variable must hold the token alone: no spaces, no line ends, ASCII only"
            )
        return token

    @property
    def on_this_machine(self) -> bool:
        """Whether nothing goes over a network."""
        return urlsplit(self.url).hostname in LOOPBACK

    @property
    def warnings(self) -> tuple[str, ...]:
        """What works, but may leak one day."""
        if self.url.startswith("https:") or self.on_this_machine:
            return ()
        return ("url: the token and the readings travel in clear. Use https.",)
