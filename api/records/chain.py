# SPDX-License-Identifier: MIT
"""The append-only entries and their chains of hashes. Imports SQLAlchemy and the ground.

How entries are hashed and linked stands in `hashing`. There is one chain for each batch and one
for the kitchen, so that two writers never wait for each other.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Engine, func, insert, select
from sqlalchemy.exc import IntegrityError

from api.records.hashing import START, ChainFault, ChainRow, canonical, link, row_faults
from api.records.tables import entry
from collector.errors import RecordConflictError, StoreError

KITCHEN = "kitchen"
_TRIES = 20

Within = Callable[[Connection], None]


def _nothing(_connection: Connection) -> None:
    """What is done in a transaction when nothing is to be done."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One record as it is kept.

    Attributes:
        number: Running number over all chains, for the live stream.
        id: The record's id (a UUID, made by the sender or here).
        chain: A batch's id, or "kitchen".
        position: 1, 2, 3 … within its chain.
        kind: "batch", "event", "weighing" …
        at: When it was recorded, RFC 3339 in UTC.
        who: Who recorded it; "" if not said.
        body: What was recorded.
        hash: Of this entry and all before it in its chain, hexadecimal.
    """

    number: int
    id: str
    chain: str
    position: int
    kind: str
    at: str
    who: str
    body: Mapping[str, Any]
    hash: str


class Chains:
    """Appends and reads entries."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine

    def append(
        self,
        chain: str,
        kind: str,
        body: Mapping[str, Any],
        *,
        at: str,
        who: str = "",
        record_id: str | None = None,
        before: Within = _nothing,
        after: Within = _nothing,
    ) -> tuple[Entry, bool]:
        """Append one entry to a chain.

        Args:
            chain: A batch's id, or "kitchen".
            kind: What it is.
            body: What is recorded; must be JSON. Its "said", if it has one, is the sender's own
                body, by which a repeat is recognised.
            at: The time of recording, RFC 3339 in UTC.
            who: Who records it.
            record_id: An id made by the sender; the same id and body again changes nothing.
            before: Called in the transaction, before a new entry is placed; what it raises refuses
                the entry. What it reads can't change until the commit.
            after: Called in the same transaction, after the entry was placed.

        Returns:
            The entry, and whether it is new.

        Raises:
            RecordConflictError: The id is taken by another body.
        """
        made = record_id or str(uuid.uuid4())
        for _ in range(_TRIES):
            try:
                with self.engine.connect().execution_options(writes=True) as connection:
                    known = self._by_id(connection, made)
                    if known is not None:
                        return _same(known, chain, kind, body), False
                    before(connection)
                    added = self._add(connection, made, chain, (kind, body, at, who))
                    after(connection)
                    connection.commit()
                    return added, True
            except IntegrityError:
                continue  # another writer took this position or this id: look again
        raise RecordConflictError(
            f"The record could not be placed in its chain in {_TRIES} tries.",
            where=chain,
            do="Try again; nothing was changed.",
        )

    def read(self, chain: str, connection: Connection | None = None) -> list[Entry]:
        """Return the entries of one chain, in order.

        Args:
            chain: A batch's id, or "kitchen".
            connection: Whose transaction reads; a new one if None.
        """
        statement = _COLUMNS.where(entry.c.chain == chain).order_by(entry.c.position)
        if connection is not None:
            return [_entry(row) for row in connection.execute(statement)]
        with self.engine.connect() as opened:
            return [_entry(row) for row in opened.execute(statement)]

    def of_kind(self, chain: str, *kinds: str) -> list[Entry]:
        """Return the entries of these kinds in one chain, in order."""
        return list(self._select(entry.c.chain == chain, entry.c.kind.in_(kinds)))

    def since(self, number: int, limit: int = 1000) -> list[Entry]:
        """Return up to `limit` entries of any chain with a higher running number."""
        return list(self._select(entry.c.number > number, limit=limit))

    def find(self, record_id: str) -> Entry | None:
        """Return the entry with this id, if there is one."""
        with self.engine.connect() as connection:
            return self._by_id(connection, record_id)

    def last_number(self) -> int:
        """Return the highest running number, 0 if there is none."""
        with self.engine.connect() as connection:
            return int(connection.execute(select(func.max(entry.c.number))).scalar() or 0)

    def chains(self) -> list[str]:
        """Return the names of all chains."""
        with self.engine.connect() as connection:
            found = connection.execute(select(entry.c.chain).distinct().order_by(entry.c.chain))
            return [str(row[0]) for row in found]

    def head(self, chain: str, connection: Connection | None = None) -> tuple[int, str]:
        """Return the length and the last hash of a chain; (0, 64 zeros) if it is empty.

        Args:
            chain: A batch's id, or "kitchen".
            connection: Whose transaction reads; a new one if None.
        """
        if connection is not None:
            return self._head(connection, chain)
        with self.engine.connect() as opened:
            return self._head(opened, chain)

    def heads(self, chains: Sequence[str]) -> dict[str, str]:
        """Return the last hash of each of these chains, those that are empty left out."""
        last = (
            select(entry.c.chain, func.max(entry.c.position).label("position"))
            .where(entry.c.chain.in_(chains))
            .group_by(entry.c.chain)
            .subquery()
        )
        statement = select(entry.c.chain, entry.c.hash).join(
            last, (entry.c.chain == last.c.chain) & (entry.c.position == last.c.position)
        )
        with self.engine.connect() as connection:
            return {str(chain): str(digest) for chain, digest in connection.execute(statement)}

    def verify(self, chain: str) -> list[ChainFault]:
        """Recompute a chain from its texts and return every fault."""
        columns = (entry.c.number, entry.c.position, entry.c.id, entry.c.kind)
        statement = (
            select(*columns, entry.c.text, entry.c.hash)
            .where(entry.c.chain == chain)
            .order_by(entry.c.position)
        )
        with self.engine.connect() as connection:
            rows = connection.execute(statement).fetchall()
        return row_faults(chain, [ChainRow(*row) for row in rows])

    def _add(
        self,
        connection: Connection,
        made: str,
        chain: str,
        what: tuple[str, Mapping[str, Any], str, str],
    ) -> Entry:
        kind, body, at, who = what
        length, head = self._head(connection, chain)
        text = canonical(
            {
                "at": at,
                "body": body,
                "chain": chain,
                "id": made,
                "kind": kind,
                "position": length + 1,
                "who": who,
            }
        )
        digest = link(bytes.fromhex(head), text).hex()
        result = connection.execute(
            insert(entry).values(
                id=made, chain=chain, position=length + 1, kind=kind, text=text, hash=digest
            )
        )
        number = int((result.inserted_primary_key or (0,))[0])
        return Entry(number, made, chain, length + 1, kind, at, who, body, digest)

    def _head(self, connection: Connection, chain: str) -> tuple[int, str]:
        row = connection.execute(
            select(entry.c.position, entry.c.hash)
            .where(entry.c.chain == chain)
            .order_by(entry.c.position.desc())
            .limit(1)
        ).fetchone()
        return (int(row[0]), str(row[1])) if row else (0, START.hex())

    def _by_id(self, connection: Connection, record_id: str) -> Entry | None:
        row = connection.execute(_COLUMNS.where(entry.c.id == record_id)).fetchone()
        return _entry(row) if row else None

    def _select(self, *conditions: Any, limit: int | None = None) -> Iterator[Entry]:
        statement = _COLUMNS.where(*conditions).order_by(entry.c.number).limit(limit)
        with self.engine.connect() as connection:
            rows = connection.execute(statement).fetchall()
        return map(_entry, rows)


_COLUMNS = select(entry.c.number, entry.c.text, entry.c.hash)


def _entry(row: Any) -> Entry:
    number, text, digest = row
    try:
        said = json.loads(text)
        return Entry(
            number=number,
            id=said["id"],
            chain=said["chain"],
            position=said["position"],
            kind=said["kind"],
            at=said["at"],
            who=said["who"],
            body=said["body"],
            hash=digest,
        )
    except (ValueError, LookupError, TypeError) as error:
        raise StoreError(
            f"Record number {number} can't be read: its text was changed.",
            where="records",
            do="Run `curdwright verify` to see what else was changed, and restore a copy.",
        ) from error


def _same(known: Entry, chain: str, kind: str, body: Mapping[str, Any]) -> Entry:
    said = canonical(_as_said(known.body)) == canonical(_as_said(body))
    if (known.chain, known.kind) == (chain, kind) and said:
        return known
    raise RecordConflictError(
        f"The id {known.id} is taken by another record ({known.kind}, recorded {known.at}).",
        where=known.chain,
        do="Send the same body again, or make a new id.",
    )


def _as_said(body: Mapping[str, Any]) -> Mapping[str, Any]:
    """What the sender said, if the body keeps it; the clock it was sent by may differ."""
    said = body.get("said", body)
    return {key: value for key, value in said.items() if key != "sent_at"}
