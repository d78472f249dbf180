# SPDX-License-Identifier: MIT
"""The window of a hold in pieces: what counts in it, what can't be known, where readings lack.

Pure: numpy and what is pure only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from api.process.curves import Floats
from api.process.hold_spec import Basis, Gap, HoldSpec, Unusable
from api.process.hold_time import (
    Band,
    Flags,
    Segments,
    Stretches,
    bounds_in_gaps,
    longest_of,
    segments_of,
    stretches_within,
    total_s,
)
from api.process.hold_values import JudgedValues

GUARD = 2.0
# A pot of milk cooling without its lid, or on a flame, changes by less (common practice); steeper
# slopes in the readings themselves raise the bound.
STEEPEST_K_PER_S = 3.0 / 60.0
Spans = Sequence[tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Window:
    """The stretch of time that is meant.

    Attributes:
        start_s: Its start [s since 1970 UTC].
        length_s: Its length [s].
        ended: The event that ends it has been marked.
        longest_step_s: Readings further apart are not joined [s].
    """

    start_s: float
    length_s: float
    ended: bool
    longest_step_s: float


@dataclass(frozen=True, slots=True)
class HoldView:
    """A window in pieces, with what counts in it.

    Attributes:
        spec: What is asked for.
        band: The values that count [degC].
        window: The stretch of time.
        segments: The pieces.
        quiet: Gaps in which nothing could move the milk faster than the pot can, shape (n,).
        lowest: Lowest value that each gap could hide [degC], shape (n,).
        highest: Highest [degC], shape (n,).
    """

    spec: HoldSpec
    band: Band
    window: Window
    segments: Segments
    quiet: Flags
    lowest: Floats
    highest: Floats

    @property
    def guard(self) -> float:
        """How many standard uncertainties a value must lie inside the band [-]."""
        return GUARD if self.spec.basis is Basis.SAFETY else 0.0

    def bridged(self, band: Band) -> Flags:
        """Return the gaps that count as inside a band; none for safety."""
        if self.spec.basis is Basis.SAFETY:
            return np.zeros_like(self.quiet)
        above = self.lowest >= (-np.inf if band.low is None else band.low)
        below = self.highest <= (np.inf if band.high is None else band.high)
        return self.quiet & above & below

    def best(self, narrowed_by_k: float = 0.0, guard: float = 0.0) -> Stretches:
        """Return the stretches inside the band by the best values, or `guard` u within [s]."""
        band = self.band.narrowed(narrowed_by_k)
        return stretches_within(self.segments, band, guard, self.bridged(band))

    def credited(self) -> Stretches:
        """Return the stretches shown to lie inside the band [s]."""
        return self.best(guard=self.guard)

    def possible(self) -> Stretches:
        """Return the stretches not shown to lie outside the band [s]."""
        unknown = self.segments.is_gap.copy()
        if self.spec.basis is Basis.QUALITY:
            below = self.highest < (-np.inf if self.band.low is None else self.band.low)
            above = self.lowest > (np.inf if self.band.high is None else self.band.high)
            unknown &= ~(self.quiet & (below | above))
        return stretches_within(self.segments, self.band, -self.guard, unknown)

    def measure_s(self, stretches: Stretches) -> float:
        """Return the time that the hold counts: the longest stretch, or all together [s]."""
        start, end = longest_of(stretches)
        return end - start if self.spec.unbroken else total_s(stretches)


def view_of(
    spec: HoldSpec,
    band: Band,
    window: Window,
    values: JudgedValues,
    outages: tuple[Spans, Sequence[Unusable]],
) -> HoldView:
    """Return the window of a hold in pieces.

    Args:
        spec: What is asked for.
        band: The values that count [degC].
        window: The stretch of time.
        values: Readings in and around it [degC].
        outages: Spans that could move the temperature faster than the pot can, and spans that
            may not be used [s since 1970 UTC].

    Returns:
        The view; its times count from the window's start [s].

    Source:
        Gap bound: Lipschitz (computed), with the steepest slope of the readings in the window,
        at least 3 K/min (common practice).
    """
    disturbed, unusable = outages
    start_s = window.start_s
    breaks = [(span.start_s - start_s, span.end_s - start_s) for span in unusable]
    segments = segments_of(
        values.time_s - start_s,
        (values.value, values.u),
        window.length_s,
        window.longest_step_s,
        breaks,
    )
    quiet = segments.is_gap & ~np.isnan(segments.value).any(axis=0)
    for low, high in (*((a - start_s, b - start_s) for a, b in disturbed), *breaks):
        quiet &= (segments.to_s < low) | (segments.from_s > high)
    lowest, highest = bounds_in_gaps(segments, _steepest(values, window, disturbed))
    return HoldView(spec, band, window, segments, quiet, lowest, highest)


def _steepest(values: JudgedValues, window: Window, disturbed: Spans) -> float:
    """Return the steepest slope to reckon with in a gap [K/s]."""
    end_s = window.start_s + window.length_s
    inside = (values.time_s >= window.start_s) & (values.time_s <= end_s)
    for low, high in disturbed:
        inside &= (values.time_s < low) | (values.time_s > high)
    return float(np.max(np.abs(values.slope_k_per_s[inside]), initial=STEEPEST_K_PER_S))


def gaps_of(view: HoldView, unusable: Sequence[Unusable]) -> tuple[Gap, ...]:
    """Return the times of a window without usable readings, with what they could hide.

    Args:
        view: The window in pieces.
        unusable: Spans that may not be used, with their reasons [s since 1970 UTC].

    Returns:
        The gaps in order; times [s since 1970 UTC], values [degC].

    Source:
        Lipschitz bound (computed).
    """
    segments = view.segments
    from_s, to_s = segments.clipped_s
    bridged = view.bridged(view.band)
    found = []
    for i in np.flatnonzero(segments.is_gap):
        start_s, length_s = view.window.start_s + float(from_s[i]), float(to_s[i] - from_s[i])
        end_s = start_s + length_s
        reasons = [s.reason for s in unusable if s.start_s <= end_s and s.end_s >= start_s]
        at_edge = bool(np.isnan(segments.value[:, i]).any())
        is_short = length_s <= view.window.longest_step_s
        if length_s <= 0.0 or (at_edge and is_short and not reasons):
            continue
        lowest, highest = (
            None if np.isnan(bound[i]) else float(bound[i]) for bound in (view.lowest, view.highest)
        )
        reason = ", ".join(dict.fromkeys(reasons)) or "no readings"
        found.append(Gap(start_s, length_s, lowest, highest, bool(bridged[i]), reason))
    return tuple(found)
