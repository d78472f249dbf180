# SPDX-License-Identifier: MIT
"""The whole analysis of a batch: every key of the record, each with its number or its reason."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Any

from api import views
from api.analysis.addition import addition_section, room_temperature
from api.analysis.balance import balance_json, balance_of, weighings_of
from api.analysis.by_products import by_products_section
from api.analysis.chilling import chilling_section
from api.analysis.coagulant import coagulant_section
from api.analysis.components import components_of
from api.analysis.cost import cost_section
from api.analysis.gather import Gatherer, PlacedCurve
from api.analysis.heat_treatment import heat_treatment_section
from api.analysis.heating import heating_section
from api.analysis.holds import holds_json, judge_holds
from api.analysis.masses import masses_of
from api.analysis.nutrition import nutrition_section
from api.analysis.pressing import pressing_section
from api.analysis.yields import yield_section
from api.checking import boiling_point
from api.kitchen import Kitchen
from api.prices import same_substance
from api.process.quantities import NotShown, Quantity
from api.records.batches import Batch
from api.records.hashing import canonical
from api.sealing import Window
from api.times import format_ms


@dataclass(frozen=True, slots=True)
class Scene:
    """What every section of the analysis is computed from, gathered once.

    Attributes:
        kitchen: The open kitchen.
        batch: The batch.
        gatherer: For the readings of any place.
        milk: The readings of the milk, or why there are none.
        boiling: The kitchen's boiling point [degC].
        now_ms: Up to when readings count [ms since 1970 UTC].
    """

    kitchen: Kitchen
    batch: Batch
    gatherer: Gatherer
    milk: PlacedCurve | NotShown
    boiling: Quantity
    now_ms: int


def scene_of(kitchen: Kitchen, batch: Batch, *, until_ms: int | None = None) -> Scene:
    """Gather what an analysis needs.

    Args:
        kitchen: The open kitchen.
        batch: The batch.
        until_ms: Only readings before this time [ms since 1970 UTC].
    """
    gatherer = Gatherer.of(kitchen)
    now_ms = until_ms if until_ms is not None else kitchen.now_ms()
    ended_ms = batch.ended_ms
    return Scene(
        kitchen=kitchen,
        batch=batch,
        gatherer=gatherer,
        milk=gatherer.curve(batch, "milk", until_ms=until_ms),
        boiling=boiling_point(kitchen.config, _measured_pressure_pa(batch)),
        now_ms=now_ms if ended_ms is None else max(now_ms, ended_ms),
    )


def analysis(kitchen: Kitchen, batch_id: str) -> dict[str, Any]:
    """Return the whole computed record of a batch as JSON.

    Raises:
        UnknownRecordError: There is no such batch.
    """
    batch = kitchen.journal.batch(batch_id)
    scene = scene_of(kitchen, batch)
    additions = addition_section(scene, weighings_of(batch))
    vapour = additions.vapour.whole
    balance = balance_of(batch, vapour if isinstance(vapour, Quantity) and vapour.u > 0 else None)
    masses = masses_of(balance)
    components = components_of(kitchen, batch, masses)
    sources = scene.milk.sources if isinstance(scene.milk, PlacedCurve) else ()
    judged = judge_holds(
        batch,
        scene.milk,
        now_s=scene.now_ms / 1000.0,
        boiling=scene.boiling,
        pour=additions.first_pour,
    )
    return {
        "batch": batch.id,
        "computed_at": format_ms(kitchen.now_ms()),
        "revision": _revision(kitchen, batch),
        "boiling_point": views.quantity(scene.boiling),
        "addition": additions.first,
        "additions": additions.every,
        "balance": balance_json(balance),
        "holds": holds_json(judged, sources),
        "heat_treatment": heat_treatment_section(scene),
        "chilling": chilling_section(scene),
        "heating": heating_section(scene, masses, components, additions.first_pour),
        "evaporation": views.quantity(vapour),
        "coagulant": coagulant_section(batch, masses, components, room_temperature(scene)),
        "pressing": pressing_section(scene, masses),
        "yield": yield_section(balance, masses, components),
        "cost": cost_section(kitchen, batch, masses, components),
        "nutrition": nutrition_section(components),
        "by_products": by_products_section(masses, components),
    }


def digest_of_inputs(kitchen: Kitchen, batch: Batch) -> str:
    """Return the SHA-256 over what the analysis of a batch is computed from.

    Its records as they stand, the corrections by their ids, and the readings of its bindings.
    """
    gatherer = Gatherer.of(kitchen)
    windows: list[list[object]] = []
    for binding in batch.bindings:
        from_ms, to_ms = gatherer.window(batch, binding)
        window = Window.of(kitchen.readings, binding.series, from_ms, to_ms)
        mended = gatherer.mended_digest(binding.series, from_ms, to_ms)
        windows.append([binding.series, binding.place, window.digest(), mended])
    records = sorted(r.id for r in (*batch.events, *batch.weighings, *batch.observations))
    inputs = {
        "records": records,
        "windows": windows,
        "corrections": used_corrections(kitchen, batch),
        "kitchen": kitchen.config.kitchen.model_dump(mode="json"),
        "lists": used_lists(kitchen, batch),
    }
    return hashlib.sha256(canonical(inputs).encode()).hexdigest()


def used_lists(kitchen: Kitchen, batch: Batch) -> list[str]:
    """Return the ids of the lots and analyses of a batch's ingredients, and of the rates."""
    salt = batch.body.get("coagulant")
    names = [part["name"] for part in batch.body.get("ingredients") or []]
    names += [salt["name"]] if salt else []
    found = [entry.id for entry in kitchen.journal.kitchen("rate")]
    for kind, key in (("lot", "ingredient"), ("ingredient", "name")):
        found += [
            entry.id
            for entry in kitchen.journal.kitchen(kind)
            if any(same_substance(entry.body[key], name) for name in names)
        ]
    return sorted(found)


def used_corrections(kitchen: Kitchen, batch: Batch) -> list[str]:
    """Return the ids of the checks that are valid within a batch."""
    corrections = Gatherer.of(kitchen).corrections
    found: list[str] = []
    for series in dict.fromkeys(binding.series for binding in batch.bindings):
        for check in corrections.checks(series):
            ended_ms = batch.ended_ms or kitchen.now_ms()
            if check.from_ms <= ended_ms and (check.to_ms or ended_ms) >= batch.started_ms:
                found.append(check.id)
    return found


def _revision(kitchen: Kitchen, batch: Batch) -> dict[str, Any]:
    """Say whether this is an issued revision, or differs from the last that was issued."""
    if not batch.revisions:
        return {"issued": None, "current": False}
    last = batch.revisions[-1]
    same = last.body["inputs_sha256"] == digest_of_inputs(kitchen, batch)
    return {
        "issued": last.body["revision"],
        "issued_at": last.recorded_at,
        "current": same,
        "inputs_sha256": last.body["inputs_sha256"],
        "code": last.body["code"],
    }


def _measured_pressure_pa(batch: Batch) -> float | None:
    from collector.units import to_canonical

    for record in reversed(batch.observations):
        if record.body["quantity"] == "pressure" and record.body.get("value") is not None:
            return to_canonical(record.body["value"], record.body["unit"], "pressure")
    return None
