# SPDX-License-Identifier: MIT
"""The pressure on the curd, how its whey drained, and what would still have come."""

from __future__ import annotations

from typing import Any

from api import views
from api.analysis.addition import Scene
from api.analysis.gather import PlacedCurve
from api.analysis.masses import Masses
from api.observed import observed_measure
from api.process.curves import Curve
from api.process.pressing import Drain, drain_of, pressure, slow_since
from api.process.quantities import Absence, NotShown, Quantity, Result
from api.records.batches import Batch
from api.times import format_s
from collector.units import CANONICAL, to_canonical

# A press weight that nobody weighed, and a side measured with a ruler (common practice).
_USUAL_U = {"press_mass": 0.01, "press_area": 0.05}
_KINDS = {"press_mass": "mass", "press_area": "area"}


def pressing_section(scene: Scene, masses: Masses) -> dict[str, Any]:
    """Return how a curd was pressed.

    Args:
        scene: What is gathered for the analysis.
        masses: The streams of the batch [kg].
    """
    batch = scene.batch
    load, area = _given(batch, "press_mass"), _given(batch, "press_area")
    whey = _whey(scene)
    curd = masses.of("curd")
    return {
        "load": views.quantity(load),
        "area": views.quantity(area),
        "pressure": views.quantity(_pressure(load, area)),
        "drain": _drain_json(whey),
        "slow_since": _slow_json(whey, curd),
    }


def _given(batch: Batch, what: str) -> Result:
    """Return what was measured, else what the recipe's press step says."""
    kind = _KINDS[what]
    measured = observed_measure(batch, what, kind, _USUAL_U[what])
    if measured is not None:
        return measured
    steps = (batch.recipe or {}).get("steps") or []
    said = [step[what] for step in steps if step.get(what)]
    if not said:
        name = what.replace("_", " ")
        return NotShown(f"neither an observation nor the recipe gives the {name}")
    value = to_canonical(said[-1]["value"], said[-1]["unit"], kind)
    sources = ("recipe", f"assumed: {100 * _USUAL_U[what]:g} % standard uncertainty")
    u = _USUAL_U[what] * value
    return Quantity(value, CANONICAL[kind], u, "by the recipe", sources)


def _pressure(load: Result, area: Result) -> Result:
    if isinstance(load, NotShown):
        return load
    return area if isinstance(area, NotShown) else pressure(load, area)


def _whey(scene: Scene) -> Curve | NotShown:
    """Return the whey's mass from the press to the unmoulding."""
    batch = scene.batch
    pressed_ms = batch.first_ms("press")
    if pressed_ms is None:
        return NotShown("no press is marked")
    found = scene.gatherer.curve(batch, "under_press")
    if not isinstance(found, PlacedCurve):
        return found
    ends = [e.at_ms for e in batch.events_of("unmould") if e.at_ms > pressed_ms]
    end_s = min(ends) / 1000.0 if ends else scene.now_ms / 1000.0
    part = found.curve.between(pressed_ms / 1000.0, end_s)
    if len(part) == 0:
        return NotShown("the scale under the press was silent while it pressed")
    return part


def _drain_json(whey: Curve | NotShown) -> dict[str, Any]:
    if isinstance(whey, NotShown):
        return views.not_shown(whey.why)
    found = drain_of(whey)
    if not isinstance(found, Drain):
        return views.not_shown(found.why)
    low = max(found.left.value - 2.0 * found.left.u, 0.0)
    return {
        "end": views.quantity(found.end),
        "left": {
            **views.result(found.left),
            "interval": [low, found.left.value + 2.0 * found.left.u],
        },
        "rate": views.quantity(found.rate),
        "time_to_95": views.quantity(found.time_to_95),
        "fitted_from_s": found.fitted_from_s,
        "misfit_kg": found.misfit_kg,
    }


def _slow_json(whey: Curve | NotShown, curd: Result) -> dict[str, Any]:
    if isinstance(whey, NotShown):
        return views.not_shown(whey.why)
    if isinstance(curd, NotShown):
        return views.not_shown(curd.why, str(curd.status))
    at_s = slow_since(whey, curd.value)
    if at_s is None:
        return views.not_shown(
            "less than 1 g a minute for each kg of curd, for three minutes, has not come yet",
            str(Absence.NOT_SHOWN),
        )
    return {"at": format_s(at_s), "method": "under 1 g/min for each kg of curd, for 3 min"}
