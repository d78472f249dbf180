# SPDX-License-Identifier: MIT
"""The vapour of a batch: from a scale under the pot, else from the heat balance."""

from __future__ import annotations

from dataclasses import dataclass

from api.analysis.gather import Gatherer, PlacedCurve
from api.process.evaporation import OpenPot, evaporation_from_heat, evaporation_from_scale
from api.process.quantities import NotShown, Quantity, Result
from api.records.batches import Batch


@dataclass(frozen=True, slots=True)
class Vapour:
    """What left as vapour, and how much of it before the pour.

    Attributes:
        whole: From the heat to the ladle [kg], or why it can't be shown.
        before_pour: From the heat to the start of the pour [kg], likewise.
    """

    whole: Result
    before_pour: Result


def vapour_of(
    gatherer: Gatherer,
    batch: Batch,
    milk: PlacedCurve | NotShown,
    *,
    milk_kg: Quantity | None,
    boiling_degc: float,
    pour: tuple[float, float] | None,
    now_s: float,
) -> Vapour:
    """Return the vapour of a batch.

    Args:
        gatherer: For the readings of the scale.
        batch: The batch.
        milk: The readings of the milk, or why there are none.
        milk_kg: What went on the heat, if it was weighed [kg].
        boiling_degc: Local boiling point [degC].
        pour: Start and end of the pour, if there was one [s since 1970 UTC].
        now_s: Until when readings count [s since 1970 UTC].
    """
    span = _span(batch, milk, now_s)
    if span is None:
        nothing = NotShown("neither a heat mark nor a reading says when it was heated")
        return Vapour(nothing, nothing)
    start_s, end_s = span
    covered = _covered(batch, end_s)
    scale = gatherer.curve(batch, "under_pot")

    def until(time_s: float) -> Result:
        pot = OpenPot(start_s, time_s, (pour,) if pour else (), covered)
        found: Result = NotShown("no scale is bound under the pot")
        if isinstance(scale, PlacedCurve):
            found = evaporation_from_scale(scale.curve, pot)
        if isinstance(found, NotShown) and isinstance(milk, PlacedCurve) and milk_kg is not None:
            found = evaporation_from_heat(milk.curve, milk_kg, pot, boiling_degc)
        return found

    before = until(pour[0]) if pour and pour[0] > start_s else NotShown("nothing was poured in")
    return Vapour(until(end_s), before)


def _span(batch: Batch, milk: PlacedCurve | NotShown, now_s: float) -> tuple[float, float] | None:
    heat_ms = batch.first_ms("heat")
    if heat_ms is not None:
        start_s = heat_ms / 1000.0
    elif isinstance(milk, PlacedCurve):
        start_s = float(milk.curve.time_s[0])
    else:
        return None
    ends = [batch.first_ms("ladle"), batch.ended_ms]
    later = [ms / 1000.0 for ms in ends if ms is not None and ms / 1000.0 > start_s]
    end_s = min(later) if later else now_s
    return (start_s, end_s) if end_s > start_s else None


def _covered(batch: Batch, end_s: float) -> tuple[tuple[float, float], ...]:
    return tuple((event.at_ms / 1000.0, end_s) for event in batch.events_of("cover"))
