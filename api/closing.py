# SPDX-License-Identifier: MIT
"""Closing a batch: a revision of its analysis, and a seal in the kitchen's own chain.

The seal holds the head of the batch's chain, what `sealing` says of each bound series' window, and
of the steps of the clock, so that `curdwright verify` can tell whether anything was changed later.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from api.analysis.gather import OPEN_END_MS, Gatherer
from api.kitchen import Kitchen
from api.records.batches import Batch, Binding
from api.records.chain import Entry
from api.sealing import Window, clock_digest
from api.times import format_ms


def close_batch(kitchen: Kitchen, batch_id: str) -> bool:
    """Issue a revision of the analysis and seal the batch, if its last end isn't sealed yet.

    Args:
        kitchen: The open kitchen.
        batch_id: A batch.

    Returns:
        Whether it was sealed now.
    """
    from api.analysis.whole import digest_of_inputs, used_corrections
    from api.app import program_version

    batch = kitchen.journal.batch(batch_id)
    if batch.open or is_sealed(kitchen, batch, kitchen.journal.kitchen("seal")):
        return False
    kitchen.journal.record(
        batch_id,
        "revision",
        {
            "revision": len(batch.revisions) + 1,
            "inputs_sha256": digest_of_inputs(kitchen, batch),
            "corrections": used_corrections(kitchen, batch),
            "code": program_version(),
        },
    )
    length, head = kitchen.journal.chains.head(batch_id)
    gatherer = Gatherer.of(kitchen)
    kitchen.journal.keep(
        "seal",
        {
            "batch": batch_id,
            "length": length,
            "head": head,
            "series": [_window(gatherer, batch, binding) for binding in batch.bindings],
            "clock_steps": clock_digest(kitchen.readings.clock_steps()),
        },
    )
    return True


def seal_what_was_left(kitchen: Kitchen) -> int:
    """Seal the batches that were ended just before the program was.

    Returns:
        How many there were.
    """
    return sum(close_batch(kitchen, batch.id) for batch in unsealed(kitchen))


def unsealed(kitchen: Kitchen) -> list[Batch]:
    """Return the closed batches that have no seal at all."""
    sealed = {str(seal.body["batch"]) for seal in kitchen.journal.kitchen("seal")}
    closed = kitchen.journal.batch_ids(state="closed")
    return [kitchen.journal.batch(one) for one in closed if one not in sealed]


def is_sealed(kitchen: Kitchen, batch: Batch, seals: Sequence[Entry]) -> bool:
    """Tell whether one of the kitchen's seals reaches beyond the mark that ended a batch."""
    ended = max(event.number for event in batch.events_of("end"))
    position = sum(entry.number <= ended for entry in kitchen.journal.chains.read(batch.id))
    return any(s.body["batch"] == batch.id and s.body["length"] >= position for s in seals)


def _window(gatherer: Gatherer, batch: Batch, binding: Binding) -> dict[str, Any]:
    from_ms, to_ms = gatherer.window(batch, binding)
    from_ms = max(from_ms, 0)
    if to_ms >= OPEN_END_MS and batch.ended_ms is not None:
        to_ms = max(batch.ended_ms, from_ms)
    window = Window.of(gatherer.kitchen.readings, binding.series, from_ms, to_ms)
    return {
        "series": binding.series,
        "place": binding.place,
        "from": format_ms(from_ms),
        "to": format_ms(to_ms),
        **window.digest(),
    }
