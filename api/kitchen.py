# SPDX-License-Identifier: MIT
"""What every route needs: the readings, the records, the configuration and the clock."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from fastapi import Depends, Request

from api.records.database import open_database
from api.records.journal import Journal
from api.settings import Settings
from collector.config import Config, load_config
from collector.errors import StoreError
from collector.store.sqlite import SqliteStore


@dataclass(frozen=True, slots=True)
class Kitchen:
    """One data folder, opened.

    Attributes:
        data_dir: Where all that is kept lies.
        settings: Its configuration: the file's, with what was set on the page.
        readings: The readings file.
        journal: The records.
        now_ms: The wall clock [ms since 1970 UTC].
    """

    data_dir: Path
    settings: Settings
    readings: SqliteStore
    journal: Journal
    now_ms: Callable[[], int]

    @property
    def config(self) -> Config:
        """The configuration that holds now; ask again instead of keeping it."""
        return self.settings.config

    def close(self) -> None:
        """Let go of both files."""
        self.readings.close()
        self.journal.engine.dispose()


def wall_ms() -> int:
    """Return the wall clock [ms since 1970 UTC]."""
    return time.time_ns() // 1_000_000


def prepare_folder(data_dir: Path) -> None:
    """Make the data folder if it isn't there.

    Raises:
        StoreError: It can't be made or written in.
    """
    try:
        data_dir.mkdir(parents=True, exist_ok=True)
        probe = data_dir / ".writable"
        probe.touch()
        probe.unlink()
    except OSError as error:
        raise StoreError(
            f"The data folder can't be written in ({error.strerror}).",
            where=str(data_dir),
            do="Give yourself the right to write there, or name another folder with --data.",
        ) from error


def open_kitchen(
    data_dir: Path,
    *,
    config_path: Path | None = None,
    records_address: str | None = None,
    now_ms: Callable[[], int] = wall_ms,
) -> Kitchen:
    """Open a data folder: its configuration, readings and records.

    Args:
        data_dir: Made if it isn't there.
        config_path: Another configuration file than the folder's own.
        records_address: A SQLAlchemy address for the records; SQLite in the folder if None.
        now_ms: The wall clock.

    Raises:
        StoreError: The folder or a file in it can't be used, or is of a newer version.
        ConfigError: The configuration has faults; all are told at once.
    """
    prepare_folder(data_dir)
    config = load_config(config_path, data_dir)
    readings = SqliteStore(data_dir / config.store.file)
    try:
        address = records_address or f"sqlite:///{(data_dir / 'records.sqlite3').resolve()}"
        engine = open_database(address)
    except StoreError:
        readings.close()
        raise
    journal = Journal(engine, now_ms)
    return Kitchen(data_dir, Settings(journal, config), readings, journal, now_ms)


def _kitchen(request: Request) -> Kitchen:
    kitchen: Kitchen = request.app.state.kitchen
    return kitchen


KitchenHere = Annotated[Kitchen, Depends(_kitchen)]
