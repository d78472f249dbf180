# SPDX-License-Identifier: MIT
"""Questions of the kitchen: a pot has begun to heat, and nobody has said for which batch.

A question and its answer are entries of the kitchen's chain; how it stands follows from them and
from the batches. Imports the records.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from api.kitchen import Kitchen
from api.process.marks_settings import Proposal
from api.records.batches import Batch
from api.records.chain import Entry
from api.times import format_ms, format_s, parse_ms
from collector.errors import UnknownRecordError

QUESTION, ANSWER = "question", "answer"
# A question this old is about the past; two heats of one pot this close are one [ms].
_OPEN_FOR_MS = 2 * 3_600_000
SAME_MS = 600_000
# A batch that is planned for later than this is not the one that has begun [ms].
_AHEAD_MS = 12 * 3_600_000
_SPACE = uuid.UUID("9d0a8c53-6c5e-4f8f-8f5a-1b1b9f0f2c77")


@dataclass(frozen=True, slots=True)
class Question:
    """A pot that has begun to heat.

    Attributes:
        entry: Its record.
        state: "open", "answered", "dismissed" or "past".
        batch: The batch that was started or joined, None without one.
        waiting: The batches of that pot that are planned or soaking.
    """

    entry: Entry
    state: str
    batch: str | None
    waiting: tuple[Batch, ...]

    @property
    def at_ms(self) -> int:
        """When the heat came on [ms since 1970 UTC]."""
        return parse_ms(self.entry.body["at"])


def id_of(*what: object) -> str:
    """Return the id of a record that follows from a question; the same for the same."""
    return str(uuid.uuid5(_SPACE, "/".join(map(str, what))))


def waiting_at(kitchen: Kitchen, pot: str, thermometer: str) -> list[Batch]:
    """Return the batches that are planned or soaking for a pot and may begin now.

    Args:
        kitchen: The open kitchen.
        pot: Its name.
        thermometer: The series of the probe in its milk.
    """
    latest_ms = kitchen.now_ms() + _AHEAD_MS
    return [
        batch
        for batch in kitchen.journal.batches(state="open", limit=100)
        if batch.state in ("planned", "soaking")
        and batch.started_ms <= latest_ms
        and (
            batch.body.get("pot") == pot or any(one.series == thermometer for one in batch.bindings)
        )
    ]


class QuestionBook:
    """Writes questions and answers, and reads them back."""

    def __init__(self, kitchen: Kitchen) -> None:
        self._kitchen = kitchen

    def ask(self, pot: Mapping[str, Any], heat: Proposal) -> None:
        """Record a question, unless this heat was asked about already.

        Args:
            pot: As the list of pots has it.
            heat: What the detector said.
        """
        journal, at_ms = self._kitchen.journal, round(heat.at * 1000.0)
        for entry in journal.kitchen(QUESTION):
            apart_ms = abs(parse_ms(entry.body["at"]) - at_ms)
            if entry.body["pot"] == pot["name"] and apart_ms <= SAME_MS:
                return
        body = {
            "about": "heat",
            "pot": pot["name"],
            "thermometer": pot["thermometer"],
            "scale": pot.get("scale"),
            "at": format_ms(at_ms),
            "u_s": round(heat.u_at, 3),
            "seen_at": format_s(heat.seen_at),
            "confidence": round(heat.confidence, 4),
            "why": heat.why,
        }
        journal.keep(QUESTION, body, record_id=id_of(pot["name"], at_ms))

    def answer(self, question: Question, said: Mapping[str, Any], who: str, **more: Any) -> None:
        """Record what became of a question; the first answer stands."""
        answered = id_of(question.entry.id, "answer")
        if self._kitchen.journal.chains.find(answered) is None:
            body = {"question": question.entry.id, **more, "said": dict(said)}
            self._kitchen.journal.keep(ANSWER, body, record_id=answered, who=who)

    def all(self, limit: int = 50) -> list[Question]:
        """Return the questions, the latest first."""
        journal = self._kitchen.journal
        answers = {entry.body["question"]: entry for entry in journal.kitchen(ANSWER)}
        entries = journal.kitchen(QUESTION)[-limit:]
        return [self._question(e, answers.get(e.id)) for e in reversed(entries)]

    def one(self, question_id: str) -> Question:
        """Return one question.

        Raises:
            UnknownRecordError: There is no such question.
        """
        entry = self._kitchen.journal.chains.find(question_id)
        if entry is None or entry.kind != QUESTION:
            raise UnknownRecordError(
                f"There is no question {question_id!r}.",
                do="Look at GET /v1/questions for those there are.",
            )
        return self._question(entry, self._kitchen.journal.chains.find(id_of(entry.id, "answer")))

    def _question(self, entry: Entry, answer: Entry | None) -> Question:
        body = entry.body
        waiting = tuple(waiting_at(self._kitchen, body["pot"], body["thermometer"]))
        if answer is not None:
            batch = answer.body.get("batch")
            return Question(entry, "answered" if batch else "dismissed", batch, waiting)
        old = self._kitchen.now_ms() - parse_ms(body["at"]) > _OPEN_FOR_MS
        if old or self._begun_since(body):
            return Question(entry, "past", None, waiting)
        return Question(entry, "open", None, waiting)

    def _begun_since(self, body: Mapping[str, Any]) -> bool:
        """Tell whether a batch of that pot is under way, so that nothing need be asked."""
        return any(
            batch.state in ("running", "chilling")
            for batch in self._kitchen.journal.batches(state="open", limit=100)
            if batch.body.get("pot") == body["pot"]
            or any(one.series == body["thermometer"] for one in batch.bindings)
        )


def question_json(question: Question) -> dict[str, Any]:
    """Return a question as the interface gives it."""
    body = question.entry.body
    fields = ("pot", "thermometer", "scale", "at", "u_s", "seen_at", "confidence", "why")
    return {
        "id": question.entry.id,
        "about": body["about"],
        **{key: body.get(key) for key in fields},
        "asked_at": question.entry.at,
        "state": question.state,
        "batch": question.batch,
        "waiting": [{"id": batch.id, "name": batch.name} for batch in question.waiting],
    }
