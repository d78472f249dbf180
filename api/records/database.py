# SPDX-License-Identifier: MIT
"""Opens the records database: SQLite in the data folder, or PostgreSQL by address."""

from __future__ import annotations

import os
import sqlite3
from contextlib import suppress
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, create_engine, event, inspect, text
from sqlalchemy.exc import DatabaseError, SQLAlchemyError

from collector.errors import StoreError, StoreVersionError

_MIGRATIONS = Path(__file__).parent / "migrations"


def open_database(address: str) -> Engine:
    """Open the records database and bring it up to this version.

    Args:
        address: A SQLAlchemy address, such as "sqlite:////kitchen/records.sqlite3" or
            "postgresql+psycopg://user@host/name".

    Returns:
        An engine whose tables are those of `api.records.tables`.

    Raises:
        StoreVersionError: It was written by a newer version; nothing was changed.
        StoreError: It can't be opened.
    """
    engine = create_engine(address, **_options(address))
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _set_up_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
    shown = engine.url.render_as_string(hide_password=True)
    try:
        _keep_private(engine)
        _migrate(engine, shown)
    except SQLAlchemyError as error:
        engine.dispose()
        cause = error.orig if isinstance(error, DatabaseError) else error
        raise StoreError(
            f"The records database can't be opened ({cause}).",
            where=shown,
            do="Check that the folder exists, that you may write in it, and that the disk has "
            "room; or name another folder with --data.",
        ) from error
    except StoreError:
        engine.dispose()
        raise
    return engine


def _keep_private(engine: Engine) -> None:
    """Notice addresses hold secrets: a new SQLite file is for its owner alone."""
    path = engine.url.database
    if engine.dialect.name == "sqlite" and path and not Path(path).exists():
        with suppress(OSError):  # what can't be made here is told when it is opened
            os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))


def _options(address: str) -> dict[str, Any]:
    if address.startswith("sqlite"):
        return {"connect_args": {"timeout": 10.0, "check_same_thread": False}}
    return {"pool_pre_ping": True}


def _set_up_sqlite(connection: sqlite3.Connection, _record: object) -> None:
    # SQLAlchemy says BEGIN itself (below), so that a writer waits its turn instead of failing.
    connection.isolation_level = None
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute("PRAGMA foreign_keys=ON")


def _begin_sqlite(connection: Any) -> None:
    immediate = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if immediate else "BEGIN")


def _migrate(engine: Engine, shown: str) -> None:
    from alembic import command
    from alembic.config import Config
    from alembic.script import ScriptDirectory

    config = Config()
    config.set_main_option("script_location", str(_MIGRATIONS))
    known = {script.revision for script in ScriptDirectory.from_config(config).walk_revisions()}
    head = ScriptDirectory.from_config(config).get_current_head()
    with engine.connect().execution_options(writes=True) as connection:
        if inspect(connection).has_table("alembic_version"):
            found = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
            if found == head:
                return
            if found is not None and found not in known:
                raise StoreVersionError(
                    f"The records database has revision {found}, which this program doesn't know.",
                    where=shown,
                    do="Use the newer program that wrote it; nothing was changed.",
                )
        config.attributes["connection"] = connection
        command.upgrade(config, "head")
        connection.commit()


def damage(engine: Engine) -> list[str]:
    """Return what SQLite finds wrong with the file itself, [] if nothing or another database."""
    if engine.dialect.name != "sqlite":
        return []
    with engine.connect() as connection:
        found = [str(row[0]) for row in connection.execute(text("PRAGMA integrity_check"))]
    return [] if found == ["ok"] else found


def numbering_faults(engine: Engine) -> list[str]:
    """Return where running numbers are missing: SQLite gives them without a gap.

    Another database may leave gaps, and nothing is told of it.
    """
    if engine.dialect.name != "sqlite":
        return []
    with engine.connect() as connection:
        count, highest = connection.execute(
            text("SELECT count(*), coalesce(max(number), 0) FROM entry")
        ).one()
        given = connection.execute(
            text("SELECT coalesce(max(seq), 0) FROM sqlite_sequence WHERE name = 'entry'")
        ).scalar_one()
    missing = max(given, highest) - count
    return [f"{missing} of {max(given, highest)} records are missing"] if missing else []
