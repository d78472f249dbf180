# SPDX-License-Identifier: MIT
"""What a batch and its blocks cost, from the lots that went in and the rates that are stated."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from api import views
from api.analysis.balance import weighings_of
from api.analysis.components import Components, portions
from api.analysis.masses import Masses
from api.kitchen import Kitchen
from api.prices import price_of, rates_of
from api.process.cost import BlockCost, block_cost, cost_of_part
from api.process.money import Money, MoneyResult, cost_of, in_currency, total
from api.process.quantities import NotShown, Quantity, Result
from api.process.weighings import Combining
from api.records.batches import Batch
from collector.units import to_canonical

_NOT_IN_IT = "water, fuel and labour are not in it"


def cost_section(
    kitchen: Kitchen, batch: Batch, masses: Masses, components: Components
) -> dict[str, Any]:
    """Return what a batch cost, its blocks, 100 g of it and 100 g of its protein.

    Args:
        kitchen: For lots and rates.
        batch: The batch.
        masses: Its streams [kg].
        components: For the protein of the block.
    """
    rates = rates_of(kitchen)
    rows, parts, notes = _parts(kitchen, batch, masses)
    whole = total(_in_one_currency(parts, rates)) if parts else _first_reason(batch, rows)
    missing = [row for row in rows if "why" in row["cost"] and row["needed"]]
    if missing and not isinstance(whole, NotShown):
        whole = NotShown(f"{missing[0]['name']}: {missing[0]['cost']['why']}")
    block, dry = masses.of("block"), masses.of("dry")
    nominal_kg = _nominal_kg(batch)
    protein = components.balances["protein"].in_block_fraction
    found = block_cost(whole, dry, block, nominal_kg, protein)
    if components.is_estimate("block") and isinstance(found.per_100_g_protein, Money):
        notes.append("the protein is computed, an estimate")
    return {
        "ingredients": [{k: v for k, v in row.items() if k != "needed"} for row in rows],
        **_figures(found),
        "nominal_mass": {"value": nominal_kg, "unit": "kg"} if nominal_kg else None,
        "dry_for_nominal": views.quantity(found.dry_for_nominal),
        "blocks": _blocks(batch, whole, block),
        "other_currencies": _others(whole, rates, (dry, block, nominal_kg, protein)),
        "notes": [*notes, _NOT_IN_IT],
    }


def _figures(found: BlockCost) -> dict[str, Any]:
    return {
        "total": views.money(found.actual),
        "nominal_block": views.money(found.nominal),
        "per_100_g": views.money(found.per_100_g),
        "per_100_g_protein": views.money(found.per_100_g_protein),
    }


def _parts(
    kitchen: Kitchen, batch: Batch, masses: Masses
) -> tuple[list[dict[str, Any]], list[Money], list[str]]:
    """Return a row for each thing that was bought, their costs, and what to note."""
    rows: list[dict[str, Any]] = []
    parts: list[Money] = []
    notes: list[str] = []
    found = portions(batch)
    bought: list[tuple[str, str | None, Result, bool]] = [
        (one.name, one.lot, one.of(masses.of("dry")), True)
        for one in ([] if isinstance(found, NotShown) else found)
    ]
    salt = batch.body.get("coagulant")
    if salt and not batch.body.get("self_set"):
        bought.append((salt["name"], salt.get("lot"), masses.of("coagulant"), False))
    for name, lot, mass, needed in bought:
        price = price_of(kitchen, name, lot, batch.started_ms)
        cost: MoneyResult
        if isinstance(price, NotShown):
            cost = price
        else:
            cost = mass if isinstance(mass, NotShown) else cost_of(mass, price)
        if isinstance(cost, Money):
            parts.append(cost)
        elif not needed:
            notes.append(f"{name} is not in it: {cost.why}")
        rows.append(
            {
                "name": name,
                "lot": lot,
                "mass": views.quantity(mass),
                "per_kg": views.not_shown(price.why)
                if isinstance(price, NotShown)
                else {"amount": format(price.per_kg, "f"), "unit": f"{price.currency}/kg"},
                "cost": views.money(cost),
                "needed": needed,
            }
        )
    return rows, parts, notes


def _first_reason(batch: Batch, rows: Sequence[Mapping[str, Any]]) -> NotShown:
    found = portions(batch)
    if isinstance(found, NotShown):
        return found
    return NotShown(f"{rows[0]['name']}: {rows[0]['cost']['why']}")


def _in_one_currency(parts: Sequence[Money], rates: Mapping[str, Any]) -> list[Money]:
    """Return costs in the first one's currency, as far as rates are stated."""
    wanted = parts[0].currency
    found = []
    for part in parts:
        rate = rates.get(f"{part.currency} {wanted}")
        if part.currency != wanted and rate is not None:
            found.append(in_currency(part, wanted, rate["rate"], rate["date"]))
        else:
            found.append(part)
    return found


def _nominal_kg(batch: Batch) -> float | None:
    said = batch.body.get("nominal_block")
    return to_canonical(said["value"], said["unit"], "mass") if said else None


def _blocks(batch: Batch, whole: MoneyResult, block: Result) -> list[dict[str, Any]]:
    """Return each block that was weighed by itself; none where it is all one."""
    weighed = [w for w in weighings_of(batch) if w.stream == "block"]
    if len(weighed) < 2 or isinstance(block, NotShown):
        return []
    if any(w.combining is Combining.AGAIN for w in weighed):
        return []
    rows = []
    for one in weighed:
        mass = Quantity(one.mass_kg, "kg", one.u_kg or 0.0, "weighed", (f"weighing {one.id}",))
        cost = cost_of_part(whole, mass, block)
        rows.append({"mass": views.quantity(mass), "cost": views.money(cost)})
    return rows


def _others(
    whole: MoneyResult,
    rates: Mapping[str, Any],
    of: tuple[Result, Result, float | None, Result],
) -> list[dict[str, Any]]:
    """Return the figures in every currency for which a rate is stated."""
    if isinstance(whole, NotShown):
        return []
    rows = []
    for rate in rates.values():
        if rate["from"] == whole.currency:
            other = in_currency(whole, rate["to"], rate["rate"], rate["date"])
            found = block_cost(other, *of)
            stated = {key: rate[key] for key in ("from", "to", "rate", "date")}
            rows.append({"stated": stated, **_figures(found)})
    return rows
