# SPDX-License-Identifier: MIT
"""Writes what happens to alarms, and reads it back. Imports SQLAlchemy and the records.

Every change of a state is an entry in the batch's chain, or in the kitchen's for what belongs to
no batch; the states are folded from these entries and kept nowhere else.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Select, select

from api.records.chain import KITCHEN, Entry
from api.records.journal import Journal
from api.records.tables import batch as batch_table
from api.records.tables import entry as entry_table
from api.times import format_ms, format_s
from api.watch.alarm_fold import ACKNOWLEDGEMENT, ALARM, FOLDED_KINDS, Folded, KeptAlarm
from api.watch.alarm_state import CALLS, Action, State, after
from api.watch.notice_book import id_of
from collector.errors import RecordConflictError, RecordError, UnknownRecordError

LONGEST_SHELF_S = 12 * 3600.0
_COLUMNS = select(entry_table.c.number, entry_table.c.text, entry_table.c.hash)


def alarm_id(chain: str, key: str) -> str:
    """Return the id of the alarm of a limit; the same for the same limit of the same batch."""
    return id_of(f"alarm {chain}/{key}")


@dataclass(frozen=True, slots=True)
class Said:
    """What a maker says about an alarm.

    Attributes:
        who: Who says it.
        said: The body as it was sent.
        why: The reason.
        until_s: For how long a shelf lasts [s since 1970 UTC].
    """

    who: str = ""
    said: Mapping[str, Any] | None = None
    why: str = ""
    until_s: float | None = None


class AlarmBook:
    """The alarms of one kitchen."""

    def __init__(self, journal: Journal) -> None:
        self._journal = journal

    def folded(self, *, batch: str | None = None, closed: bool = False) -> Folded:
        """Return all alarms as they stand, with what happened to them.

        Args:
            batch: Only those of this batch.
            closed: Those of batches that are closed, too.
        """
        statement = _COLUMNS.where(entry_table.c.kind.in_(FOLDED_KINDS))
        if batch is not None:
            statement = statement.where(entry_table.c.chain == batch)
        elif not closed:
            statement = statement.where(entry_table.c.chain.in_([*self._open(), KITCHEN]))
        found = Folded()
        found.take(self._entries(statement))
        return found

    def since(self, kind_ms: int) -> Folded:
        """Return what was recorded of alarms from a time on [ms since 1970 UTC].

        The entries are read back from the last until one is older, whatever chain they are in.
        """
        rows: list[Entry] = []
        statement = _COLUMNS.where(entry_table.c.kind.in_(FOLDED_KINDS)).order_by(
            entry_table.c.number.desc()
        )
        begin = format_ms(kind_ms)
        with self._journal.engine.connect() as connection:
            for row in connection.execute(statement):
                entry = _entry(*row)
                if entry.at < begin:
                    break
                rows.append(entry)
        found = Folded()
        found.take(reversed(rows))
        return found

    def alarm(self, wanted: str) -> KeptAlarm:
        """Return one alarm.

        Raises:
            UnknownRecordError: There is no such alarm.
        """
        chain = self._chain_of(wanted)
        known = self.folded(batch=chain).alarms.get(wanted) if chain else None
        if known is None:
            raise UnknownRecordError(
                f"There is no alarm {wanted!r}.", do="Look at GET /v1/alarms for those there are."
            )
        return known

    def write(
        self, alarm: KeptAlarm, action: Action, at_s: float, more: Mapping[str, Any] | None = None,
        *, who: str = "",
    ) -> KeptAlarm:  # fmt: skip
        """Record that something happened to an alarm, if it changes anything.

        Args:
            alarm: As it stands.
            action: What happened.
            at_s: When [s since 1970 UTC].
            more: What else is to be kept; for one that is raised all its facts.
            who: Who did it; "" for the program.

        Returns:
            The alarm after it.
        """
        said = dict(more or {})
        until_s = said.pop("until_s", None)
        status = after(alarm.status, action, at_s, why=str(said.get("why") or ""), until_s=until_s)
        if status is alarm.status:
            return alarm
        body = {"alarm": alarm.id, "action": str(action), "state": str(status.state), **said}
        body = {"about": alarm.about, "key": alarm.key, **body, "at": format_s(at_s)}
        for name in ("title", "text", "priority"):
            if name in alarm.facts:
                body.setdefault(name, alarm.facts[name])
        if until_s is not None:
            body["until"] = format_s(until_s)
        record_id = None
        if action in CALLS:  # found again after a kill, it is written once
            record_id = id_of(f"{alarm.id} {action} {status.calls}")
        at = format_ms(self._journal.now_ms())
        try:
            entry, _ = self._journal.chains.append(
                alarm.chain, ALARM, body, at=at, who=who, record_id=record_id
            )
        except RecordConflictError:
            return self.alarm(alarm.id)  # another process wrote it in this moment
        return _after(alarm, entry)

    def acknowledge(self, wanted: str, by: Said) -> KeptAlarm:
        """Record that somebody has heard an alarm; the first to say so stands.

        Raises:
            UnknownRecordError: There is no such alarm.
        """
        alarm = self.alarm(wanted)
        if alarm.status.acknowledged:
            return alarm
        body: dict[str, Any] = {"said": dict(by.said or {})}
        if not alarm.of_a_moment:
            return self.write(alarm, Action.ACKNOWLEDGED, self._now_s(), body, who=by.who)
        call = "" if alarm.status.calls == 1 else f" {alarm.status.calls}"
        entry, _ = self._journal.chains.append(
            alarm.chain,
            ACKNOWLEDGEMENT,
            {"notice": alarm.id, **body},
            at=format_ms(self._journal.now_ms()),
            who=by.who,
            record_id=id_of(f"acknowledged {alarm.id}{call}"),
        )
        return _after(alarm, entry)

    def shelve(self, wanted: str, by: Said) -> KeptAlarm:
        """Put an alarm away for a time.

        Raises:
            UnknownRecordError: There is no such alarm.
            RecordError: The time is over already, or too long.
        """
        alarm, now_s = self.alarm(wanted), self._now_s()
        assert by.until_s is not None
        for_s = by.until_s - now_s
        if not 0.0 < for_s <= LONGEST_SHELF_S:
            raise RecordError(
                f"A shelf of {for_s:.0f} s can't be: it must be above 0 and at most "
                f"{LONGEST_SHELF_S / 3600.0:g} h.",
                where=alarm.id,
                do="Give a shorter time; an alarm that isn't wanted at all is taken out of "
                "service.",
            )
        body = {"until_s": by.until_s, "why": by.why, "said": dict(by.said or {})}
        return self.write(alarm, Action.SHELVED, now_s, body, who=by.who)

    def change(self, wanted: str, action: Action, by: Said) -> KeptAlarm:
        """Take an alarm off the shelf, out of service, or back into it.

        Raises:
            UnknownRecordError: There is no such alarm.
            RecordConflictError: It isn't on the shelf or out of service.
        """
        alarm = self.alarm(wanted)
        needed = {Action.UNSHELVED: State.SHELVED, Action.PUT_BACK: State.OUT_OF_SERVICE}
        is_there = {
            State.SHELVED: alarm.status.shelved_until_s is not None,
            State.OUT_OF_SERVICE: bool(alarm.status.out_of_service),
        }
        if action in needed and not is_there[needed[action]]:
            raise RecordConflictError(
                f"The alarm is not {needed[action]}: it is {alarm.status.state}.",
                where=alarm.id,
                do="Read GET /v1/alarms again; somebody may have been quicker.",
            )
        body = {"why": by.why, "said": dict(by.said or {})}
        return self.write(alarm, action, self._now_s(), body, who=by.who)

    def _now_s(self) -> float:
        return self._journal.now_ms() / 1000.0

    def _chain_of(self, wanted: str) -> str | None:
        found = self._journal.chains.find(wanted)
        if found is not None:
            return found.chain
        pattern = f'%"alarm":"{wanted}"%' if wanted.replace("-", "").isalnum() else ""
        if not pattern:
            return None
        statement = (
            select(entry_table.c.chain)
            .where(entry_table.c.kind == ALARM, entry_table.c.text.like(pattern))
            .order_by(entry_table.c.number.desc())
            .limit(1)
        )
        with self._journal.engine.connect() as connection:
            chain = connection.execute(statement).scalar()
        return None if chain is None else str(chain)

    def _open(self) -> Sequence[str]:
        statement = select(batch_table.c.id).where(batch_table.c.state != "closed")
        with self._journal.engine.connect() as connection:
            return [str(row) for row in connection.execute(statement).scalars()]

    def _entries(self, statement: Select[Any]) -> list[Entry]:
        ordered = statement.order_by(entry_table.c.number)
        with self._journal.engine.connect() as connection:
            return [_entry(*row) for row in connection.execute(ordered)]


def _after(alarm: KeptAlarm, entry: Entry) -> KeptAlarm:
    folded = Folded({alarm.id: alarm})
    folded.take([entry])
    return folded.alarms[alarm.id]


def _entry(number: int, text: str, digest: str) -> Entry:
    return Entry(number=number, hash=digest, **json.loads(text))
