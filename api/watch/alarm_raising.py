# SPDX-License-Identifier: MIT
"""Raises, ends, suppresses and releases alarms: each time a record, and where it calls a notice.

Holds the alarms of the open batches as they were folded last; what others record of them, such as
that one was acknowledged, is taken up before each look.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Collection
from dataclasses import dataclass

from api.kitchen import Kitchen
from api.process.ingredient_names import alike
from api.process.ingredient_table import ingredient_table
from api.records.batches import Batch
from api.records.chain import KITCHEN, Entry
from api.times import parse_ms
from api.watch.alarm_book import AlarmBook, alarm_id
from api.watch.alarm_fold import FOLDED_KINDS, OF_A_MOMENT, Folded, KeptAlarm
from api.watch.alarm_state import Action, State, due
from api.watch.batch_watch import OLD_S
from api.watch.finding import Finding
from api.watch.limit_kinds import KINDS
from api.watch.limits import Around, Settings
from api.watch.notice_book import NOTICE, PASSED, NoticeBook
from api.watch.wording import Words
from collector.errors import UnitError
from collector.units import to_canonical

_MOST_ENTRIES = 1000


@dataclass(frozen=True, slots=True)
class Found:
    """Why an alarm is raised.

    Attributes:
        title: A line for the head of a message.
        text: What is said, whole by itself.
        priority: "low", "medium" or "high".
        at_s: When [s since 1970 UTC].
        value: What was judged, in the kind's unit.
        limit: The limit, same unit.
        sources: What it was read from.
    """

    title: str
    text: str
    priority: str
    at_s: float
    value: float
    limit: float
    sources: tuple[str, ...]


class Raising:
    """The alarms of one kitchen, as this process knows them."""

    def __init__(self, kitchen: Kitchen, wake: Callable[[], None]) -> None:
        """Take the kitchen, and what to call when there is a notice to send."""
        self._kitchen = kitchen
        self._wake = wake
        self._book = AlarmBook(kitchen.journal)
        self._notices = NoticeBook(kitchen.journal)
        self._folded = Folded()
        self._number = -1
        self._attended: set[str] | None = None

    @property
    def alarms(self) -> dict[str, KeptAlarm]:
        """All alarms by id, as they stand."""
        return self._folded.alarms

    def catch_up(self) -> bool:
        """Take up what was recorded meanwhile.

        Returns:
            Whether a target or a hold was told: then other limits may hold.
        """
        chains = self._kitchen.journal.chains
        if self._number < 0:
            self._number = chains.last_number()
            self._folded = self._book.folded()
            return True
        told = False
        while new := chains.since(self._number, _MOST_ENTRIES):
            self._number = new[-1].number
            self._folded.take(entry for entry in new if entry.kind in FOLDED_KINDS)
            told = told or any(_tells(entry) for entry in new)
        self._folded.calls.clear()
        self._folded.changes.clear()
        return told

    def attend(self, batches: Collection[str]) -> None:
        """Keep the alarms of these batches and of the kitchen only.

        Those of a closed batch are history, and call nobody; one that is opened again by taking
        its end back has them as they were.

        Args:
            batches: Those that are open.
        """
        wanted = {KITCHEN, *batches}
        for alarm in list(self.alarms.values()):
            if alarm.chain not in wanted:
                del self.alarms[alarm.id]
        for batch in wanted - self._attended if self._attended is not None else ():
            self.alarms.update(self._book.folded(batch=batch).alarms)
        self._attended = wanted

    def of(self, chain: str, key: str, kind: str) -> KeptAlarm:
        """Return the alarm of a limit; a normal one if it was never raised."""
        made = alarm_id(chain, key)
        return self.alarms.get(made) or KeptAlarm(made, chain, {"key": key, "about": kind})

    def of_chain(self, chain: str) -> list[KeptAlarm]:
        """Return the alarms of one chain."""
        return [alarm for alarm in self.alarms.values() if alarm.chain == chain]

    def is_active(self, chain: str, key: str) -> bool:
        """Tell whether the condition of a limit holds."""
        alarm = self.alarms.get(alarm_id(chain, key))
        return alarm is not None and alarm.status.active

    def recorded(self, chain: str) -> dict[str, tuple[bool, float]]:
        """Return by key whether each alarm's condition holds, and when that last changed."""
        return {
            alarm.key: (alarm.status.active, alarm.changed_s)
            for alarm in self.of_chain(chain)
            if not alarm.of_a_moment
        }

    def raised(self, alarm: KeptAlarm, found: Found) -> None:
        """Raise an alarm, and call whoever a notice reaches."""
        kind = KINDS[alarm.about]
        if alarm.status.active:
            return
        if not alarm.status.hidden:
            self._call(alarm, found, alarm.status.calls + 1)
        facts = {
            "title": found.title,
            "text": found.text,
            "priority": found.priority,
            "value": found.value,
            "limit": found.limit,
            "unit": kind.unit,
            "respond_s": kind.respond_s,
            "respond": kind.respond,
            "caution": kind.caution,
            "from": list(found.sources),
        }
        self._put(alarm, Action.RAISED, found.at_s, **facts)

    def ended(self, alarm: KeptAlarm, at_s: float, value: float) -> None:
        """Record that the condition of an alarm no longer holds.

        What had come and gone before its readings arrived calls nobody to acknowledge it.
        """
        self._put(alarm, Action.RETURNED, at_s, value=value)
        now_s = self._kitchen.now_ms() / 1000.0
        if now_s - at_s > OLD_S:
            why = "it was over before its readings arrived"
            self._put(self.alarms[alarm.id], Action.ACKNOWLEDGED, now_s, why=why)

    def suppress(self, alarm: KeptAlarm, why: str, now_s: float) -> None:
        """Suppress an alarm by design, or release it when there is no reason any more."""
        if why and not alarm.status.suppressed and alarm.status.beneath is not State.NORMAL:
            self._put(alarm, Action.SUPPRESSED, now_s, why=why)
        elif not why and alarm.status.suppressed:
            self._put(alarm, Action.RELEASED, now_s)

    def time_passes(self, alarm: KeptAlarm, now_s: float) -> None:
        """Bring an alarm back from the shelf, or call again for one that stays."""
        kind = KINDS.get(alarm.about)
        action = due(alarm.status, now_s, kind.re_alarm_s if kind else None)
        if action is None:
            return
        facts = alarm.facts
        if alarm.status.active and not (alarm.status.suppressed or alarm.status.out_of_service):
            again = Found(
                str(facts["title"]), f"{facts['text']} (still so)", alarm.priority, now_s,
                0.0, 0.0, tuple(facts.get("from") or ()),
            )  # fmt: skip
            self._call(alarm, again, alarm.status.calls + 1)
        self._put(alarm, action, now_s)

    def _call(self, alarm: KeptAlarm, found: Found, call: int) -> None:
        """Send a notice, unless the priority is low: then the pages alone tell it."""
        if found.priority == "low":
            return
        finding = Finding(
            alarm.chain,
            f"{alarm.id}/{call}",
            "alarm",
            found.at_s,
            Words(found.title, found.text, found.priority),
            found.sources,
            self._kitchen.now_ms() / 1000.0 - found.at_s > OLD_S,
        )
        self._notices.tell(finding, self._wake)

    def _put(self, alarm: KeptAlarm, action: Action, at_s: float, **more: object) -> None:
        changed = self._book.write(alarm, action, at_s, more)
        if changed is not alarm:
            self.alarms[alarm.id] = changed


def _tells(entry: Entry) -> bool:
    return entry.kind in (NOTICE, PASSED) and entry.body.get("about") in OF_A_MOMENT


def around_of(kitchen: Kitchen, batch: Batch, boiling_degc: float) -> Around:
    """Return what a batch's limits depend on beside its own records.

    Args:
        kitchen: The open kitchen.
        batch: The batch.
        boiling_degc: Where water boils in the kitchen [degC].
    """
    told = [e for e in kitchen.journal.chains.of_kind(batch.id, NOTICE, PASSED) if _tells(e)]
    complete_s = {
        str(entry.body["cause"]).split("/", 2)[2]: parse_ms(entry.body["at"]) / 1000.0
        for entry in told
        if entry.body["about"] == "hold"
    }
    wanted = kitchen.config.alarms
    return Around(
        boiling_degc=boiling_degc,
        foam_degc=foam_degc(kitchen, batch),
        complete_s=complete_s,
        told=frozenset(str(entry.body["cause"]) for entry in told),
        settings=Settings(wanted.lead_s, wanted.over_target_k, wanted.edge_k),
    )


def foam_degc(kitchen: Kitchen, batch: Batch) -> float:
    """Return where the milk of a batch may foam over on its way up [degC].

    The lowest of its ingredients' temperatures: the maker's own where one was recorded, else the
    table's, else the table's default.
    """
    own = kitchen.journal.latest_by("ingredient", "name")
    found: list[float] = []
    for part in batch.body.get("ingredients") or []:
        said = own[part["name"]].body.get("foam") if part["name"] in own else None
        if said is not None:
            with contextlib.suppress(UnitError):
                found.append(to_canonical(said["value"], said["unit"], "temperature"))
                continue
        found += [known.foam_degc for known in alike(part["name"])]
    return min(found, default=ingredient_table().foam_degc)
