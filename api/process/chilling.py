# SPDX-License-Identifier: MIT
"""Whether a block was chilled fast enough, by readings of its core alone.

The clock runs from the earliest moment at which the core can have fallen through the start of the
rule for the last time; time in gaps has passed like any other. Pure: numpy only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from api.process.chill_rules import ChillLimit, ChillRule
from api.process.curves import Curve, Floats
from api.process.ingredient_rows import Status
from api.process.quantities import NotShown, Quantity, Result, Verdict
from api.process.smoothing import noise

# How much later than the core itself its probe falls, where nobody checked its lag (published
# response times of sheathed probes, second hand; in curd it is longer than in water).
PLAUSIBLE_LAG_S = 60.0


@dataclass(frozen=True, slots=True)
class LegResult:
    """One leg of a rule as the readings show it.

    Attributes:
        limit: The leg.
        took: Time from the start of the clock to the limit [s].
        at_least_s: The shortest that it can have taken [s].
        at_most_s: The longest; infinite if the limit was not reached [s].
        verdict: Met, not met, running, or not shown.
        why: The verdict in words.
    """

    limit: ChillLimit
    took: Result
    at_least_s: float
    at_most_s: float
    verdict: Verdict
    why: str


@dataclass(frozen=True, slots=True)
class ChillResult:
    """A chilling against one rule.

    Attributes:
        rule: The rule.
        start: When its clock started [s since 1970 UTC].
        legs: Each leg, in the rule's order.
        verdict: Of the whole.
        why: In words.
    """

    rule: ChillRule
    start: Result
    legs: tuple[LegResult, ...]
    verdict: Verdict
    why: str


def chilling(
    core: Curve, rule: ChillRule, *, earliest_start_s: float | None = None, now_s: float
) -> ChillResult:
    """Return the verdict on a chilling.

    Args:
        core: Calibrated readings of the probe in the block's core [degC].
        rule: What is asked for.
        earliest_start_s: Earliest moment at which the curd can have fallen through the rule's
            start, for readings that begin below it: the end of its last hold above; for a rule
            without a start, when the food was made [s since 1970 UTC].
        now_s: The moment of judging [s since 1970 UTC].

    Returns:
        A verdict for each leg and for the whole, with the times behind it [s]. "Met" needs the
        core plus two standard uncertainties below the limit in time, "not met" the core less two
        above it; a rule that nobody has read decides nothing.

    Source:
        The rule's own; crossings by straight lines between readings (definition); JCGM 106:2012
        for the guard band (from memory).
    """
    if len(core) < 2:
        return _nothing(rule, "No probe in the block's core has readings.")
    u = math.sqrt(core.u_calibration**2 + core.resolution**2 / 12.0 + noise(core) ** 2)
    started = _start(core, rule, u, earliest_start_s)
    if isinstance(started, NotShown):
        return _nothing(rule, started.why)
    early_s, best_s, late_s = started
    start = Quantity(
        value=best_s,
        unit="s",
        u=max(late_s - best_s, best_s - early_s) / 2.0,
        method=_start_method(rule),
        sources=(core.name or "core probe",),
    )
    legs = tuple(
        _leg(core, (rule, limit), (early_s, best_s, late_s), u, now_s) for limit in rule.limits
    )
    verdict = _whole([leg.verdict for leg in legs])
    return ChillResult(rule, start, legs, verdict, " ".join(leg.why for leg in legs))


def _start_method(rule: ChillRule) -> str:
    if rule.start_degc is None:
        return "when it was made"
    return f"last fall through {rule.start_degc:g} degC"


def _nothing(rule: ChillRule, why: str) -> ChillResult:
    missing = NotShown(why)
    legs = tuple(
        LegResult(limit, missing, 0.0, math.inf, Verdict.NOT_SHOWN, why) for limit in rule.limits
    )
    return ChillResult(rule, missing, legs, Verdict.NOT_SHOWN, why)


def _start(
    core: Curve, rule: ChillRule, u: float, earliest_s: float | None
) -> tuple[float, float, float] | NotShown:
    """Return when the clock started: at the earliest, best, and at the latest [s]."""
    first_s = float(core.time_s[0])
    if rule.start_degc is None:
        if earliest_s is None:
            return NotShown("When the food was made is not recorded; mark it.")
        return earliest_s, earliest_s, earliest_s
    above = rule.start_degc
    lag_s = PLAUSIBLE_LAG_S if core.time_constant_s is None else core.time_constant_s
    low = _last_fall(core.time_s, core.value - 2.0 * u, above)
    best = _last_fall(core.time_s, core.value, above)
    high = _last_fall(core.time_s, core.value + 2.0 * u, above)
    if float(core.value[-1]) - 2.0 * u >= above:
        return NotShown(f"The core is still above {above:g} degC.")
    late_s = high[1] if high is not None else first_s
    if low is not None:
        best_s = (best[0] + best[1]) / 2 if best is not None else low[1]
        early_s = low[0] - lag_s
        if earliest_s is not None:
            early_s = min(max(early_s, earliest_s), low[0])
        return early_s, max(best_s, early_s), max(late_s, best_s)
    if earliest_s is None:
        return NotShown(
            f"No reading shows the core above {above:g} degC, and nothing says since when it can "
            "have been below; put the probe in before it falls so far."
        )
    return earliest_s, earliest_s, max(late_s, earliest_s)


def _last_fall(time_s: Floats, value: Floats, level: float) -> tuple[float, float] | None:
    """Return between which moments a curve fell below a level for the last time [s].

    The two are one where readings follow each other closely, and the ends of a gap otherwise.
    """
    over = np.flatnonzero(value >= level)
    if not over.size or over[-1] == value.size - 1:
        return None
    return _crossing(time_s, value, level, int(over[-1]))


def _first_reach(time_s: Floats, value: Floats, level: float) -> tuple[float, float] | None:
    """Return between which moments a curve first came down to a level [s]."""
    under = np.flatnonzero(value <= level)
    if not under.size:
        return None
    if under[0] == 0:
        return float(time_s[0]), float(time_s[0])
    return _crossing(time_s, value, level, int(under[0]) - 1)


def _crossing(time_s: Floats, value: Floats, level: float, at: int) -> tuple[float, float]:
    before_s, after_s = float(time_s[at]), float(time_s[at + 1])
    usual_s = float(np.median(np.diff(time_s)))
    if after_s - before_s > max(3.0 * usual_s, 30.0):
        return before_s, after_s
    share = (float(value[at]) - level) / (float(value[at]) - float(value[at + 1]))
    crossed_s = before_s + share * (after_s - before_s)
    return crossed_s, crossed_s


def _leg(
    core: Curve,
    asked: tuple[ChillRule, ChillLimit],
    start_s: tuple[float, float, float],
    u: float,
    now_s: float,
) -> LegResult:
    rule, limit = asked
    early_s, best_s, late_s = start_s
    inside = core.time_s >= early_s
    time_s, value = core.time_s[inside], core.value[inside]
    soonest = _first_reach(time_s, value - 2.0 * u, limit.to_degc)
    best = _first_reach(time_s, value, limit.to_degc)
    surest = _first_reach(time_s, value + 2.0 * u, limit.to_degc)
    last_s = float(core.time_s[-1])
    # Not reached by the last reading: it has taken at least until then.
    at_least_s = max((last_s if soonest is None else soonest[0]) - late_s, 0.0)
    at_most_s = math.inf if surest is None else surest[1] - early_s
    took: Result = NotShown(f"The core was not seen at {limit.to_degc:g} degC.")
    if best is not None:
        middle_s = (best[0] + best[1]) / 2.0 - best_s
        spread_s = max(at_most_s - middle_s, middle_s - at_least_s)
        u_took = spread_s / 2.0 if math.isfinite(spread_s) else (middle_s - at_least_s) / 2.0
        took = Quantity(
            middle_s, "s", u_took, f"to {limit.to_degc:g} degC", (core.name or "core probe",)
        )
    verdict, why = _leg_verdict(rule, limit, (at_least_s, at_most_s), early_s, now_s)
    return LegResult(limit, took, at_least_s, at_most_s, verdict, why)


def _leg_verdict(
    rule: ChillRule, limit: ChillLimit, took_s: tuple[float, float], early_s: float, now_s: float
) -> tuple[Verdict, str]:
    low_s, high_s = took_s
    asked = f"{limit.to_degc:g} degC within {limit.within_s / 60:.0f} min"
    most = "not reached" if math.isinf(high_s) else f"at most {high_s / 60:.0f} min"
    found = f"{asked}: at least {low_s / 60:.0f}, {most}."
    if rule.status is not Status.SEEN:
        return Verdict.NOT_SHOWN, f"{found} The rule is known {rule.status.value} only."
    if high_s <= limit.within_s:
        return Verdict.MET, found
    if low_s > limit.within_s:
        return Verdict.NOT_MET, found
    if now_s - early_s < limit.within_s:
        return Verdict.RUNNING, found
    return Verdict.NOT_SHOWN, found


def _whole(verdicts: list[Verdict]) -> Verdict:
    for one in (Verdict.NOT_MET, Verdict.NOT_SHOWN, Verdict.RUNNING):
        if one in verdicts:
            return one
    return Verdict.MET
