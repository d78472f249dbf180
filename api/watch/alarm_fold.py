# SPDX-License-Identifier: MIT
"""What the records say of alarms. Pure folding: no I/O.

An alarm with a limit is told by entries of the kind "alarm", each of which names what happened to
it. A target reached, a hold complete and a press that marked nothing are alarms of a moment: their
notice raises them, and whoever acknowledges them ends them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from api.records.chain import Entry
from api.times import parse_ms
from api.watch.alarm_rate import Call
from api.watch.alarm_state import CALLS, Action, AlarmState, after

ALARM = "alarm"
NOTICE, ACKNOWLEDGEMENT = "notice", "acknowledgement"
FOLDED_KINDS = (ALARM, NOTICE, ACKNOWLEDGEMENT)
OF_A_MOMENT = frozenset({"target", "hold", "button"})


@dataclass(frozen=True, slots=True)
class KeptAlarm:
    """One alarm as its records tell it.

    Attributes:
        id: Its id, the same for the same limit of the same batch.
        chain: The batch's id, or "kitchen".
        facts: What was said of it when it was last raised: key, about, title, text, priority …
        status: Its state.
        told_at: When it was last raised, by the record.
        heard: The entry that acknowledged it last.
        changed_s: When its condition last began or ceased to hold [s since 1970 UTC].
        put: The entry that last shelved it, suppressed it or took it out of service.
        number: The running number of its last entry.
    """

    id: str
    chain: str
    facts: Mapping[str, Any]
    status: AlarmState = field(default_factory=AlarmState)
    told_at: str = ""
    heard: Entry | None = None
    put: Entry | None = None
    changed_s: float = float("-inf")
    number: int = 0

    @property
    def key(self) -> str:
        """What tells its limit from the others of its batch."""
        return str(self.facts.get("key", ""))

    @property
    def about(self) -> str:
        """Its kind."""
        return str(self.facts.get("about", ""))

    @property
    def priority(self) -> str:
        """Its priority: low, medium or high."""
        return str(self.facts.get("priority", "medium"))

    @property
    def of_a_moment(self) -> bool:
        """Whether it ends when it is acknowledged."""
        return self.about in OF_A_MOMENT


@dataclass(slots=True)
class Folded:
    """Alarms by id, and what called.

    Attributes:
        alarms: As they stand.
        calls: Every call, in the order of the records.
        changes: Every entry that changed an alarm, in their order.
    """

    alarms: dict[str, KeptAlarm] = field(default_factory=dict)
    calls: list[Call] = field(default_factory=list)
    changes: list[tuple[Entry, KeptAlarm]] = field(default_factory=list)

    def take(self, entries: Iterable[Entry]) -> None:
        """Take more entries, in the order of their numbers.

        Others than of alarms are let by, and so are those that an alarm has taken already.
        """
        for entry in entries:
            if entry.kind == ALARM:
                self._alarm(entry)
            elif entry.kind == NOTICE and entry.body.get("about") in OF_A_MOMENT:
                known = KeptAlarm(entry.id, entry.chain, entry.body)
                self._put(known, Action.RAISED, entry)
            elif entry.kind == ACKNOWLEDGEMENT and entry.body["notice"] in self.alarms:
                known = self.alarms[entry.body["notice"]]
                self._put(known, Action.ACKNOWLEDGED, entry)

    def _alarm(self, entry: Entry) -> None:
        body = entry.body
        known = self.alarms.get(body["alarm"])
        action = Action(body["action"])
        if known is None:
            known = KeptAlarm(body["alarm"], entry.chain, body)
        if action is Action.RAISED:
            known = replace(known, facts=body)
        self._put(known, action, entry)

    def _put(self, known: KeptAlarm, action: Action, entry: Entry) -> None:
        if entry.number <= known.number:
            return
        at_s = parse_ms(entry.body.get("at") or entry.at) / 1000.0
        until = entry.body.get("until")
        status = after(
            known.status,
            action,
            at_s,
            why=str(entry.body.get("why") or ""),
            until_s=parse_ms(until) / 1000.0 if until else None,
        )
        if status.calls > known.status.calls:
            self.calls.append(Call(known.id, at_s, known.priority))
        if action is Action.ACKNOWLEDGED and known.of_a_moment:
            status = after(status, Action.RETURNED, at_s)
        changed = replace(known, status=status, number=entry.number)
        if action in (Action.RAISED, Action.RETURNED):
            changed = replace(changed, changed_s=at_s)
        if action in CALLS:
            changed = replace(changed, told_at=entry.at)
        if action is Action.ACKNOWLEDGED and status is not known.status:
            changed = replace(changed, heard=entry)
        if action is Action.RAISED:
            changed = replace(changed, heard=None)
        if action in (Action.SHELVED, Action.SUPPRESSED, Action.TAKEN_OUT):
            changed = replace(changed, put=entry)
        self.alarms[known.id] = changed
        self.changes.append((entry, changed))
