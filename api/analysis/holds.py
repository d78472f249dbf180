# SPDX-License-Identifier: MIT
"""The verdicts on a batch's holds, from its readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from api import views
from api.analysis.gather import PlacedCurve
from api.holds import holds_of
from api.process.hold_spec import BAND, HoldResult, HoldSpec, Unusable
from api.process.holds import judge_hold
from api.process.quantities import NotShown, Quantity, Verdict
from api.records.batches import Batch
from api.times import format_s

_CLOCK_DOUBT_S = 1.0
_POUR_S = 60.0
_LID_S = 30.0


@dataclass(frozen=True, slots=True)
class Window:
    """From when to when a hold is meant, and how that is known.

    Attributes:
        start_s: Its start, None before it [s since 1970 UTC].
        end_s: Its end, None before it [s since 1970 UTC].
        why: What placed the start.
    """

    start_s: float | None
    end_s: float | None
    why: str


def judge_holds(
    batch: Batch,
    placed: PlacedCurve | NotShown,
    *,
    now_s: float,
    boiling: Quantity,
    pour: tuple[float, float] | None = None,
) -> list[tuple[HoldSpec, HoldResult | NotShown]]:
    """Return each hold of the batch's frozen recipe with its verdict.

    Args:
        batch: The batch.
        placed: The readings of the milk, or why there are none.
        now_s: Up to when readings count [s since 1970 UTC].
        boiling: The kitchen's boiling point [degC].
        pour: Start and end of the addition's pour as the curve places it [s since 1970 UTC].
    """
    judged: list[tuple[HoldSpec, HoldResult | NotShown]] = []
    for spec in holds_of(batch.recipe):
        if isinstance(placed, NotShown):
            judged.append((spec, placed))
            continue
        window = window_of(batch, spec, placed, pour)
        result = judge_hold(
            spec,
            placed.curve,
            window.start_s,
            window.end_s,
            now_s,
            boiling=boiling,
            disturbed=_disturbed(batch, pour),
            unusable=[
                Unusable(t - _CLOCK_DOUBT_S, t + _CLOCK_DOUBT_S, "clock step", time_uncertain=True)
                for t in placed.unmended
            ],
        )
        judged.append((spec, result))
    return judged


def window_of(
    batch: Batch, spec: HoldSpec, placed: PlacedCurve, pour: tuple[float, float] | None
) -> Window:
    """Return which stretch of time a hold is about.

    A covered hold starts at `cover`, else at the end of the pour; one that starts at the addition
    starts at the end of the pour where the curve places it, else at the mark.

    Args:
        batch: The batch.
        spec: The hold.
        placed: The readings of the milk.
        pour: As the curve places it [s since 1970 UTC].
    """
    start_s, why = _start(batch, spec, placed, pour)
    marks = [e.at_ms / 1000.0 for e in batch.events if e.body["kind"] == spec.end]
    ends = [m for m in marks if start_s is None or m > start_s]
    if spec.end == "addition" and pour is not None and ends:
        ends = [pour[0]]
    batch_end = batch.ended_ms / 1000.0 if batch.ended_ms is not None else None
    end_s = min(ends) if ends else batch_end
    return Window(start_s, end_s, why)


def _start(
    batch: Batch, spec: HoldSpec, placed: PlacedCurve, pour: tuple[float, float] | None
) -> tuple[float | None, str]:
    if spec.start == BAND:
        first = float(placed.curve.time_s[0])
        return first, "the first entry into the band"
    if spec.start == "addition" and pour is not None and batch.first_ms("addition") is not None:
        return pour[1], "the end of the pour, placed by the curve"
    mark_ms = batch.first_ms(spec.start)
    if mark_ms is not None:
        return mark_ms / 1000.0, f"the mark of {spec.start}"
    if spec.start == "cover" and pour is not None:
        return pour[1], "the end of the pour: no cover was marked"
    if spec.start == "cover" and (added_ms := batch.first_ms("addition")) is not None:
        return added_ms / 1000.0, "the mark of the addition: no cover was marked"
    return None, f"{spec.start} is not marked yet"


def _disturbed(batch: Batch, pour: tuple[float, float] | None) -> Sequence[tuple[float, float]]:
    """Return spans in which a pour or the lid could move the temperature fast."""
    spans = [(e.at_ms / 1000.0 - _POUR_S, e.at_ms / 1000.0 + _POUR_S)
             for e in batch.events_of("addition")]  # fmt: skip
    spans += [(e.at_ms / 1000.0 - _LID_S, e.at_ms / 1000.0 + _LID_S)
              for e in batch.events_of("cover")]  # fmt: skip
    return [*spans, pour] if pour else spans


def holds_json(
    judged: Sequence[tuple[HoldSpec, HoldResult | NotShown]], sources: Sequence[str]
) -> list[dict[str, Any]]:
    """Return the verdicts in the form of the interface."""
    return [_hold_json(spec, result, sources) for spec, result in judged]


def _hold_json(
    spec: HoldSpec, result: HoldResult | NotShown, sources: Sequence[str]
) -> dict[str, Any]:
    from api.process.hold_spec import required_text

    if isinstance(result, NotShown):
        return {
            "hold": spec.name,
            "required": required_text(spec),
            "basis": str(spec.basis),
            "verdict": str(Verdict.NOT_SHOWN),
            "held_s": 0.0,
            "gap_s": 0.0,
            "margin": None,
            "evidence": [result.why],
            "from": [],
        }
    margin = result.margin
    return {
        "hold": result.hold,
        "required": result.required,
        "basis": str(result.basis),
        "verdict": str(result.verdict),
        "least_s": spec.least_s,
        "started_at": _time(result.started_s),
        "ended_at": _time(result.ended_s),
        "entered_at": _time(result.entered_s),
        "left_at": _time(result.left_s),
        "reached_at": _time(result.reached_s),
        "held_s": result.held_s,
        "longest_unbroken_s": result.longest_unbroken_s,
        "gap_s": result.gap_s,
        "gaps": [
            {
                "at": format_s(gap.start_s),
                "length_s": gap.length_s,
                "lowest_degc": gap.lowest_degc,
                "highest_degc": gap.highest_degc,
                "bridged": gap.bridged,
                "why": gap.reason,
            }
            for gap in result.gaps
        ],
        "worst": {
            "value": result.worst.value_degc,
            "unit": "degC",
            "at": format_s(result.worst.time_s),
            "outside_k": result.worst.outside_k,
        }
        if result.worst
        else None,
        "margin": {
            "temperature": views.quantity(margin.temperature),
            "time": views.quantity(margin.time),
        }
        if margin
        else None,
        "evidence": list(result.evidence),
        "from": list(sources),
    }


def _time(time_s: float | None) -> str | None:
    return None if time_s is None else format_s(time_s)
