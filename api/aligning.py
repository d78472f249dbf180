# SPDX-License-Identifier: MIT
"""The curve of a batch on an axis that it shares with others, with its marks on that axis."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from api import views
from api.analysis.balance import balance_of
from api.analysis.gather import Gatherer, PlacedCurve
from api.analysis.masses import masses_of
from api.process.alignment import (
    Align,
    Aligned,
    aligned_on_temperature,
    aligned_on_time,
    aligned_per_kg,
)
from api.process.quantities import NotShown, Quantity, Result
from api.process.thinning import thin
from api.records.batches import Batch
from api.times import format_ms, format_s

CURVE_POINTS = 400


@dataclass(frozen=True, slots=True)
class Axis:
    """What curves have in common.

    Attributes:
        align: Time, temperature, or time for each kilogram.
        temperature_degc: Where they meet if they are aligned on temperature [degC].
    """

    align: Align = Align.TIME
    temperature_degc: float = 60.0


@dataclass(frozen=True, slots=True)
class AlignedBatch:
    """The milk's curve of one batch on a common axis.

    Attributes:
        batch: The batch.
        aligned: Its curve.
        per_kg: What the time is shared out over, 1 where it isn't [kg].
        series: Where the readings came from.
        zero: What lies at 0 on the axis, in words.
    """

    batch: Batch
    aligned: Aligned
    per_kg: float
    series: str
    zero: str


def aligned_batch(gatherer: Gatherer, batch: Batch, axis: Axis) -> AlignedBatch | NotShown:
    """Return the milk's curve of a batch on an axis, or why there is none.

    Args:
        gatherer: Of the kitchen's readings.
        batch: The batch.
        axis: What the curves have in common.
    """
    placed = gatherer.curve(batch, "milk")
    if not isinstance(placed, PlacedCurve):
        return placed
    heat_ms = batch.first_ms("heat")
    zero_s = heat_ms / 1000.0 if heat_ms is not None else float(placed.curve.time_s[0])
    zero, per_kg = "the heat" if heat_ms is not None else "the first reading", 1.0
    if axis.align is Align.TEMPERATURE:
        met = aligned_on_temperature(placed.curve, axis.temperature_degc)
        if isinstance(met, NotShown):
            return met
        aligned, zero = met, f"{axis.temperature_degc:g} degC, rising"
    elif axis.align is Align.PER_KG:
        mass = milk_mass(batch)
        if isinstance(mass, NotShown):
            return mass
        per_kg = mass.value
        aligned = aligned_per_kg(placed.curve, zero_s, per_kg)
    else:
        aligned = aligned_on_time(placed.curve, zero_s)
    return AlignedBatch(batch, aligned, per_kg, placed.series, zero)


def curve_json(batch: Batch, found: AlignedBatch | NotShown) -> dict[str, Any]:
    """Return an aligned curve with its marks as JSON, or why there is none."""
    if isinstance(found, NotShown):
        return {"batch": batch.id, **views.not_shown(found.why)}
    aligned = found.aligned
    kept = thin(np.rint(aligned.x * 1000.0).astype(np.int64), aligned.value, CURVE_POINTS)
    return {
        "batch": batch.id,
        "series": found.series,
        "zero_at": format_s(aligned.zero_s),
        "zero": found.zero,
        "x_unit": aligned.x_unit,
        "unit": "degC",
        "points": np.stack([aligned.x[kept], aligned.value[kept]], axis=1).tolist(),
        "marks": [
            {
                "kind": event.body["kind"],
                "at": format_ms(event.at_ms),
                "x": (event.at_ms / 1000.0 - aligned.zero_s) / found.per_kg,
            }
            for event in batch.events
        ],
    }


def milk_mass(batch: Batch) -> Result:
    """Return what went on the heat, as weighed, else as it follows from the others [kg].

    By the weighings alone, since it scales an axis: what evaporated before does not enter.
    """
    found = masses_of(balance_of(batch)).of("milk")
    if isinstance(found, Quantity) and found.value > 0.0:
        return found
    return NotShown("nobody weighed the milk")
