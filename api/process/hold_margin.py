# SPDX-License-Identifier: MIT
"""By how much a hold was kept or missed, in kelvin and in seconds.

Pure: numpy and what is pure only.
"""

from __future__ import annotations

import numpy as np

from api.process.curves import Floats
from api.process.hold_spec import Excursion, Margin
from api.process.hold_time import Flags, longest_of
from api.process.hold_view import HoldView
from api.process.quantities import NotShown, Quantity, Result

_HALVINGS = 28


def margin_of(view: HoldView, source: str) -> Margin:
    """Return by how much a hold was kept, negative if it was missed.

    The margin in temperature is how far the band could be narrowed, by the best values, with the
    least time still kept. With a constant uncertainty u, a safety hold is met exactly where this
    margin is at least 2 u.

    Args:
        view: The window of the hold in pieces.
        source: The series, for the origin.

    Returns:
        Margins [K, s] with their standard uncertainties.

    Source:
        Definition; uncertainty of a time from those of the crossings, half the difference between
        the times by values one u lower and one u higher (JCGM 100:2008, 5.1.3 note 2, from
        memory).
    """
    least_s = view.spec.least_s
    spread_s = view.measure_s(view.best(guard=-1.0)) - view.measure_s(view.best(guard=1.0))
    time = Quantity(
        value=view.measure_s(view.credited()) - least_s,
        unit="s",
        u=max(spread_s, 0.0) / 2.0,
        method="time credited beyond the least",
        sources=(source,),
    )
    return Margin(_temperature_margin(view, source), time)


def _temperature_margin(view: HoldView, source: str) -> Result:
    least_s = view.spec.least_s
    if view.spec.least_s == 0.0:
        return NotShown("The hold asks for no least time.")

    def is_kept(narrowed_by_k: float) -> bool:
        return view.measure_s(view.best(narrowed_by_k)) >= least_s - 1e-6

    distances = np.abs(_outside_by(view, view.segments.value))
    reach_k = float(np.max(distances[np.isfinite(distances)], initial=1.0)) + 1.0
    kept, missed = -reach_k, reach_k
    if not is_kept(kept):
        return NotShown("The time that the readings cover is too short at any temperature.")
    for _ in range(_HALVINGS):
        middle = 0.5 * (kept + missed)
        kept, missed = (middle, missed) if is_kept(middle) else (kept, middle)
    return Quantity(
        value=kept,
        unit="K",
        u=_u_where_it_counts(view, kept),
        method="how far the band could be narrowed with the least time still kept",
        sources=(source,),
    )


def _u_where_it_counts(view: HoldView, narrowed_by_k: float) -> float:
    """Return the uncertainty of the reading nearest to the edge of the narrowed band."""
    start_s, end_s = longest_of(view.best(narrowed_by_k - 1e-9))
    segments = view.segments
    read: Flags = ~np.isnan(segments.value[0]) & ~np.isnan(segments.value[1])
    inside: Flags = (segments.from_s >= start_s - 1e-6) & (segments.to_s <= end_s + 1e-6) & read
    chosen = inside if inside.any() else read
    value, u = segments.value[:, chosen], segments.u[:, chosen]
    return float(u.flat[int(np.argmax(_outside_by(view, value)))])


def _outside_by(view: HoldView, value: Floats) -> Floats:
    outside: Floats = np.full(value.shape, -np.inf)
    if view.band.low is not None:
        outside = np.maximum(outside, view.band.low - value)
    if view.band.high is not None:
        outside = np.maximum(outside, value - view.band.high)
    return outside


def worst_excursion(view: HoldView, from_s: float, to_s: float) -> Excursion | None:
    """Return the reading furthest outside the band.

    Args:
        view: The window of the hold in pieces.
        from_s: Where to begin, from the window's start [s].
        to_s: Where to end, likewise [s].

    Returns:
        The reading [degC]; None if none lies outside.

    Source:
        Definition.
    """
    times = np.stack([view.segments.from_s, view.segments.to_s])
    usable = ~np.isnan(view.segments.value) & (times >= from_s) & (times <= to_s)
    if not usable.any():
        return None
    outside = np.where(usable, _outside_by(view, view.segments.value), -np.inf)
    i = int(np.argmax(outside))
    if not outside.flat[i] > 0.0:
        return None
    return Excursion(
        value_degc=float(view.segments.value.flat[i]),
        time_s=view.window.start_s + float(times.flat[i]),
        outside_k=float(outside.flat[i]),
    )
