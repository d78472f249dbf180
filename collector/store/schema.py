# SPDX-License-Identifier: MIT
"""The layout of the readings file, and how an older one is brought up to it.

Imports only the ground and sqlite3.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path

from collector.errors import StoreError, StoreVersionError

APPLICATION_ID = 0x43575244  # "CWRD"

# Each entry brings the file from version n to n + 1, in one transaction.
# reading.flags: quality (2 bits) + 4 if the time was set on arrival.
_STEPS: tuple[str, ...] = (
    """
    CREATE TABLE word (id INTEGER PRIMARY KEY, text TEXT NOT NULL UNIQUE);
    CREATE TABLE series (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL UNIQUE,
        unit TEXT NOT NULL,
        first_ms INTEGER NOT NULL,
        stamped_ms INTEGER NOT NULL DEFAULT 0
    );
    CREATE TABLE reading (
        series INTEGER NOT NULL,
        time_ms INTEGER NOT NULL,
        value REAL,
        lag_ms INTEGER NOT NULL,
        flags INTEGER NOT NULL,
        reason INTEGER,
        unit INTEGER,
        PRIMARY KEY (series, time_ms)
    ) WITHOUT ROWID;
    CREATE TABLE arrival (
        n INTEGER PRIMARY KEY AUTOINCREMENT,
        series INTEGER NOT NULL,
        time_ms INTEGER NOT NULL
    );
    CREATE TABLE sequence (
        series INTEGER NOT NULL,
        boot TEXT NOT NULL,
        sequence INTEGER NOT NULL,
        time_ms INTEGER NOT NULL,
        PRIMARY KEY (series, boot, sequence)
    ) WITHOUT ROWID;
    CREATE TABLE conflict (
        series INTEGER NOT NULL,
        time_ms INTEGER NOT NULL,
        value REAL,
        unit TEXT NOT NULL,
        arrival_ms INTEGER NOT NULL
    );
    CREATE INDEX conflict_by_time ON conflict (series, time_ms);
    CREATE TABLE frame (
        series INTEGER NOT NULL,
        time_ms INTEGER NOT NULL,
        bytes BLOB NOT NULL,
        count INTEGER NOT NULL,
        PRIMARY KEY (series, time_ms)
    ) WITHOUT ROWID;
    CREATE TABLE clock_step (
        boot TEXT NOT NULL,
        run TEXT NOT NULL,
        at_ms INTEGER NOT NULL,
        step_ms INTEGER NOT NULL
    );
    CREATE TABLE cursor (name TEXT PRIMARY KEY, arrival INTEGER NOT NULL) WITHOUT ROWID;
    """,
)
VERSION = len(_STEPS)


def connect(path: Path) -> sqlite3.Connection:
    """Open the readings file for one thread at a time.

    Args:
        path: The file; made if it isn't there.

    Returns:
        A connection in autocommit mode, with a write-ahead log and full synchronisation.

    Raises:
        StoreError: The file can't be opened.
    """
    try:
        connection = sqlite3.connect(
            path, timeout=10.0, isolation_level=None, check_same_thread=False
        )
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute("PRAGMA synchronous=FULL")
        connection.execute("PRAGMA busy_timeout=10000")
    except sqlite3.Error as error:
        raise StoreError(
            f"The readings file can't be opened ({error}).",
            where=str(path),
            do="Check that the folder exists, that you may write in it, and that the disk has "
            "room; or name another folder with --data.",
        ) from error
    return connection


def bring_up_to_date(connection: sqlite3.Connection, path: Path) -> None:
    """Create the tables, or bring an older file up to this version.

    Args:
        connection: An open connection.
        path: The file, for messages.

    Raises:
        StoreVersionError: The file was written by a newer version.
        StoreError: The file isn't a readings file or can't be written.
    """
    try:
        found = int(connection.execute("PRAGMA user_version").fetchone()[0])
        if found > VERSION:
            raise StoreVersionError(
                f"The readings file has layout {found}, and this program knows up to {VERSION}.",
                where=str(path),
                do="Use the newer program that wrote it; nothing was changed.",
            )
        if found == VERSION:
            return
        connection.execute("BEGIN IMMEDIATE")
        found = int(connection.execute("PRAGMA user_version").fetchone()[0])
        for step in _STEPS[found:]:
            for statement in step.split(";"):
                if statement.strip():
                    connection.execute(statement)
        connection.execute(f"PRAGMA user_version={VERSION}")
        connection.execute(f"PRAGMA application_id={APPLICATION_ID}")
        connection.execute("COMMIT")
    except sqlite3.Error as error:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise StoreError(
            f"The readings file can't be used ({error}).",
            where=str(path),
            do="Check that it is a readings file and that you may write to it.",
        ) from error
