# SPDX-License-Identifier: MIT
"""Closing a batch: a revision of its analysis, and a seal in the kitchen's own chain.

The seal holds the head of the batch's chain and, for each bound series, count, first, last and
SHA-256 of its window, so that `curdwright verify` can tell whether anything was changed later.
"""

from __future__ import annotations

import hashlib
from dataclasses import replace
from typing import Any

from api.analysis.gather import OPEN_END_MS, Gatherer
from api.kitchen import Kitchen
from api.records.batches import Batch, Binding
from api.records.chain import canonical
from api.times import format_ms
from collector.store.protocol import Stretch


def close_batch(kitchen: Kitchen, batch_id: str) -> None:
    """Issue a revision of the analysis and seal the batch.

    Args:
        kitchen: The open kitchen.
        batch_id: A batch that has its end event.
    """
    from api.analysis.whole import digest_of_inputs, used_corrections
    from api.app import program_version

    batch = kitchen.journal.batch(batch_id)
    revision = len(batch.revisions) + 1
    kitchen.journal.record(
        batch_id,
        "revision",
        {
            "revision": revision,
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
        },
    )


def window_digest(stretch: Stretch) -> dict[str, Any]:
    """Return count, first, last and SHA-256 of the readings of a stretch, as they were said.

    Each reading is hashed as the line "time_ms value quality", the value in the shortest decimal
    form that gives it back, "-" where there is none.
    """
    digest = hashlib.sha256()
    for time_ms, value in zip(stretch.time_ms.tolist(), stretch.value.tolist(), strict=True):
        said = "-" if value != value else repr(value)
        digest.update(f"{time_ms} {said}\n".encode())
    times = stretch.time_ms
    return {
        "count": len(times),
        "first": format_ms(int(times[0])) if len(times) else None,
        "last": format_ms(int(times[-1])) if len(times) else None,
        "sha256": digest.hexdigest(),
    }


def before(stretch: Stretch, arrival_ms: int) -> Stretch:
    """Return the readings of a stretch that had arrived at a time [ms since 1970 UTC]."""
    kept = stretch.arrival_ms <= arrival_ms
    return replace(
        stretch,
        time_ms=stretch.time_ms[kept],
        value=stretch.value[kept],
        quality=stretch.quality[kept],
        from_arrival=stretch.from_arrival[kept],
        arrival_ms=stretch.arrival_ms[kept],
        reasons={},
    )


def body_digest(body: object) -> str:
    """Return the SHA-256 of a JSON body in canonical form, hexadecimal."""
    return hashlib.sha256(canonical(body).encode()).hexdigest()


def _window(gatherer: Gatherer, batch: Batch, binding: Binding) -> dict[str, Any]:
    from_ms, to_ms = gatherer.window(batch, binding)
    ended_ms = batch.ended_ms
    if to_ms >= OPEN_END_MS and ended_ms is not None:
        to_ms = ended_ms
    stretch = gatherer.kitchen.readings.stretch(binding.series, from_ms, to_ms)
    return {
        "series": binding.series,
        "place": binding.place,
        "from": format_ms(from_ms),
        "to": format_ms(to_ms),
        **window_digest(stretch),
    }
