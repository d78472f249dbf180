# SPDX-License-Identifier: MIT
"""What the verdict on a hold rests on, in sentences whose times count from its start.

Pure: no I/O; imports only what is pure.
"""

from __future__ import annotations

import math

import numpy as np

from api.process.hold_spec import Basis, Gap, HoldResult, duration_text
from api.process.hold_view import HoldView
from api.process.quantities import Quantity, Verdict


def evidence_of(view: HoldView, result: HoldResult, u_basis: str) -> tuple[str, ...]:
    """Return what a verdict rests on.

    Args:
        view: The window of the hold in pieces [s, degC].
        result: Its verdict and figures.
        u_basis: What the uncertainty is made of.

    Returns:
        Sentences; no clock times, so that they hold in every zone.

    Source:
        Definition.
    """
    start_s = view.window.start_s if result.started_s is None else result.started_s
    sentences = [_credit(view, result), _reason(view, result)]
    if result.started_s is None:
        sentences.append("The band was never entered.")
    if result.worst is not None:
        worst = result.worst
        sentences.append(
            f"Furthest outside: {worst.value_degc:.1f} degC, {worst.outside_k:.1f} K outside, "
            f"{duration_text(worst.time_s - start_s)} after its start."
        )
    sentences += [_gap(view, gap, gap.start_s - start_s) for gap in result.gaps]
    if result.margin is not None and isinstance(result.margin.temperature, Quantity):
        margin = result.margin.temperature
        still, changed = ("still", "narrower") if margin.value >= 0.0 else ("only", "wider")
        sentences.append(
            f"By the best values it would {still} have been kept with the band "
            f"{abs(margin.value):.1f} K (u {margin.u:.1f} K) {changed}."
        )
    u = view.segments.u[~np.isnan(view.segments.value)]
    if u.size:
        sentences.append(f"Standard uncertainty {float(np.median(u)):.2f} K ({u_basis}).")
    return tuple(sentence for sentence in sentences if sentence)


def _credit(view: HoldView, result: HoldResult) -> str:
    how = (
        "counted only where the value lies inside by twice its uncertainty"
        if view.spec.basis is Basis.SAFETY
        else "by the best values"
    )
    return (
        f"Inside the band for {duration_text(result.held_s)}, longest stretch "
        f"{duration_text(result.longest_unbroken_s)}, {how}."
    )


def _reason(view: HoldView, result: HoldResult) -> str:
    spec = view.spec
    counted_s = result.longest_unbroken_s if spec.unbroken else result.held_s
    short_s = spec.least_s - counted_s
    if result.verdict is Verdict.RUNNING:
        return f"{duration_text(short_s)} of the least time is left." if short_s > 0 else ""
    if result.verdict is Verdict.MET:
        return ""
    if spec.longest_s is not None and counted_s > spec.longest_s:
        return f"That is {duration_text(counted_s - spec.longest_s)} too long."
    if result.verdict is Verdict.NOT_MET:
        missing_s = spec.least_s - result.possible_s
        return f"It is {duration_text(missing_s)} too short, whatever is not known."
    if short_s <= 0:
        return "It can't be shown that it was not too long."
    return (
        f"{duration_text(short_s)} more would have to be shown; what is not shown to lie outside "
        f"comes to {duration_text(result.possible_s)}."
    )


def _gap(view: HoldView, gap: Gap, after_s: float) -> str:
    at = f"{duration_text(abs(after_s))} {'after' if after_s >= 0 else 'before'} its start"
    text = f"Gap of {duration_text(gap.length_s)} from {at} ({gap.reason})"
    if gap.lowest_degc is not None and gap.highest_degc is not None:
        if view.band.low is not None:
            text += f"; it could hide values down to {gap.lowest_degc:.1f} degC"
        if view.band.high is not None and math.isfinite(gap.highest_degc):
            text += f"; it could hide values up to {gap.highest_degc:.1f} degC"
    return text + ("; bridged." if gap.bridged else "; not counted.")
