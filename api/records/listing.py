# SPDX-License-Identifier: MIT
"""The listing of batches: one row for each, made from its chain, so that lists need not read all.

It is written in the transaction that appends to the chain, and is never the truth: `verify`
compares the two. Imports SQLAlchemy, the records' own tables and the ground.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, Engine, Select, insert, or_, select, update

from api.records.batches import Batch
from api.records.tables import batch as table
from api.times import format_ms
from collector.errors import UnknownRecordError


def listed(batch: Batch) -> dict[str, str]:
    """Return what the row of a batch says, without its id."""
    recipe = batch.recipe or {}
    parts = [batch.name, batch.body.get("pot") or "", recipe.get("name", "")]
    parts += [part["name"] for part in batch.body.get("ingredients") or []]
    return {
        "name": batch.name,
        "state": batch.state,
        "started_at": format_ms(batch.started_ms),
        "words": " ".join(parts).lower(),
    }


def write_row(connection: Connection, batch: Batch) -> None:
    """Write the row of a batch as its chain now tells it, in the transaction of a connection."""
    values = listed(batch)
    if connection.execute(update(table).where(table.c.id == batch.id).values(**values)).rowcount:
        return
    connection.execute(insert(table).values(id=batch.id, **values))


def rows(engine: Engine) -> dict[str, dict[str, str]]:
    """Return every row of the listing by the batch's id."""
    with engine.connect() as connection:
        found = connection.execute(select(table)).mappings()
        return {str(row["id"]): {k: row[k] for k in row if k != "id"} for row in found}


def find_ids(
    engine: Engine, *, state: str | None, words: str | None, after: str | None, limit: int | None
) -> list[str]:
    """Return the ids of batches, the latest start first.

    Args:
        engine: The records database.
        state: Only those in this state; "open" for all that are not closed.
        words: Only those whose name, recipe, pot or ingredients hold every one of these.
        after: Only those that come after this batch in the order.
        limit: At most so many; all if None.

    Raises:
        UnknownRecordError: There is no batch `after`.
    """
    statement: Select[Any] = select(table.c.id).order_by(
        table.c.started_at.desc(), table.c.id.desc()
    )
    if state == "open":
        statement = statement.where(table.c.state != "closed")
    elif state:
        statement = statement.where(table.c.state == state)
    for word in (words or "").lower().split():
        statement = statement.where(table.c.words.contains(word, autoescape=True))
    with engine.connect() as connection:
        if after:
            started = connection.execute(
                select(table.c.started_at).where(table.c.id == after)
            ).scalar()
            if started is None:
                raise UnknownRecordError(
                    f"There is no batch {after!r} to go on after.", do="Begin the list anew."
                )
            statement = statement.where(
                or_(
                    table.c.started_at < started,
                    (table.c.started_at == started) & (table.c.id < after),
                )
            )
        return [str(row[0]) for row in connection.execute(statement.limit(limit))]
