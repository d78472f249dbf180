# SPDX-License-Identifier: MIT
"""The whole account of one batch in one document: who, when, with what, and what came of it."""

from __future__ import annotations

from typing import Any

from api import views
from api.analysis.gather import Gatherer
from api.analysis.whole import analysis, used_corrections
from api.cautions import cautions_of
from api.deviations import deviations_of, reviews_of
from api.kitchen import Kitchen
from api.proposals.schemas import proposal_json
from api.proposals.standing import standings
from api.records.batches import Batch, Binding, Kept
from api.sealing import Window
from api.times import format_ms
from collector.errors import RecordConflictError, UnknownRecordError

_SHORTEST_PREFIX = 4
_SEARCHED = 10_000
_VIEWS = {"event": views.event, "weighing": views.weighing, "observation": views.observation}


def batch_record(kitchen: Kitchen, batch_id: str) -> dict[str, Any]:
    """Return the record of a batch as one JSON document.

    Args:
        kitchen: The open kitchen.
        batch_id: The batch.

    Raises:
        UnknownRecordError: There is no such batch.
    """
    from api.app import program_version

    batch = kitchen.journal.batch(batch_id)
    length, head = kitchen.journal.chains.head(batch.id)
    gatherer = Gatherer.of(kitchen)
    place = kitchen.config.kitchen
    computed = analysis(kitchen, batch.id)
    return {
        "made_at": format_ms(kitchen.now_ms()),
        "program": {"name": "curdwright", "version": program_version()},
        "kitchen": {"name": place.name, "zone": place.zone, "altitude_m": place.altitude_m},
        "batch": views.batch(
            batch, cautions=cautions_of(kitchen, batch), chain={"length": length, "head": head}
        ),
        "instruments": [_instrument(kitchen, gatherer, batch, one) for one in batch.bindings],
        "corrections": used_corrections(kitchen, batch),
        "proposals": [proposal_json(one) for one in standings(batch)],
        "weighings": [views.weighing(kept) for kept in batch.weighings],
        "observations": [views.observation(kept) for kept in batch.observations],
        "gone": [_VIEWS[kept.kind](kept) for kept in batch.gone if kept.kind in _VIEWS],
        "revisions": [_revision(kept) for kept in batch.revisions],
        "deviations": deviations_of(kitchen, batch, computed),
        "reviews": reviews_of(batch),
        "analysis": computed,
    }


def find_batch(kitchen: Kitchen, said: str) -> str:
    """Return the id of the batch that somebody means.

    Args:
        kitchen: The open kitchen.
        said: Its id, the beginning of it, its name, or "last".

    Raises:
        UnknownRecordError: Nothing is called so.
        RecordConflictError: Several are.
    """
    batches = kitchen.journal.batches(limit=_SEARCHED)
    if said == "last" and batches:
        return batches[0].id
    for batch in batches:
        if batch.id == said:
            return batch.id
    found = [batch for batch in batches if batch.name.casefold() == said.casefold()]
    if not found and len(said) >= _SHORTEST_PREFIX:
        found = [batch for batch in batches if batch.id.startswith(said)]
    if not found:
        raise UnknownRecordError(
            f"There is no batch {said!r}.",
            do="Give its id, the first letters of it, its name, or last.",
        )
    if len(found) > 1:
        listed = "; ".join(f"{b.id} of {format_ms(b.started_ms)}" for b in found[:5])
        raise RecordConflictError(
            f"{len(found)} batches are called {said!r}: {listed}.", do="Give one id."
        )
    return found[0].id


def _instrument(
    kitchen: Kitchen, gatherer: Gatherer, batch: Batch, binding: Binding
) -> dict[str, Any]:
    """Return an instrument in its place: how it was corrected, and a digest of its readings."""
    from_ms, to_ms = gatherer.window(batch, binding)
    stretch = kitchen.readings.stretch(binding.series, from_ms, to_ms)
    first_ms = int(stretch.time_ms[0]) if len(stretch.time_ms) else batch.started_ms
    correction = gatherer.corrections.at(binding.series, stretch.unit, first_ms)
    return {
        **views.binding(binding),
        "unit": stretch.unit,
        "readings": Window.of(kitchen.readings, binding.series, from_ms, to_ms).digest(),
        "correction": {
            "scale": correction.scale,
            "offset": correction.offset,
            "u": correction.u,
            "time_constant_s": correction.time_constant_s,
            "method": correction.method,
            "from": list(correction.sources),
        },
        "checks": [
            {"id": check.id, "kind": check.kind, "recorded_at": check.made_at}
            for check in gatherer.corrections.checks(binding.series)
        ],
    }


def _revision(kept: Kept) -> dict[str, Any]:
    return {"issued_at": kept.recorded_at, **kept.body}
