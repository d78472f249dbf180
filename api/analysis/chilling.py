# SPDX-License-Identifier: MIT
"""Whether the block was chilled fast enough, by the probe in its core alone; and the forecast."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from api import views
from api.analysis.addition import Scene
from api.analysis.gather import PlacedCurve
from api.process.chill_rules import CHILL_RULES, ChillRule
from api.process.chilling import ChillResult, LegResult, chilling
from api.process.cooling_forecast import Forecast, NewtonFit, fit_cooling, forecast
from api.process.curves import Curve
from api.process.quantities import Absence, NotShown, Quantity, Verdict
from api.records.batches import Batch
from api.times import format_s

NO_PROBE = "no probe in the block"
_MEDIUM_MARKS = ("unmould", "chill")
# A probe in the bath tells of it as long as it has not been silent for longer than this [s].
_BATH_TELLS_S = 180.0
_U_BATH_PLACE_K = 0.5


def chilling_section(scene: Scene) -> dict[str, Any]:
    """Return the verdict of each rule on a batch's chilling, and when each leg will be reached.

    Args:
        scene: What is gathered for the analysis.
    """
    batch = scene.batch
    if not any(binding.place == "block_core" for binding in batch.bindings):
        return views.not_shown(NO_PROBE)
    placed = scene.gatherer.curve(batch, "block_core", until_ms=scene.now_ms + 1)
    if isinstance(placed, NotShown):
        return views.not_shown(placed.why)
    rules = [_judged(scene, placed, rule) for rule in CHILL_RULES]
    bath_curve = scene.gatherer.curve(batch, "chill_water", until_ms=scene.now_ms + 1)
    part, since = _since_medium(batch, placed.curve, bath_curve)
    bath = _bath(bath_curve, placed.curve)
    return {
        "probe": placed.series,
        "rules": [_rule_json(rule, found) for rule, found in zip(CHILL_RULES, rules, strict=True)],
        "medium_since": since,
        "surroundings": views.quantity(bath)
        if bath is not None
        else views.not_shown("no probe tells of what surrounds the block"),
        "fit": _fit_json(part, bath),
        "forecast": _forecasts(batch, part, bath, rules),
        "notes": ["limits are data with their source; local codes and your authority decide"],
    }


@dataclass(frozen=True, slots=True)
class ChillAhead:
    """The next limit of a chill.

    Attributes:
        name: Rule and limit.
        to_degc: The limit [degC].
        due_s: By when it has to be reached [s since 1970 UTC].
        found: When it will be, with a 90 % interval, or why none is said.
    """

    name: str
    to_degc: float
    due_s: float
    found: Forecast | NotShown


def chill_ahead(scene: Scene) -> ChillAhead | NotShown:
    """Return when the limit that is due next will be reached, if nothing changes.

    Where the readings do not show yet that the core will come down so far, the limit after it.

    Args:
        scene: What is gathered for the analysis.
    """
    batch = scene.batch
    if not any(binding.place == "block_core" for binding in batch.bindings):
        return NotShown(NO_PROBE)
    placed = scene.gatherer.curve(batch, "block_core", until_ms=scene.now_ms + 1)
    if isinstance(placed, NotShown):
        return placed
    due = _due([_judged(scene, placed, rule) for rule in CHILL_RULES])
    if not due:
        return NotShown("no limit of a chill is still to come")
    bath_curve = scene.gatherer.curve(batch, "chill_water", until_ms=scene.now_ms + 1)
    part, _ = _since_medium(batch, placed.curve, bath_curve)
    bath = _bath(bath_curve, placed.curve)
    rows = [
        ChillAhead(name, to_degc, due_s, forecast(part, to_degc, bath, coverage=0.90))
        for due_s, name, to_degc in sorted(due)
    ]
    return next((one for one in rows if _comes(one.found)), rows[0])


def _comes(found: Forecast | NotShown) -> bool:
    return isinstance(found, Forecast) and math.isfinite(found.latest_s)


def _due(rules: list[ChillResult | NotShown]) -> list[tuple[float, str, float]]:
    """Return the limits that are still to come: due, name, temperature [s, degC]."""
    return [
        (
            found.start.value + leg.limit.within_s,
            f"{found.rule.name}: to {leg.limit.to_degc:g} degC",
            leg.limit.to_degc,
        )
        for found in rules
        if not isinstance(found, NotShown) and isinstance(found.start, Quantity)
        for leg in found.legs
        if leg.verdict in (Verdict.RUNNING, Verdict.NOT_SHOWN) and not math.isfinite(leg.at_most_s)
    ]


def _judged(scene: Scene, placed: PlacedCurve, rule: ChillRule) -> ChillResult | NotShown:
    """Return a rule's verdict, or why it does not apply."""
    hot_s = _last_above(scene, rule.start_degc if rule.start_degc is not None else 57.0)
    if rule.start_degc is None:
        if hot_s is not None or float(np.max(placed.curve.value)) >= 57.0:
            return NotShown(
                "it was made hot: the rule is for food made cold", Absence.NOT_APPLICABLE
            )
        hot_s = scene.batch.started_ms / 1000.0
    # A batch that was closed goes on no more: what is not shown by then stays so.
    now_s = scene.now_ms / 1000.0 if scene.batch.open else math.inf
    return chilling(placed.curve, rule, earliest_start_s=hot_s, now_s=now_s)


def _last_above(scene: Scene, level_degc: float) -> float | None:
    """Return when the milk's own probe last showed at least so much [s since 1970 UTC]."""
    if isinstance(scene.milk, NotShown):
        return None
    above = np.flatnonzero(scene.milk.curve.value >= level_degc)
    return float(scene.milk.curve.time_s[above[-1]]) if above.size else None


def _rule_json(rule: ChillRule, found: ChillResult | NotShown) -> dict[str, Any]:
    shown: dict[str, Any] = {
        "name": rule.name,
        "jurisdiction": rule.jurisdiction,
        "start_degc": rule.start_degc,
        "source": rule.source,
        "known": str(rule.status),
    }
    if isinstance(found, NotShown):
        return {**shown, "verdict": str(found.status), "why": found.why, "legs": []}
    start: dict[str, Any] = views.result(found.start)
    if isinstance(found.start, Quantity):
        start = {"at": format_s(found.start.value), "u_s": found.start.u,
                 "method": found.start.method}  # fmt: skip
    return {
        **shown,
        "start": start,
        "legs": [_leg_json(leg) for leg in found.legs],
        "verdict": str(found.verdict),
        "why": found.why,
    }


def _leg_json(leg: LegResult) -> dict[str, Any]:
    return {
        "name": f"to {leg.limit.to_degc:g} degC within {leg.limit.within_s / 60.0:g} min",
        "to_degc": leg.limit.to_degc,
        "within_s": leg.limit.within_s,
        "took": views.quantity(leg.took),
        "at_least_s": leg.at_least_s,
        "at_most_s": leg.at_most_s if math.isfinite(leg.at_most_s) else None,
        "verdict": str(leg.verdict),
        "why": leg.why,
    }


def _since_medium(
    batch: Batch, core: Curve, bath: PlacedCurve | NotShown
) -> tuple[Curve, dict[str, Any]]:
    """Return the readings since the block last came into another medium.

    By the marks, or since the probe of its bath fell silent: then it was taken out.
    """
    last_s = float(core.time_s[-1])
    changes = [
        (mark.at_ms / 1000.0, kind)
        for kind in _MEDIUM_MARKS
        for mark in batch.events_of(kind)
        if mark.at_ms / 1000.0 < last_s
    ]
    if isinstance(bath, PlacedCurve):
        silent_s = float(bath.curve.time_s[-1])
        if silent_s < last_s - _BATH_TELLS_S:
            changes.append((silent_s, "the bath's probe fell silent"))
    at_s, why = max(changes, default=(float(core.time_s[0]), "the first reading"))
    return core.between(at_s, math.inf), {"at": format_s(at_s), "by": why}


def _bath(found: PlacedCurve | NotShown, core: Curve) -> Quantity | None:
    """Return what surrounds the block, if a probe in it still tells [degC]."""
    if isinstance(found, NotShown):
        return None
    bath = found.curve
    if float(core.time_s[-1]) - float(bath.time_s[-1]) > _BATH_TELLS_S:
        return None
    near = bath.value[bath.time_s >= bath.time_s[-1] - _BATH_TELLS_S]
    u = math.hypot(bath.u_calibration, _U_BATH_PLACE_K)
    return Quantity(float(np.median(near)), "degC", u, "probe in the bath", found.sources)


def _fit_json(part: Curve, bath: Quantity | None) -> dict[str, Any]:
    fitted = fit_cooling(part, bath)
    if not isinstance(fitted, NewtonFit):
        return views.not_shown(fitted.why)
    return {
        "rate": views.quantity(fitted.rate_per_s),
        "runs_to": views.quantity(fitted.ambient),
        "residual_k": fitted.residual_k,
        "fitted_from": format_s(fitted.fitted_from_s),
    }


def _forecasts(
    batch: Batch, part: Curve, bath: Quantity | None, rules: list[ChillResult | NotShown]
) -> list[dict[str, Any]]:
    """Return when each leg that is still to come will be reached if nothing changes."""
    if not batch.open:
        return []
    return [
        {
            "name": name,
            "to_degc": to_degc,
            "due_at": format_s(due_s),
            **_forecast_json(forecast(part, to_degc, bath), due_s),
        }
        for due_s, name, to_degc in _due(rules)
    ]


def _forecast_json(found: Forecast | NotShown, due_s: float) -> dict[str, Any]:
    if isinstance(found, NotShown):
        return views.not_shown(found.why)

    def at(time_s: float) -> str | None:
        return format_s(time_s) if math.isfinite(time_s) else None

    in_time = "may be late"
    if found.latest_s <= due_s:
        in_time = "in time"
    elif found.earliest_s > due_s:
        in_time = "too late"
    return {
        "at": at(found.at_s),
        "earliest": at(found.earliest_s),
        "latest": at(found.latest_s),
        "expected": in_time,
    }
