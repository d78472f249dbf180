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

from sqlalchemy import Connection, Engine

from api.records.batches import (
    EARLIEST_BEFORE_START_MS,
    Batch,
    Kept,
    fold,
    own_bindings,
)
from api.records.chain import KITCHEN, Chains, Entry, Within
from api.records.listing import find_ids, write_row
from api.times import format_ms, parse_ms
from collector.errors import RecordConflictError, RecordError, UnknownRecordError

FUTURE_ALLOWED_MS = 120_000
PLANNED_AHEAD_MS = 366 * 86_400_000
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

        Raises:
            RecordError: It would start more than a year ahead.
            RecordConflictError: The id is taken by another body.
        """
        made = record_id or str(uuid.uuid4())
        self._check_start(body)
        self.chains.append(
            made,
            "batch",
            body,
            at=format_ms(self._now_ms()),
            who=who,
            record_id=made,
            after=lambda connection: self._list(connection, made),
        )
        return self.batch(made)

    def batch(self, batch_id: str, connection: Connection | None = None) -> Batch:
        """Return one batch.

        Args:
            batch_id: Its id.
            connection: Whose transaction reads; a new one if None.

        Raises:
            UnknownRecordError: There is no such batch.
        """
        length, head = (0, "")
        if batch_id != KITCHEN:
            length, head = self.chains.head(batch_id, connection)
        if not length:
            raise UnknownRecordError(
                f"There is no batch {batch_id!r}.",
                do="Look at GET /v1/batches for those there are.",
            )
        return self._as_of(batch_id, head, connection)

    def _as_of(self, batch_id: str, head: str, connection: Connection | None = None) -> Batch:
        """Return a batch folded anew only if its chain has another head than it had."""
        with self._lock:
            known = self._folded.get(batch_id)
            if known is not None and known[0] == head:
                return known[1]
        folded = fold(self.chains.read(batch_id, connection))
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
        found = find_ids(self.engine, state=state, words=words, after=after, limit=limit)
        heads = self.chains.heads(found)
        return [self._as_of(one, heads[one]) for one in found if one in heads]

    def batch_ids(self, *, state: str) -> list[str]:
        """Return the ids of all batches in a state, the latest start first."""
        return find_ids(self.engine, state=state, words=None, after=None, limit=None)

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
            kind: "event", "weighing", "binding", "observation", "revision", "proposal",
                "dismissal", "deviation" or "review".
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

        def allowed(connection: Connection) -> None:
            batch = self.batch(batch_id, connection)
            self._check_time(batch, body)
            if replaced := body.get("replaces"):
                self._standing(batch, replaced, kind)

        return self._append(batch_id, kind, body, record_id=record_id, who=who, allowed=allowed)

    def withdraw(
        self, batch_id: str, withdrawn_id: str, *, why: str | None, said: Mapping[str, Any],
        record_id: str | None, who: str,
    ) -> tuple[Kept, bool]:  # fmt: skip
        """Take a record back; it stays readable.

        Raises:
            UnknownRecordError: Nothing there to withdraw.
        """

        def allowed(connection: Connection) -> None:
            self._standing(self.batch(batch_id, connection), withdrawn_id, None)

        body = {"withdraws": withdrawn_id, "why": why or "", "said": said}
        return self._append(
            batch_id, "withdrawal", body, record_id=record_id, who=who, allowed=allowed
        )

    def _append(
        self, batch_id: str, kind: str, body: Mapping[str, Any], *, record_id: str | None,
        who: str, allowed: Within,
    ) -> tuple[Kept, bool]:  # fmt: skip
        self.batch(batch_id)  # a repeat too must name a batch that there is
        entry, new = self.chains.append(
            batch_id,
            kind,
            body,
            at=format_ms(self._now_ms()),
            who=who,
            record_id=record_id,
            before=allowed,
            after=lambda connection: self._list(connection, batch_id),
        )
        at_ms = parse_ms(entry.body.get("at") or entry.at)
        return Kept(entry.id, entry.number, kind, at_ms, entry.at, entry.who, entry.body), new

    def _list(self, connection: Connection, batch_id: str) -> None:
        write_row(connection, self.batch(batch_id, connection))

    def _check_start(self, body: Mapping[str, Any]) -> None:
        ahead_ms = parse_ms(body["started_at"]) - self._now_ms()
        if ahead_ms > PLANNED_AHEAD_MS:
            raise RecordError(
                f"{body['started_at']} lies {ahead_ms / 86_400_000:.0f} days ahead.",
                where=str(body["name"]),
                do="Check the date and the clock of the device; a batch may be planned for up to "
                "a year.",
            )

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
        records = [*batch.events, *batch.weighings, *batch.observations, *batch.dismissals]
        records += [*batch.deviations, *batch.reviews]
        known = {record.id: record.kind for record in records}
        known.update({binding.id: "binding" for binding in batch.bindings})
        gone = {record.id for record in batch.gone} | set(own_bindings(batch.id, batch.body))
        if record_id in gone - known.keys():
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
