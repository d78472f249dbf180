# SPDX-License-Identifier: MIT
"""Batches that begin by themselves: an idle pot with a probe begins to heat.

The one batch that is planned or soaking for that pot is joined, else the kitchen is asked. Readings
are kept anyway, so an answer that comes late loses nothing: the batch starts when the heat came on.
"""

from __future__ import annotations

import functools
import logging
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from api.analysis.gather import OPEN_END_MS, Gatherer
from api.checking import boiling_point
from api.entering import Fields, resolve_batch
from api.hands_free.questions import SAME_MS, Question, QuestionBook, id_of, waiting_at
from api.kitchen import Kitchen
from api.process.marks_settings import MarkSettings, Proposal
from api.proposals.placed import Feed, Window
from api.proposals.service import Proposing
from api.proposals.standing import State
from api.records.batches import Batch
from api.schemas import BatchBody
from api.times import format_ms
from api.watch.threads import Pace, keep_looking
from collector.errors import RecordConflictError

_log = logging.getLogger(__name__)

EVERY_S = 4.0
SURE = 0.9
"""Less sure than this, nothing begins and nobody is asked [-]."""
KITCHENS_SETTING = "as the kitchen says"
"""How a mark says that nobody was asked, as the kitchen's settings allow."""
_AFTER_FAULT_S = 10.0
_LOOK_BACK_MS = 4 * 3_600_000
# Heat that was seen longer ago than this is told by nobody any more [s].
_FRESH_S = 1800.0
_BEFORE_HEAT_MS = 600_000
_BUSY = ("running", "chilling")


@dataclass(frozen=True, slots=True)
class Heat:
    """A heat that came on.

    Attributes:
        at_ms: When [ms since 1970 UTC].
        u_s: Standard uncertainty of that [s].
        confidence: [-]
        why: What showed it.
    """

    at_ms: int
    u_s: float
    confidence: float
    why: str


class Starting:
    """Watches the idle pots of one kitchen."""

    def __init__(self, kitchen: Kitchen, proposing: Proposing) -> None:
        self._kitchen = kitchen
        self._proposing = proposing
        self.book = QuestionBook(kitchen)
        self._feeds: dict[str, tuple[tuple[Any, ...], Feed]] = {}
        self._arrival = -1

    async def run(self) -> None:
        """Watch until cancelled."""
        if self._kitchen.config.hands_free.when_heated == "off":
            return
        complain = functools.partial(_log.exception, "idle pots could not be looked at")
        await keep_looking(self.look, Pace("starting", lambda: EVERY_S, _AFTER_FAULT_S, complain))

    def look(self) -> None:
        """Look whether an idle pot has begun to heat, and join its batch or ask."""
        last = self._kitchen.readings.last_arrival()
        if last == self._arrival:
            return
        self._arrival = last
        pots = self._kitchen.journal.latest_by("pot", "name")
        placed = [entry.body for entry in pots.values() if entry.body.get("thermometer")]
        gatherer = Gatherer.of(self._kitchen) if placed else None
        for pot in placed:
            assert gatherer is not None
            heat = self._heat_of(gatherer, pot)
            if heat is not None:
                self._begin(pot, heat)

    def _heat_of(self, gatherer: Gatherer, pot: Mapping[str, Any]) -> Proposal | None:
        """Return the heat that has just been seen to come on at an idle pot."""
        name, series, now_ms = str(pot["name"]), str(pot["thermometer"]), self._kitchen.now_ms()
        idle_ms = self._idle_since(name, series, now_ms)
        if idle_ms is None:
            self._feeds.pop(name, None)
            return None
        key = (series, pot.get("scale"), idle_ms)
        known = self._feeds.get(name)
        news: dict[str, int] | None = None
        if known is not None and known[0] == key:
            feed = known[1]
            news = dict.fromkeys(feed.series, OPEN_END_MS)  # on from what was read last
        else:
            feed = Feed(_windows(pot, max(idle_ms, now_ms - _LOOK_BACK_MS)), self._settings())
            self._feeds[name] = (key, feed)
        found = [
            one
            for one in feed.take(gatherer, news)
            if one.kind == "heat"
            and one.confidence >= SURE
            and now_ms / 1000.0 - one.seen_at <= _FRESH_S
        ]
        return found[-1] if found else None

    def _settings(self) -> MarkSettings:
        return MarkSettings(boiling=boiling_point(self._kitchen.config))

    def _idle_since(self, name: str, series: str, now_ms: int) -> int | None:
        """Return since when no batch uses a probe [ms since 1970 UTC], None while one does."""
        since_ms = 0
        for batch in self._kitchen.journal.batches(limit=100):
            of_pot = batch.body.get("pot") == name
            bound = [one for one in batch.bindings if one.series == series]
            if batch.state in _BUSY:
                if of_pot or any(one.to_ms is None or one.to_ms > now_ms for one in bound):
                    return None
                since_ms = max([since_ms, *(one.to_ms or 0 for one in bound)])
            elif not batch.open and bound:
                since_ms = max(since_ms, batch.ended_ms or 0)
        return since_ms

    # --- what is done about it ---------------------------------------------------------------

    def _begin(self, pot: Mapping[str, Any], seen: Proposal) -> None:
        waiting = waiting_at(self._kitchen, str(pot["name"]), str(pot["thermometer"]))
        if self._kitchen.config.hands_free.when_heated == "join" and len(waiting) == 1:
            heat = Heat(round(seen.at * 1000.0), seen.u_at, seen.confidence, seen.why)
            self.join(waiting[0], pot, heat, accepted=KITCHENS_SETTING)
        else:
            self.book.ask(pot, seen)

    def join(
        self, batch: Batch, pot: Mapping[str, Any], heat: Heat, *, accepted: str, who: str = ""
    ) -> None:
        """Bind a pot's instruments to a batch where they aren't, and mark the heat in it.

        Args:
            batch: That is planned or soaking.
            pot: As the list of pots has it.
            heat: When it came on.
            accepted: Who says that it was so.
            who: That person's name.
        """
        places = {"milk": pot.get("thermometer"), "under_pot": pot.get("scale")}
        for place, series in places.items():
            if series and not any(
                one.series == series and one.place == place for one in batch.bindings
            ):
                body: Fields = {
                    "series": series,
                    "place": place,
                    "from": format_ms(heat.at_ms - _BEFORE_HEAT_MS),
                    "by": "detector",
                    "said": {"series": series, "place": place},
                }
                made = id_of(batch.id, "binding", place, series)
                self._kitchen.journal.record(batch.id, "binding", body, record_id=made, who=who)
        self._mark_heat(batch.id, heat, accepted, who)

    def _mark_heat(self, batch_id: str, heat: Heat, accepted: str, who: str) -> None:
        """Accept the batch's own proposal of this heat, or mark it where there is none."""
        for one in self._proposing.of(batch_id):
            near = abs(one.record.at_ms - heat.at_ms) <= SAME_MS
            if one.record.body["kind"] != "heat" or not near:
                continue
            if one.state is State.OPEN:
                self._proposing.accept(batch_id, one.number, {}, {"accepted": accepted}, who=who)
            return
        batch = self._kitchen.journal.batch(batch_id)
        if any(abs(one.at_ms - heat.at_ms) <= SAME_MS for one in batch.events_of("heat")):
            return
        at = format_ms(heat.at_ms)
        body: Fields = {
            "kind": "heat",
            "at": at,
            "by": "detector",
            "confidence": round(heat.confidence, 4),
            "u_s": round(heat.u_s, 3),
            "accepted": accepted,
            "said": {"kind": "heat", "at": at},
        }
        self._kitchen.journal.record(
            batch_id, "event", body, record_id=id_of(batch_id, "heat", at), who=who
        )

    # --- an answer ---------------------------------------------------------------------------

    def start(
        self, question: Question, said: Mapping[str, Any], fields: Fields, who: str
    ) -> tuple[str, bool]:
        """Start or join the batch of a question; a second time answers the first.

        Args:
            question: As it stands.
            said: What the sender said.
            fields: "batch" to join one, else perhaps "name" and "recipe" of a new one.
            who: Who says so.

        Returns:
            The batch's id, and whether the answer is new.

        Raises:
            RecordConflictError: The question was dismissed, or a batch is under way there.
            UnknownRecordError: No such batch or recipe.
        """
        body = question.entry.body
        if question.batch is not None:
            return question.batch, False
        if question.state in ("dismissed", "past"):
            raise RecordConflictError(
                f"The question about {body['pot']} is {question.state}.",
                where=question.entry.id,
                do="Start a batch with POST /v1/batches and its started_at.",
            )
        batch_id = fields.get("batch") or self._new_batch(question, fields, who)
        batch = self._kitchen.journal.batch(batch_id)
        heat = Heat(question.at_ms, float(body["u_s"]), float(body["confidence"]), body["why"])
        self.join(batch, _pot_of(body), heat, accepted="by a person", who=who)
        self.book.answer(question, said, who, batch=batch_id)
        return batch_id, True

    def _new_batch(self, question: Question, fields: Fields, who: str) -> str:
        body = question.entry.body
        wanted = BatchBody(
            name=fields.get("name") or f"{body['pot']}, {body['at'][:10]}",
            recipe=fields.get("recipe"),
            pot=body["pot"],
            thermometer=body["thermometer"],
            scale=body.get("scale"),
            started_at=body["at"],
        )
        resolved = {**resolve_batch(self._kitchen, wanted), "by": "detector"}
        made = id_of(question.entry.id, "batch")
        return self._kitchen.journal.start_batch(resolved, record_id=made, who=who).id


def _pot_of(body: Mapping[str, Any]) -> Fields:
    return {"name": body["pot"], "thermometer": body["thermometer"], "scale": body.get("scale")}


def _windows(pot: Mapping[str, Any], from_ms: int) -> tuple[Window, ...]:
    windows = [Window("milk", str(pot["thermometer"]), from_ms, OPEN_END_MS)]
    if pot.get("scale"):
        windows.append(Window("under_pot", str(pot["scale"]), from_ms, OPEN_END_MS))
    return tuple(windows)
