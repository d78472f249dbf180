# SPDX-License-Identifier: MIT
"""The configuration: one TOML file, read once, frozen; every fault told at once.

Imports the ground, the decoders and pydantic. Reads the file and the environment given to it, and
opens nothing else.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, ValidationError

from collector.config_example import EXAMPLE
from collector.config_faults import cross_faults, fault_lines
from collector.config_instruments import Broker, SerialLine, Topic
from collector.config_notices import Notices, Sounder
from collector.config_sections import (
    Alarms,
    Forward,
    HandsFree,
    Kitchen,
    Replay,
    Section,
    SimulatedPot,
    Store,
)
from collector.errors import ConfigError

__all__ = [
    "EXAMPLE",
    "Alarms",
    "Broker",
    "Config",
    "Forward",
    "HandsFree",
    "Kitchen",
    "Notices",
    "Replay",
    "SerialLine",
    "SimulatedPot",
    "Sounder",
    "Store",
    "Topic",
    "load_config",
]

FILE_NAME = "curdwright.toml"
PATH_VARIABLE = "CURDWRIGHT_CONFIG"


class Config(Section):
    """The whole configuration.

    Attributes:
        kitchen: The place.
        store: Where readings are kept.
        alarms: When an alarm is raised.
        hands_free: What is done without anybody being asked.
        notices: What holds for all notices.
        sounder: Wired sounders and lamps.
        serial: Serial ports.
        mqtt: Brokers with their topics.
        replay: Files that are played again.
        simulated: Pots that exist only in the computer.
        forward: A central engine, None without one.
        data_dir: The folder under which all that is kept lies.
        source: The file that was read, None if there was none.
    """

    kitchen: Kitchen = Kitchen()
    store: Store = Store()
    alarms: Alarms = Alarms()
    hands_free: HandsFree = HandsFree()
    notices: Notices = Notices()
    sounder: Annotated[tuple[Sounder, ...], Field(strict=False)] = ()
    serial: Annotated[tuple[SerialLine, ...], Field(strict=False)] = ()
    mqtt: Annotated[tuple[Broker, ...], Field(strict=False)] = ()
    replay: Annotated[tuple[Replay, ...], Field(strict=False)] = ()
    simulated: Annotated[tuple[SimulatedPot, ...], Field(strict=False)] = ()
    forward: Forward | None = None
    data_dir: Path
    source: Path | None = None

    @property
    def readings_path(self) -> Path:
        """The file of the readings."""
        return self.data_dir / self.store.file

    @property
    def warnings(self) -> tuple[str, ...]:
        """What works now and may fail one day, each with its key path."""
        ports = [f"serial[{n}].{w}" for n, line in enumerate(self.serial) for w in line.warnings]
        brokers = [f"mqtt[{n}].{w}" for n, broker in enumerate(self.mqtt) for w in broker.warnings]
        engine = [f"forward.{w}" for w in self.forward.warnings] if self.forward else []
        sounders = [f"sounder[{n}].{w}" for n, one in enumerate(self.sounder) for w in one.warnings]
        return (*ports, *brokers, *engine, *sounders)


def load_config(
    path: Path | None,
    data_dir: Path,
    *,
    environ: Mapping[str, str] | None = None,
    with_secrets: bool = True,
) -> Config:
    """Return the configuration.

    Args:
        path: The file; None takes the environment's `CURDWRIGHT_CONFIG`, else `curdwright.toml` in
            the data folder, else the defaults.
        data_dir: The folder under which all that is kept lies.
        environ: The environment; None takes the process's own.
        with_secrets: Whether variables that hold secrets must be set and are read.

    Returns:
        The configuration, with secrets filled in.

    Raises:
        ConfigError: The file can't be read, isn't TOML, or has faults; all of them are told.
    """
    environ = os.environ if environ is None else environ
    if path is None and environ.get(PATH_VARIABLE):
        path = Path(environ[PATH_VARIABLE])
    wanted = path is not None
    file = path if path is not None else data_dir / FILE_NAME
    raw = _read(file, wanted=wanted)
    reserved = sorted(raw.keys() & {"data_dir", "source"})
    faults = [f"{key}: it is set by the program. Leave it out." for key in reserved]
    raw |= {"data_dir": data_dir, "source": file if file.exists() else None}
    context = {"environ": environ if with_secrets else None}
    try:
        config = Config.model_validate(raw, context=context)
    except ValidationError as error:
        raise ConfigError(
            faults + fault_lines(error, Config) + cross_faults(raw), where=str(file)
        ) from error
    faults += cross_faults(raw)
    if faults:
        raise ConfigError(faults, where=str(file))
    return config


def _read(file: Path, *, wanted: bool) -> dict[str, Any]:
    """Return what the file says, {} if it may be missing and is."""
    try:
        text = file.read_bytes().decode("utf-8-sig")
    except FileNotFoundError as error:
        if not wanted:
            return {}
        fault = "the file does not exist. Check the path, or leave it out to use the defaults."
        raise ConfigError([fault], where=str(file)) from error
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise ConfigError(
            [f"line {line}: not UTF-8 text. Save it as UTF-8."], where=str(file)
        ) from error
    except OSError as error:
        fault = f"the file can't be read: {error.strerror}. Check its path and permissions."
        raise ConfigError([fault], where=str(file)) from error
    try:
        return tomllib.loads(text.replace("\r\n", "\n"))
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise ConfigError([_syntax(str(error))], where=str(file)) from error


def _syntax(message: str) -> str:
    what, _, place = message.partition(" (at ")
    place = place.rstrip(")") or "somewhere"
    return f"{place}: {what}. It must be TOML, a key = value on each line."
