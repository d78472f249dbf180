# SPDX-License-Identifier: MIT
"""What is told, kept so that each cause is told once ever. Imports SQLAlchemy and the records.

A notice is one entry in its batch's chain, whose id follows from its cause, and one row for each
route that it is to go by. The rows are written first: whoever is killed in between finds the same
cause again, finds the rows there, and writes the entry.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable, Sequence
from typing import Any

from sqlalchemy import Engine, select, update

from api.records.chain import Entry
from api.records.journal import Journal
from api.records.tables import entry as entry_table
from api.records.tables import notice as notice_table
from api.records.tables import route as route_table
from api.times import format_ms
from api.watch.finding import Finding
from collector.errors import RecordConflictError

WAITING, SENT, GIVEN_UP = "waiting", "sent", "given up"
NOTICE, PASSED, SENDING, ACKNOWLEDGEMENT = "notice", "passed", "notice_sent", "acknowledgement"
# What the program itself records beside the marks: it changes nothing of what is to be watched.
OWN_KINDS = frozenset({NOTICE, PASSED, SENDING, ACKNOWLEDGEMENT, "alarm", "proposal", "dismissal"})
_SPACE = uuid.UUID("6a0f6c0e-5d0b-4f0b-9a51-6f2b1d1c7a5e")


def id_of(cause: str) -> str:
    """Return the id of the record of a cause; the same for the same cause."""
    return str(uuid.uuid5(_SPACE, cause))


class NoticeBook:
    """Writes notices and reads them back."""

    def __init__(self, journal: Journal) -> None:
        self._journal = journal

    @property
    def _engine(self) -> Engine:
        return self._journal.engine

    def tell(self, finding: Finding, wake: Callable[[], None] = lambda: None) -> bool:
        """Keep something that is to be told, unless it was told before.

        Args:
            finding: What was found.
            wake: Called as soon as there is something to send.

        Returns:
            Whether it is new, and so somebody is to be called.
        """
        record_id = id_of(finding.cause)
        if self._journal.chains.find(record_id) is not None:
            return False
        words = finding.words
        body = {
            "cause": finding.cause,
            "about": finding.kind,
            "title": words.title,
            "text": words.text,
            "at": format_ms(finding.at_s * 1000.0),
            "priority": words.priority,
            "from": list(finding.sources),
        }
        if not finding.old:
            self._add_rows(finding)
            wake()
        kind = PASSED if finding.old else NOTICE
        at = format_ms(self._journal.now_ms())
        try:
            self._journal.chains.append(finding.batch_id, kind, body, at=at, record_id=record_id)
        except RecordConflictError:
            return False  # another process told it in this moment
        return not finding.old

    def _add_rows(self, finding: Finding) -> None:
        """Add a row for each route; what waits there already is tried at once with it."""
        now_ms = self._journal.now_ms()
        with self._engine.connect().execution_options(writes=True) as connection:
            routes = connection.execute(
                select(route_table.c.id).where(
                    route_table.c.address != "", route_table.c.gone == ""
                )
            ).scalars()
            known = set(
                connection.execute(
                    select(notice_table.c.route).where(notice_table.c.cause == finding.cause)
                ).scalars()
            )
            rows = [
                {
                    "cause": finding.cause,
                    "route": route,
                    "batch": finding.batch_id,
                    "title": finding.words.title,
                    "text": finding.words.text,
                    "made_at": format_ms(now_ms),
                    "due_ms": now_ms,
                    "tries": 0,
                    "state": WAITING,
                    "answer": "",
                    "priority": finding.words.priority,
                }
                for route in routes
                if route not in known
            ]
            if rows:
                connection.execute(
                    update(notice_table)
                    .where(notice_table.c.state == WAITING, notice_table.c.due_ms > now_ms)
                    .values(due_ms=now_ms)
                )
                connection.execute(notice_table.insert(), rows)
            connection.commit()

    def latest(self, limit: int, *, batch: str | None = None) -> list[Entry]:
        """Return notices, the latest first.

        Args:
            limit: At most so many.
            batch: Only those of this batch.
        """
        statement = select(entry_table.c.number, entry_table.c.text, entry_table.c.hash).where(
            entry_table.c.kind == NOTICE
        )
        if batch is not None:
            statement = statement.where(entry_table.c.chain == batch)
        statement = statement.order_by(entry_table.c.number.desc()).limit(limit)
        with self._engine.connect() as connection:
            return [_entry(*row) for row in connection.execute(statement)]

    def sendings(self, causes: Sequence[str]) -> dict[str, list[dict[str, Any]]]:
        """Return by cause how each notice fared on each route."""
        statement = (
            select(notice_table, route_table.c.name.label("route_name"))
            .join(route_table, route_table.c.id == notice_table.c.route)
            .where(notice_table.c.cause.in_(causes))
            .order_by(notice_table.c.number)
        )
        found: dict[str, list[dict[str, Any]]] = {cause: [] for cause in causes}
        with self._engine.connect() as connection:
            for row in connection.execute(statement).mappings():
                found[row["cause"]].append(
                    {
                        "route": row["route_name"],
                        "state": row["state"],
                        "tries": row["tries"],
                        "answer": row["answer"],
                        "sent_at": row["sent_at"],
                        "next_try_at": format_ms(row["due_ms"])
                        if row["state"] == WAITING
                        else None,
                    }
                )
        return found


def _entry(number: int, text: str, digest: str) -> Entry:
    said = json.loads(text)
    return Entry(number=number, hash=digest, **said)
