# SPDX-License-Identifier: MIT
"""What the heat did to the milk, by its coldest probe; whether it boiled; cook-through."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from api import views
from api.analysis.addition import Scene
from api.analysis.gather import PlacedCurve
from api.cautions import ingredients_of
from api.process.heat_treatment import HeatTreatment, heat_treatment, highest, time_at_or_above
from api.process.hold_spec import BAND, Basis, HoldSpec
from api.process.holds import judge_hold
from api.process.ingredient_rows import Hazard
from api.process.ingredients import UNKNOWN_COOK_THROUGH, cook_through
from api.process.lethality import REFERENCES, Reference
from api.process.plateau import Plateau, plateau_of
from api.process.quantities import NotShown, Quantity, Verdict
from api.times import format_s

TIMES_ABOVE_DEGC = (70.0, 90.0, 95.0)
# A required boil counts from here on; the pot's bubbles move a probe by less (common practice).
BOIL_WITHIN_K = 2.0
CAUTION = "a log is no kill step; a food-safety authority decides what an ingredient needs"


def heat_treatment_section(scene: Scene) -> dict[str, Any]:
    """Return equivalent times, the highest temperature, the boil, and cook-through verdicts.

    Args:
        scene: What is gathered for the analysis.
    """
    curves = _curves(scene)
    if isinstance(curves, NotShown):
        cooked = [_cook_through(name, None, scene) for name in ingredients_of(scene.batch)]
        return {**views.result(curves), "cook_through": cooked, "notes": [CAUTION]}
    coldest = _coldest(curves)
    notes = [CAUTION]
    if len(curves) > 1:
        notes.insert(0, f"of {len(curves)} probes in the milk, the coldest: {coldest.series}")
    return {
        "probe": coldest.series,
        "highest": views.quantity(highest(coldest.curve)),
        "boil": _boil_json(plateau_of(coldest.curve, scene.boiling)),
        "references": [_reference(coldest, reference) for reference in REFERENCES],
        "time_above": [
            {
                "name": f"at or above {limit:g} degC",
                "temperature_degc": limit,
                "time": views.quantity(time_at_or_above(coldest.curve, limit)),
            }
            for limit in TIMES_ABOVE_DEGC
        ],
        "cook_through": [
            _cook_through(name, coldest, scene) for name in ingredients_of(scene.batch)
        ],
        "notes": notes,
    }


def _boil_json(plateau: Plateau | NotShown) -> dict[str, Any]:
    if isinstance(plateau, NotShown):
        return views.not_shown(plateau.why)
    return {
        "level": views.quantity(plateau.level),
        "below_boiling": views.quantity(plateau.below_boiling),
        "started_at": format_s(plateau.start_s),
        "length_s": plateau.length_s,
        "boiled": plateau.boiled,
        "words": plateau.words,
    }


def _curves(scene: Scene) -> list[PlacedCurve] | NotShown:
    """Return the milk's curves from the heat on, so that silence before it is no gap."""
    found = scene.gatherer.curves(scene.batch, "milk", until_ms=scene.now_ms + 1)
    if isinstance(found, NotShown):
        return found
    heat_ms = scene.batch.first_ms("heat")
    if heat_ms is None:
        return found
    cut = [
        PlacedCurve(
            one.curve.between(heat_ms / 1000.0, float("inf")), one.series, one.sources, one.unmended
        )
        for one in found
    ]
    kept = [one for one in cut if len(one.curve)]
    return kept or NotShown("the probe in the milk was silent from the heat on")


def _coldest(curves: Sequence[PlacedCurve]) -> PlacedCurve:
    """Return the curve that counts least, so that no probe near the wall makes a verdict."""

    def counted_s(one: PlacedCurve) -> float:
        return heat_treatment(one.curve, REFERENCES[0]).at_least_s

    return min(curves, key=counted_s) if len(curves) > 1 else curves[0]


def _reference(placed: PlacedCurve, reference: Reference) -> dict[str, Any]:
    found: HeatTreatment = heat_treatment(placed.curve, reference)
    why, verdict = found.why, found.verdict
    if placed.unmended and verdict is not Verdict.NOT_SHOWN:
        verdict, why = Verdict.NOT_SHOWN, f"{why} The clock stepped and could not be mended."
    equivalent = found.equivalent
    if isinstance(equivalent, Quantity):
        equivalent = equivalent.using(*placed.sources)
    return {
        "name": reference.name,
        "temperature_degc": reference.temperature_degc,
        "z_below_k": reference.z_below_k,
        "z_above_k": reference.z_above_k,
        "required_s": reference.required_s,
        "floor_degc": reference.floor_degc,
        "source": reference.source,
        "known": str(reference.status),
        "equivalent": views.quantity(equivalent),
        "at_least_s": found.at_least_s,
        "at_most_s": found.at_most_s,
        "gap_s": found.gap_s,
        "verdict": str(verdict),
        "why": why,
        "notes": [reference.note] if reference.note else [],
    }


def _cook_through(name: str, placed: PlacedCurve | None, scene: Scene) -> dict[str, Any]:
    """Return whether an ingredient was cooked through, as far as a read requirement tells."""
    rows = [hazard for _, hazard in cook_through([name])]
    deciding = [h for h in rows if h.may_decide and h.least_boil_s is not None]
    shown: dict[str, Any] = {
        "ingredient": name,
        "known": [
            {
                "text": f"{h.hazard}: {h.figure}; {h.control}",
                "source": h.source,
                "status": str(h.status),
            }
            for h in rows
        ],
    }
    if not deciding:
        why = UNKNOWN_COOK_THROUGH
        if rows:
            why = "what is known was not read as a requirement in its source, and decides nothing"
        return {**shown, "verdict": str(Verdict.NOT_SHOWN), "why": why}
    if placed is None:
        why = "no probe in the milk shows it"
        return {**shown, "verdict": str(Verdict.NOT_SHOWN), "why": why}
    longest = max(deciding, key=lambda hazard: hazard.least_boil_s or 0.0)
    return {**shown, **_boiled_through(longest, placed, scene)}


def _boiled_through(hazard: Hazard, placed: PlacedCurve, scene: Scene) -> dict[str, Any]:
    spec = HoldSpec(
        name=f"cook-through, {hazard.hazard}",
        least_s=hazard.least_boil_s or 0.0,
        below_boiling_k=BOIL_WITHIN_K,
        start=BAND,
        basis=Basis.SAFETY,
    )
    start_s, now_s = float(placed.curve.time_s[0]), scene.now_ms / 1000.0
    end_s = float(placed.curve.time_s[-1]) if scene.batch.first_ms("ladle") else None
    found = judge_hold(spec, placed.curve, start_s, end_s, now_s, boiling=scene.boiling)
    return {"verdict": str(found.verdict), "why": "; ".join((found.required, *found.evidence))}
