# SPDX-License-Identifier: MIT
"""The mass balance of a batch, from its weighings and its recipe's order of steps."""

from __future__ import annotations

from typing import Any

from api import views
from api.process.balance import Balance, mass_balance
from api.process.quantities import NotShown, Quantity
from api.process.streams import Process, Step, process_without_recipe
from api.process.weighings import Combining, Weighing
from api.records.batches import Batch

_STEP_OF_EVENT: dict[str, Step] = {
    "soak": Step.SOAK,
    "grind": Step.GRIND,
    "strain": Step.STRAIN,
    "settle": Step.SETTLE,
    "heat": Step.HEAT,
    "simmer": Step.HEAT,
    "boil": Step.HEAT,
    "addition": Step.SET,
    "set": Step.SET,
    "press": Step.PRESS,
}
_LEFT_OUT_ONLY_IF_SAID = (Step.GRIND, Step.STRAIN, Step.SET, Step.PRESS)


def weighings_of(batch: Batch) -> list[Weighing]:
    """Return the standing weighings as the calculations take them."""
    return [
        Weighing(
            id=record.id,
            stream=record.body["stream"],
            mass_kg=record.body["net_kg"],
            u_kg=record.body["u_kg"],
            tare=record.body.get("tare"),
            u_tare_kg=record.body.get("u_tare_kg", 0.0),
            combining=Combining(record.body["as"]),
        )
        for record in batch.weighings
    ]


def process_of(batch: Batch) -> Process:
    """Return the steps of a batch: by its recipe, else as far as its records tell.

    A recipe that names any of the steps that move mass is taken at its word about their order and
    about soaking and settling; grinding, straining, setting and pressing happen in every batch.
    """
    self_set = bool(batch.body.get("self_set"))
    weighed = {record.body["stream"] for record in batch.weighings}
    marked = {record.body["kind"] for record in batch.events}
    recipe = batch.recipe or {}
    named = [step["kind"] for step in recipe.get("steps") or []]
    if not {"soak", "grind", "strain", "settle", "press"} & set(named):
        plain = process_without_recipe(weighed, marked, self_set=self_set)
        return Process(plain.steps, plain.excluded | frozenset(recipe.get("without") or ()))
    steps = _ordered(named)
    excluded = set(recipe.get("without") or ())
    if self_set:
        excluded |= {"coagulant", "coagulant_water"}
    return Process(tuple(steps), frozenset(excluded))


def _ordered(named: list[str]) -> list[Step]:
    """Return the steps in the recipe's order; steps that it leaves unsaid but must be, in place."""
    heated_before: set[Step] = set()
    mains: set[Step] = set(_LEFT_OUT_ONLY_IF_SAID)
    heat_waits = False
    for kind in named:
        step = _STEP_OF_EVENT.get(kind)
        if step is Step.HEAT:
            heat_waits = True
        elif step is not None:
            mains.add(step)
            if heat_waits:
                heated_before.add(Step.STRAIN if step in (Step.GRIND, Step.STRAIN) else Step.SET)
                heat_waits = False
    if heat_waits or not heated_before:
        heated_before.add(Step.SET)
    steps: list[Step] = []
    for step in (Step.SOAK, Step.GRIND, Step.STRAIN, Step.SETTLE, Step.SET, Step.PRESS):
        if step in mains:
            steps += [Step.HEAT, step] if step in heated_before else [step]
    return steps


def balance_of(batch: Batch, evaporation: Quantity | None = None) -> Balance | NotShown:
    """Return the mass balance of a batch, or why there is none.

    Args:
        batch: The batch.
        evaporation: From a scale under the pot or from the heat balance [kg].
    """
    weighings = weighings_of(batch)
    if not weighings:
        return NotShown("nothing was weighed")
    return mass_balance(process_of(batch), weighings, evaporation=evaporation)


def balance_json(balance: Balance | NotShown) -> dict[str, Any]:
    """Return the balance in the form of the interface."""
    if isinstance(balance, NotShown):
        return views.not_shown(balance.why)
    return {
        "streams": [
            {
                "stream": stream.stream,
                "measured": views.quantity(stream.measured),
                "reconciled": views.quantity(stream.reconciled),
                "checked": stream.checked,
            }
            for stream in balance.streams
        ],
        "residues": [
            {
                "node": residue.node,
                "assumed": views.quantity(residue.assumed),
                "reconciled": views.quantity(residue.reconciled),
                "meaning": residue.meaning,
            }
            for residue in balance.residues
        ],
        "closure": views.quantity(balance.closure),
        "unaccounted": views.quantity(balance.unaccounted),
        "nodes": [
            {
                "name": closure.envelope.name,
                "nodes": list(closure.envelope.nodes),
                "missing": list(closure.envelope.missing),
                "closure": views.quantity(closure.closure),
                "unaccounted": views.quantity(closure.unaccounted),
            }
            for closure in balance.nodes
        ],
        "test": _test_json(balance),
        "covariance": {
            "names": list(balance.covariance_names),
            "kg2": balance.covariance_kg2.tolist(),
        },
        "notes": list(balance.notes),
    }


def _test_json(balance: Balance) -> dict[str, Any]:
    test = balance.test
    if isinstance(test, NotShown):
        return views.not_shown(test.why)
    return {
        "statistic": test.statistic,
        "degrees": test.degrees,
        "limit": test.limit,
        "passed": test.passed,
        "suspects": [list(suspect.streams) for suspect in test.suspects],
        "suspect_sets": [
            {
                "streams": list(suspect.streams),
                "too_high_by_kg": list(suspect.errors_kg),
                "also": list(suspect.also),
                "z": suspect.z,
                "statistic_without": suspect.statistic_without,
            }
            for suspect in test.suspects
        ],
        "other_causes": list(test.other_causes),
        "measurements": [
            {"stream": m.stream, "z": m.z, "beyond": m.is_beyond} for m in test.measurements
        ],
        "measurement_limit": test.measurement_limit,
        "summary": test.summary,
    }
