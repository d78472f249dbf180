# SPDX-License-Identifier: MIT
"""The batches that went well, as a band behind a new one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from api import views
from api.aligning import AlignedBatch, Axis, aligned_batch
from api.analysis.gather import Gatherer
from api.kitchen import Kitchen
from api.process.batch_band import BatchBand, batch_band
from api.process.quantities import NotShown
from api.records.batches import Batch

GOOD = "set"
MOST_GOOD = 12
_LOOKED_THROUGH = 200


@dataclass(frozen=True, slots=True)
class GoodBatches:
    """Batches like one batch whose outcome was "set".

    Attributes:
        batches: The latest first.
        alike: What they share with it, in words.
    """

    batches: tuple[Batch, ...]
    alike: str


def good_batches(kitchen: Kitchen, like: Batch, leave_out: Sequence[str]) -> GoodBatches:
    """Return the latest batches like one that set: of its recipe, without one of its pot.

    Args:
        kitchen: The open kitchen.
        like: The batch.
        leave_out: Ids of batches that may not count.
    """
    pot = like.body.get("pot")
    recipe = like.recipe
    if recipe:
        alike = f"recipe {recipe['name']}"
    elif pot:
        alike = f"pot {pot}, without a recipe"
    else:
        return GoodBatches((), "neither a recipe nor a pot")
    found = []
    for batch in kitchen.journal.batches(state="closed", limit=_LOOKED_THROUGH):
        if batch.id == like.id or batch.id in leave_out or outcome_of(batch) != GOOD:
            continue
        same = (
            batch.recipe is not None and batch.recipe["id"] == recipe["id"]
            if recipe
            else batch.recipe is None and batch.body.get("pot") == pot
        )
        if same:
            found.append(batch)
    return GoodBatches(tuple(found[:MOST_GOOD]), alike)


def outcome_of(batch: Batch) -> str | None:
    """Return the outcome that was recorded last, None without one."""
    for record in reversed(batch.observations):
        if record.body["quantity"] == "outcome":
            return str(record.body["text"])
    return None


def band_behind(
    kitchen: Kitchen, like: Batch, axis: Axis, leave_out: Sequence[str] = ()
) -> dict[str, Any]:
    """Return the band of the good batches behind a batch as JSON.

    Args:
        kitchen: The open kitchen.
        like: The batch that is looked at.
        axis: What the curves have in common.
        leave_out: Ids of batches that may not count, such as those drawn themselves.
    """
    good = good_batches(kitchen, like, leave_out)
    gatherer = Gatherer.of(kitchen)
    curves = [aligned_batch(gatherer, batch, axis) for batch in good.batches]
    usable = [one for one in curves if isinstance(one, AlignedBatch)]
    said = {
        "like": like.id,
        "alike": good.alike,
        "outcome": GOOD,
        "batches": [views.batch_line(one.batch) for one in usable],
    }
    band = batch_band([one.aligned for one in usable])
    if isinstance(band, NotShown):
        count = len(usable)
        why = (
            f"{_counted(count)} like it with the outcome \u201c{GOOD}\u201d and a curve "
            f"({good.alike}): a band needs two."
            if count < 2
            else band.why
        )
        return {**said, **views.not_shown(why)}
    return {**said, **_band(band)}


def _counted(count: int) -> str:
    return {0: "There is no other batch", 1: "There is one other batch"}.get(count, f"{count}")


def _band(band: BatchBand) -> dict[str, Any]:
    columns = [band.x, band.low, band.middle, band.high, band.batches]
    return {
        "x_unit": band.x_unit,
        "unit": "degC",
        "method": f"lowest, median and highest of {band.of} batches at each point; "
        "where at least half of them, and two, have a reading",
        "columns": ["x", "low", "middle", "high", "batches"],
        "points": np.round(np.stack(columns, axis=1), 3).tolist(),
    }
