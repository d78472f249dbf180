# SPDX-License-Identifier: MIT
"""What went otherwise than planned in a batch, what was done about it, and who looked at it.

Deviations are found anew from the analysis, the alarms and the records each time; what the maker
did about one, and deviations that only the maker knows of, are records of the batch's own chain.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from api.kitchen import Kitchen
from api.records.batches import Batch, Kept
from api.times import format_ms, parse_ms
from api.watch.alarm_book import AlarmBook
from dashboards.figure_sections import verdicts_of

Json = dict[str, Any]
LATE_MS = 10 * 60_000
"""A mark that was recorded this long after it happened is late: our own choice."""
_JUDGED = (("heat_treatment", "heat treatment"), ("chilling", "chilling"))


def deviations_of(kitchen: Kitchen, batch: Batch, analysis: Mapping[str, Any]) -> list[Json]:
    """Return the deviations of a batch, each with what was done about it.

    Args:
        kitchen: The open kitchen.
        batch: The batch.
        analysis: Of the batch, as the interface gives it.
    """
    found = [
        *_of_holds(analysis),
        *_of_rules(analysis),
        *_of_balance(analysis),
        *_of_alarms(kitchen, batch),
        *_of_late_marks(batch),
    ]
    said = [record_json(one) for one in batch.deviations]
    known = {one["about"] for one in found}
    for one in found:
        one["actions"] = [action for action in said if action.get("about") == one["about"]]
    own = [one for one in said if one.get("about") not in known]
    return found + [
        {"about": one["id"], "kind": "noted", "text": one.get("text") or "", "at": one["at"],
         "actions": [one]}
        for one in own
    ]  # fmt: skip


def record_json(kept: Kept) -> Json:
    """Return a record of a deviation, or of a review, as the interface gives it."""
    fields = {key: kept.body[key] for key in ("about", "text", "action") if kept.body.get(key)}
    shown: Json = {"id": kept.id, "at": format_ms(kept.at_ms), **fields}
    shown |= {"who": kept.who, "recorded_at": kept.recorded_at}
    if kept.gone:
        shown["gone"] = kept.gone
    return shown


def reviews_of(batch: Batch) -> list[Json]:
    """Return who reviewed a batch, and when.

    A review that was made before the last other record says so: it saw less than there is now.
    """
    later = [*batch.events, *batch.weighings, *batch.observations, *batch.deviations]
    last = max((one.number for one in later), default=0)
    return [
        {**record_json(one), "saw_all": one.number > last} for one in batch.reviews
    ]  # fmt: skip


def _found(about: str, kind: str, text: str, at: str | None) -> Json:
    return {"about": about, "kind": kind, "text": text, "at": at}


def _of_holds(analysis: Mapping[str, Any]) -> Iterator[Json]:
    for hold in analysis.get("holds") or []:
        shown = hold["verdict"] == "not shown" and hold.get("basis") == "safety"
        if hold["verdict"] == "not met" or shown:
            why = (hold.get("evidence") or [""])[0]
            text = f"{hold['hold']} {hold['verdict']}: {hold['required']}. {why}".strip()
            yield _found(f"hold:{hold['hold']}", "hold", text, hold.get("started_at"))


def _of_rules(analysis: Mapping[str, Any]) -> Iterator[Json]:
    for key, words in _JUDGED:
        for name, verdict, why in verdicts_of(analysis.get(key) or {}, legs=False):
            if verdict == "not met":
                yield _found(f"{key}:{name}", words, f"{name} {verdict}: {why}", None)


def _of_balance(analysis: Mapping[str, Any]) -> Iterator[Json]:
    test = (analysis.get("balance") or {}).get("test") or {}
    if test.get("statistic") is not None and not test.get("passed"):
        text = "The weighings contradict each other. " + str(test.get("summary") or "")
        yield _found("balance", "weighings", text.strip(), None)


def _of_alarms(kitchen: Kitchen, batch: Batch) -> Iterator[Json]:
    """Return the alarms of a batch, those of low priority left out: they only say what is next."""
    folded = AlarmBook(kitchen.journal).folded(batch=batch.id, closed=True)
    for alarm in sorted(folded.alarms.values(), key=lambda one: one.number):
        if alarm.priority != "low":
            at = format_ms(parse_ms(alarm.told_at)) if alarm.told_at else None
            yield _found(f"alarm:{alarm.id}", "alarm", str(alarm.facts.get("title", "")), at)


def _of_late_marks(batch: Batch) -> Iterator[Json]:
    late_ms = [
        delay
        for one in batch.events
        if one.body.get("by", "person") == "person"
        and (delay := parse_ms(one.recorded_at) - one.at_ms) > LATE_MS
    ]
    if late_ms:
        many = "1 mark was" if len(late_ms) == 1 else f"{len(late_ms)} marks were"
        longest = max(late_ms) / 60_000
        words = f"{longest:.0f} min" if longest < 120 else f"{longest / 60:.0f} h"
        text = f"{many} recorded more than 10 min after the event, the latest {words} after it."
        yield _found("late", "late marks", text, None)
