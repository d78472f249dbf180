# SPDX-License-Identifier: MIT
"""Everything that is recorded about batches and the kitchen, over the chains.

Checks what a record may say before it is appended; reads back what stands. Imports SQLAlchemy,
the records' own modules and the ground.
"""

from __future__ import annotations

import threading
import uuid
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from sqlalchemy import Engine, insert, or_, select, update

from api.records.batches import EARLIEST_BEFORE_START_MS, Batch, Kept, fold
from api.records.chain import KITCHEN, Chains, Entry
from api.records.tables import batch as batch_table
from api.times import format_ms, parse_ms
from collector.errors import RecordConflictError, RecordError, UnknownRecordError

FUTURE_ALLOWED_MS = 120_000
_FOLDED_KEPT = 500


class Journal:
    """Writes records and reads back what they add up to."""

    def __init__(self, engine: Engine, now_ms: Callable[[], int]) -> None:
        """Take the database and the clock.

        Args:
            engine: From `api.records.database.open_database`.
            now_ms: The wall clock [ms since 1970 UTC].
        """
        self.engine = engine
        self.chains = Chains(engine)
        self._now_ms = now_ms
        self._folded: dict[str, tuple[str, Batch]] = {}
        self._lock = threading.Lock()

    def now_ms(self) -> int:
        """The time of recording [ms since 1970 UTC]."""
        return self._now_ms()

    # --- batches -------------------------------------------------------------------------

    def start_batch(self, body: Mapping[str, Any], *, record_id: str | None, who: str) -> Batch:
        """Make a batch; the same id and body again returns the first.

        Args:
            body: With "name", "started_at" and what else was said.
            record_id: The batch's id, if the sender made one.
            who: Who makes it.
        """
        made = record_id or str(uuid.uuid4())
        _, new = self.chains.append(
            made, "batch", body, at=format_ms(self._now_ms()), who=who, record_id=made
        )
        if new:
            self._list(self.batch(made), insert_it=True)
        return self.batch(made)

    def batch(self, batch_id: str) -> Batch:
        """Return one batch.

        Raises:
            UnknownRecordError: There is no such batch.
        """
        length, head = self.chains.head(batch_id) if batch_id != KITCHEN else (0, "")
        if not length:
            raise UnknownRecordError(
                f"There is no batch {batch_id!r}.",
                do="Look at GET /v1/batches for those there are.",
            )
        return self._as_of(batch_id, head)

    def _as_of(self, batch_id: str, head: str) -> Batch:
        """Return a batch folded anew only if its chain has another head than it had."""
        with self._lock:
            known = self._folded.get(batch_id)
            if known is not None and known[0] == head:
                return known[1]
        folded = fold(self.chains.read(batch_id))
        with self._lock:
            if len(self._folded) >= _FOLDED_KEPT:
                self._folded.pop(next(iter(self._folded)))
            self._folded[batch_id] = (head, folded)
        return folded

    def batches(
        self,
        *,
        state: str | None = None,
        words: str | None = None,
        after: str | None = None,
        limit: int = 50,
    ) -> list[Batch]:
        """Return batches, the latest start first.

        Args:
            state: Only those in this state; "open" for all that are not closed.
            words: Only those whose name, recipe, pot or ingredients hold every one of these.
            after: Only those that come after this batch in the order.
            limit: At most so many.
        """
        statement = select(batch_table.c.id).order_by(
            batch_table.c.started_at.desc(), batch_table.c.id.desc()
        )
        if state == "open":
            statement = statement.where(batch_table.c.state != "closed")
        elif state:
            statement = statement.where(batch_table.c.state == state)
        for word in (words or "").lower().split():
            statement = statement.where(batch_table.c.words.contains(word, autoescape=True))
        with self.engine.connect() as connection:
            if after:
                started = connection.execute(
                    select(batch_table.c.started_at).where(batch_table.c.id == after)
                ).scalar()
                if started is None:
                    raise UnknownRecordError(f"There is no batch {after!r} to go on after.")
                statement = statement.where(
                    or_(
                        batch_table.c.started_at < started,
                        (batch_table.c.started_at == started) & (batch_table.c.id < after),
                    )
                )
            found = [row[0] for row in connection.execute(statement.limit(limit))]
        heads = self.chains.heads(found)
        return [self._as_of(batch_id, heads[batch_id]) for batch_id in found]

    def record(
        self,
        batch_id: str,
        kind: str,
        body: Mapping[str, Any],
        *,
        record_id: str | None = None,
        who: str = "",
    ) -> tuple[Kept, bool]:
        """Append one record to a batch.

        Args:
            batch_id: The batch.
            kind: "event", "weighing", "binding", "observation" or "revision".
            body: With "at" where it has a time of its own, and perhaps "replaces".
            record_id: An id made by the sender.
            who: Who records it.

        Returns:
            The record as it stands, and whether it is new.

        Raises:
            UnknownRecordError: No such batch, or nothing there to replace.
            RecordError: Its time is impossible.
            RecordConflictError: The id is taken by another body.
        """
        batch = self.batch(batch_id)
        if record_id is None or self.chains.find(record_id) is None:
            self._check_time(batch, body)
            if replaced := body.get("replaces"):
                self._standing(batch, replaced, kind)
        return self._append(batch_id, kind, body, record_id=record_id, who=who)

    def withdraw(
        self, batch_id: str, withdrawn_id: str, *, why: str | None, said: Mapping[str, Any],
        record_id: str | None, who: str,
    ) -> tuple[Kept, bool]:  # fmt: skip
        """Take a record back; it stays readable.

        Raises:
            UnknownRecordError: Nothing there to withdraw.
        """
        batch = self.batch(batch_id)
        if record_id is None or self.chains.find(record_id) is None:
            self._standing(batch, withdrawn_id, None)
        body = {"withdraws": withdrawn_id, "why": why or "", "said": said}
        return self._append(batch_id, "withdrawal", body, record_id=record_id, who=who)

    def _append(
        self, batch_id: str, kind: str, body: Mapping[str, Any], *, record_id: str | None, who: str
    ) -> tuple[Kept, bool]:
        entry, new = self.chains.append(
            batch_id, kind, body, at=format_ms(self._now_ms()), who=who, record_id=record_id
        )
        if new:
            self._list(self.batch(batch_id))
        at_ms = parse_ms(entry.body.get("at") or entry.at)
        return Kept(entry.id, entry.number, kind, at_ms, entry.at, entry.who, entry.body), new

    def _check_time(self, batch: Batch, body: Mapping[str, Any]) -> None:
        if not body.get("at"):
            return
        at_ms = parse_ms(body["at"])
        ahead_ms = at_ms - self._now_ms()
        if ahead_ms > FUTURE_ALLOWED_MS:
            raise RecordError(
                f"{body['at']} lies {ahead_ms / 60000:.0f} min in the future.",
                where=batch.name,
                do="Check the clock of the device; send its time as sent_at to have it mended.",
            )
        if batch.said_start_ms - at_ms > EARLIEST_BEFORE_START_MS:
            raise RecordError(
                f"{body['at']} lies more than 72 h before the batch began "
                f"({format_ms(batch.said_start_ms)}).",
                where=batch.name,
                do="Check the date, or make a batch with an earlier started_at.",
            )

    def _standing(self, batch: Batch, record_id: str, kind: str | None) -> None:
        records: list[Kept] = [*batch.events, *batch.weighings, *batch.observations]
        known = {record.id: record.kind for record in records}
        known.update({binding.id: "binding" for binding in batch.bindings})
        if record_id in {record.id for record in batch.gone}:
            raise RecordConflictError(
                f"The record {record_id} no longer stands.",
                where=batch.name,
                do="Read the batch again with ?history=true to see what took its place.",
            )
        if record_id not in known or (kind is not None and known[record_id] != kind):
            raise UnknownRecordError(
                f"There is no {kind or 'record'} {record_id!r} to take back or replace.",
                where=batch.name,
                do="Read the batch again to find its id.",
            )

    def _list(self, batch: Batch, *, insert_it: bool = False) -> None:
        recipe = batch.recipe or {}
        parts = [batch.name, batch.body.get("pot") or "", recipe.get("name", "")]
        parts += [part["name"] for part in batch.body.get("ingredients") or []]
        values = {
            "name": batch.name,
            "state": batch.state,
            "started_at": format_ms(batch.started_ms),
            "words": " ".join(parts).lower(),
        }
        with self.engine.connect().execution_options(writes=True) as connection:
            if insert_it:
                connection.execute(insert(batch_table).values(id=batch.id, **values))
            else:
                connection.execute(
                    update(batch_table).where(batch_table.c.id == batch.id).values(**values)
                )
            connection.commit()

    # --- the kitchen's lists ---------------------------------------------------------------

    def keep(
        self, kind: str, body: Mapping[str, Any], *, record_id: str | None = None, who: str = ""
    ) -> Entry:
        """Append an entry to the kitchen's chain: a pot, a recipe or a check."""
        entry, _ = self.chains.append(
            KITCHEN, kind, body, at=format_ms(self._now_ms()), who=who, record_id=record_id
        )
        return entry

    def kitchen(self, *kinds: str) -> Sequence[Entry]:
        """Return the kitchen's entries of these kinds, in order."""
        return self.chains.of_kind(KITCHEN, *kinds)

    def latest_by(self, kind: str, key: str) -> dict[str, Entry]:
        """Return the latest entry of a kind for each value of one of its fields."""
        return {str(entry.body[key]): entry for entry in self.kitchen(kind)}
