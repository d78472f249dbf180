# SPDX-License-Identifier: MIT
"""How each proposal of a batch stands: open, accepted, dismissed, or already marked. Pure.

All of it follows from the batch's records, so that it is the same after a restart.
"""

from __future__ import annotations

import enum
from collections.abc import Sequence
from dataclasses import dataclass

from api.records.batches import Batch, Kept

# A maker's own mark of the same kind this close to a proposal is a mark of the same thing [s]
# (common practice: hands are wet, and marks are made late).
_NEAR_S = {
    "heat": 600.0,
    "target": 300.0,
    "boil": 600.0,
    "simmer": 600.0,
    "addition": 240.0,
    "ladle": 600.0,
    "press": 900.0,
    "chill": 1800.0,
    "end": 1800.0,
}
# What a maker may have marked where the detector says this.
_SAME_THING = {"target": ("addition",), "boil": ("boil", "simmer"), "simmer": ("simmer", "boil")}


class State(enum.StrEnum):
    """How a proposal stands."""

    OPEN = "open"
    ACCEPTED = "accepted"
    DISMISSED = "dismissed"
    MARKED = "already marked"


@dataclass(frozen=True, slots=True)
class Standing:
    """A proposal and what became of it.

    Attributes:
        record: The proposal's own record.
        state: How it stands.
        event: The standing mark that was made of it, or that the maker made near it.
        dismissal: The record that it was not so.
        undone: The mark that was made of it and taken back last.
    """

    record: Kept
    state: State
    event: Kept | None = None
    dismissal: Kept | None = None
    undone: Kept | None = None

    @property
    def number(self) -> int:
        """Its number in its batch."""
        return int(self.record.body["n"])


def standings(batch: Batch) -> list[Standing]:
    """Return every proposal of a batch with how it stands, in the order of their numbers."""
    return [_standing(batch, record) for record in batch.proposals]


def event_kind(kind: str) -> str:
    """Return the kind of the mark that a proposal becomes: a target is only worth a note."""
    return "note" if kind == "target" else kind


def made_of(batch: Batch, number: int) -> tuple[Kept | None, Sequence[Kept]]:
    """Return the standing mark that was made of a proposal, and those that were taken back.

    A mark that was put right by another is the same mark.

    Args:
        batch: The batch.
        number: Of the proposal.
    """
    ours = {e.id: e for e in batch.events if e.body.get("proposal") == number}
    gone = [e for e in batch.gone if e.kind == "event" and e.body.get("proposal") == number]
    if ours:
        return next(iter(ours.values())), gone
    standing = {event.id: event for event in batch.events}
    left = {event.id: event for event in batch.gone}
    undone: list[Kept] = []
    for mark in gone:
        current: Kept | None = mark
        while current is not None and current.gone.startswith("replaced by "):
            following = current.gone.removeprefix("replaced by ")
            if following in standing:
                return standing[following], undone
            current = left.get(following)
        undone.append(mark)
    return None, undone


def _standing(batch: Batch, record: Kept) -> Standing:
    number = int(record.body["n"])
    event, undone = made_of(batch, number)
    if event is not None:
        return Standing(record, State.ACCEPTED, event=event)
    dismissed = [d for d in batch.dismissals if d.body.get("proposal") == number]
    last = undone[-1] if undone else None
    if dismissed:
        return Standing(record, State.DISMISSED, dismissal=dismissed[-1], undone=last)
    if (near := _near(batch, record)) is not None:
        return Standing(record, State.MARKED, event=near, undone=last)
    if last is not None:  # taken back: nobody is asked again
        return Standing(record, State.DISMISSED, undone=last)
    return Standing(record, State.OPEN)


def _near(batch: Batch, record: Kept) -> Kept | None:
    """Return the mark nearest in time that somebody made of the same thing.

    One mark is a mark of one thing: of two proposals it is that of the nearer.
    """
    kind = str(record.body["kind"])
    alike = _SAME_THING.get(kind, (kind,))
    within_ms = 1000.0 * max(_NEAR_S.get(kind, 300.0), 3.0 * float(record.body["u_s"]))
    rivals = [one for one in batch.proposals if one.body["kind"] == kind and one.id != record.id]
    found = []
    for event in batch.events:
        if event.body["kind"] not in alike or event.body.get("proposal") is not None:
            continue
        apart_ms = abs(event.at_ms - record.at_ms)
        nearer = any(abs(event.at_ms - one.at_ms) < apart_ms for one in rivals)
        if apart_ms <= within_ms and not nearer:
            found.append((apart_ms, event.number, event))
    return min(found)[2] if found else None
