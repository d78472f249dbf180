# SPDX-License-Identifier: MIT
"""The one family of errors. The ground: imports nothing of the project.

CurdwrightError
├── FrameError (ValueError)            a frame that can't be read; kept as a bad reading
├── UnitError (ValueError)             a unit that isn't known, or of the wrong kind
├── ConfigError (ValueError)           every fault of a configuration at once
├── StoreError (OSError)               the readings file can't be used
│   └── StoreVersionError              it was written by a newer version
├── InstrumentLostError (ConnectionError)   a port or broker went away; it is tried again
├── EngineLostError (ConnectionError)       the central engine went away; it is tried again
├── ProcessError (ValueError)          a calculation was given what makes no sense
├── RecordError (ValueError)           a record that can't be accepted
│   ├── UnknownRecordError (LookupError)    no such batch, event, series …
│   └── RecordConflictError            the same id with another body, or a state that forbids it
└── LayoutError (RuntimeError)         another distribution shadows one of our packages

Every message says what happened with value and unit, where, and what to do.
"""

from __future__ import annotations

from collections.abc import Sequence


class CurdwrightError(Exception):
    """The base of every error that this project raises on purpose.

    Attributes:
        what: What happened, with value and unit.
        where: Port, series, batch, key … that it concerns; may be empty.
        do: What the reader can do about it; may be empty.
    """

    def __init__(self, what: str, *, where: str = "", do: str = "") -> None:
        self.what = what
        self.where = where
        self.do = do
        super().__init__(what, where, do)

    def __str__(self) -> str:
        text = f"{self.where}: {self.what}" if self.where else self.what
        return f"{text} {self.do}" if self.do else text


class FrameError(CurdwrightError, ValueError):
    """A frame that can't be read."""


class UnitError(CurdwrightError, ValueError):
    """A unit that isn't known, or is of the wrong kind."""


class ConfigError(CurdwrightError, ValueError):
    """A configuration with one or more faults, all of them told at once.

    Attributes:
        faults: One line for each fault, starting with its key path.
    """

    def __init__(self, faults: Sequence[str], *, where: str = "") -> None:
        self.faults = tuple(faults)
        count = len(self.faults)
        what = f"{count} fault{'s' if count != 1 else ''}:\n  " + "\n  ".join(self.faults)
        super().__init__(what, where=where)

    def __reduce__(self) -> tuple[object, ...]:
        return (_config_error, (self.faults, self.where))


def _config_error(faults: Sequence[str], where: str) -> ConfigError:
    return ConfigError(faults, where=where)


class StoreError(CurdwrightError, OSError):
    """The readings file can't be opened or written."""


class StoreVersionError(StoreError):
    """The file was written by a newer version of the program."""


class InstrumentLostError(CurdwrightError, ConnectionError):
    """A port or a broker went away."""


class EngineLostError(CurdwrightError, ConnectionError):
    """The central engine can't be reached, or refuses what it is sent.

    Attributes:
        status: The HTTP status with which it refused, None if it didn't answer.
    """

    def __init__(
        self, what: str, *, where: str = "", do: str = "", status: int | None = None
    ) -> None:
        super().__init__(what, where=where, do=do)
        self.status = status


class ProcessError(CurdwrightError, ValueError):
    """A calculation was given what makes no sense."""


class RecordError(CurdwrightError, ValueError):
    """A record that can't be accepted."""


class UnknownRecordError(RecordError, LookupError):
    """No such batch, event, series, recipe or pot."""


class RecordConflictError(RecordError):
    """The same id with another body, or a state that forbids it."""


class LayoutError(CurdwrightError, RuntimeError):
    """Another distribution shadows one of our packages."""
