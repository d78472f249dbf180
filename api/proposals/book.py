# SPDX-License-Identifier: MIT
"""Writes proposals, and what became of them, into the chain of their batch.

A second run of the detector, after a restart or a corrected calibration, finds again what is
recorded: a proposal of the same kind close to a recorded one is that one. Imports the records.
"""

from __future__ import annotations

import uuid
from collections.abc import Collection, Mapping, Sequence
from typing import Any

from api.process.marks_settings import Proposal
from api.proposals.standing import Standing, State, event_kind, made_of, standings
from api.records.batches import Batch, Kept
from api.records.journal import Journal
from api.times import format_ms, format_s
from collector.errors import RecordConflictError, UnknownRecordError

DETECTOR = "marks 1"
"""Name and version of the detector, kept with each proposal."""

Fields = dict[str, Any]
_SPACE = uuid.UUID("0c5b2a3e-41b7-4d7e-9f0e-3f2f5d6c9a10")
# Two runs of the detector mean the same thing if they say it of times this close [s].
_SAME_S = {
    "heat": 180.0,
    "target": 120.0,
    "boil": 300.0,
    "simmer": 300.0,
    "addition": 60.0,
    "ladle": 180.0,
    "press": 300.0,
    "chill": 600.0,
    "end": 900.0,
}
_SPREADS = 3.0


def id_of(batch_id: str, *what: object) -> str:
    """Return the id of a record that follows from a proposal; the same for the same."""
    return str(uuid.uuid5(_SPACE, "/".join([batch_id, *map(str, what)])))


class ProposalBook:
    """Records proposals, accepts and dismisses them. Its caller lets one in at a time."""

    def __init__(self, journal: Journal) -> None:
        self._journal = journal

    def record(
        self, batch_id: str, found: Sequence[Proposal], own: Collection[int]
    ) -> list[Standing]:
        """Record what the detector has said for the first time.

        Args:
            batch_id: The batch.
            found: What it said, in the order in which it could be said.
            own: Numbers that were recorded from this same run: they are never taken for another.

        Returns:
            Those that are new.
        """
        new: list[int] = []
        for one in found:
            batch = self._journal.batch(batch_id)
            others = [p for p in batch.proposals if p.body["n"] not in {*own, *new}]
            if any(_same(one, known) for known in others):
                continue
            number = max((int(p.body["n"]) for p in batch.proposals), default=0) + 1
            self._journal.record(
                batch_id, "proposal", _body(number, one), record_id=id_of(batch_id, number)
            )
            new.append(number)
        return [one for one in standings(self._journal.batch(batch_id)) if one.number in new]

    def standing(self, batch_id: str, number: int) -> Standing:
        """Return a proposal with how it stands.

        Raises:
            UnknownRecordError: No such batch or proposal.
        """
        batch = self._journal.batch(batch_id)
        for one in standings(batch):
            if one.number == number:
                return one
        raise UnknownRecordError(
            f"There is no proposal {number}.",
            where=batch.name,
            do=f"Look at GET /v1/batches/{batch_id}/proposals for those there are.",
        )

    def accept(
        self, batch_id: str, number: int, said: Mapping[str, Any], more: Fields, *,
        record_id: str | None = None, who: str = "",
    ) -> tuple[Kept, bool]:  # fmt: skip
        """Make a mark of a proposal; a second time answers the mark that stands.

        Args:
            batch_id: The batch.
            number: Of the proposal.
            said: What the sender said, by which a repeat is recognised.
            more: "at" if another time than the detector's is meant, "note", "accepted".
            record_id: An id made by the sender.
            who: Who accepts it; "" if nobody did.

        Raises:
            UnknownRecordError: No such batch or proposal.
            RecordConflictError: The maker has marked it already, or accepted it for another time.
        """
        one = self.standing(batch_id, number)
        batch = self._journal.batch(batch_id)
        if record_id is not None and (known := self._journal.chains.find(record_id)) is not None:
            body = {**known.body, "said": dict(said)}
            return self._journal.record(batch_id, "event", body, record_id=record_id, who=who)
        if one.event is not None:
            self._refuse_other(batch, one, more)
            return one.event, False
        undone = len(made_of(batch, number)[1])
        body = {**_mark(one.record, batch), **more, "said": dict(said)}
        made = record_id or id_of(batch_id, number, "accepted", undone)
        return self._journal.record(batch_id, "event", body, record_id=made, who=who)

    def dismiss(
        self, batch_id: str, number: int, said: Mapping[str, Any], why: str | None, *,
        record_id: str | None = None, who: str = "",
    ) -> tuple[Kept, bool]:  # fmt: skip
        """Record that a proposal was not so; a second time answers the first.

        Raises:
            UnknownRecordError: No such batch or proposal.
            RecordConflictError: A mark stands that was made of it.
        """
        one = self.standing(batch_id, number)
        batch = self._journal.batch(batch_id)
        if one.dismissal is not None and one.event is None:
            return one.dismissal, False
        if one.state is State.ACCEPTED and one.event is not None:
            raise RecordConflictError(
                f"Proposal {number} was accepted: the mark of {format_ms(one.event.at_ms)} stands.",
                where=batch.name,
                do=f'Take the mark back first: POST …/events {{"withdraws": "{one.event.id}"}}.',
            )
        gone = [d for d in batch.gone if d.kind == "dismissal" and d.body["proposal"] == number]
        body: Fields = {"proposal": number, "said": dict(said)}
        if why:
            body["why"] = why
        made = record_id or id_of(batch_id, number, "dismissed", len(gone))
        return self._journal.record(batch_id, "dismissal", body, record_id=made, who=who)

    def _refuse_other(self, batch: Batch, one: Standing, more: Fields) -> None:
        assert one.event is not None
        at = format_ms(one.event.at_ms)
        if one.state is State.MARKED:
            raise RecordConflictError(
                f"The {one.event.body['kind']} is marked already, at {at}.",
                where=batch.name,
                do="Take that mark back first if the detector's time is the better one.",
            )
        if more.get("at") not in (None, at):
            raise RecordConflictError(
                f"Proposal {one.number} was accepted for {at}, not for {more['at']}.",
                where=batch.name,
                do=f'Put the mark right: POST …/events {{"kind", "at", "replaces": '
                f'"{one.event.id}"}}.',
            )


def _body(number: int, one: Proposal) -> Fields:
    return {
        "n": number,
        "kind": one.kind,
        "at": format_s(one.at),
        "u_s": round(one.u_at, 3),
        "seen_at": format_s(one.seen_at),
        "confidence": round(one.confidence, 4),
        "why": one.why,
        "detector": DETECTOR,
    }


def _mark(record: Kept, batch: Batch) -> Fields:
    """Return the mark that a proposal becomes, before anything else was said of it."""
    kind = str(record.body["kind"])
    body: Fields = {
        "kind": event_kind(kind),
        "at": format_ms(record.at_ms),
        "by": "detector",
        "proposal": int(record.body["n"]),
        "confidence": record.body["confidence"],
        "u_s": record.body["u_s"],
    }
    if kind == "target":
        body["note"] = target_note(batch)
    return body


def target_note(batch: Batch) -> str:
    """Return the words of the note that a reached target becomes."""
    from api.holds import targets_of

    targets = targets_of(batch.recipe, batch.body.get("target"))
    target = next((one for one in targets if one.kind in ("addition", "")), None)
    return f"target reached, {target.value_degc:g} degC" if target else "target reached"


def _same(one: Proposal, known: Kept) -> bool:
    if known.body["kind"] != one.kind:
        return False
    apart_s = abs(one.at - known.at_ms / 1000.0)
    spread_s = _SPREADS * max(one.u_at, float(known.body["u_s"]))
    return apart_s <= max(_SAME_S.get(one.kind, 120.0), spread_s)
