# SPDX-License-Identifier: MIT
"""The block that a recipe is expected to give and what it will cost, or why that isn't shown."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from api import views
from api.analysis.balance import weighings_of
from api.kitchen import Kitchen
from api.prices import price_of, rates_of
from api.process.cost import block_cost
from api.process.money import Money, MoneyResult, cost_of, in_currency, total
from api.process.quantities import NotShown, Quantity, Result
from api.process.weighings import combine_weighings, default_weighing_u_kg
from api.process.yields import ratio
from api.recipes import stream_per_dry
from collector.errors import ProcessError
from collector.units import to_canonical

Json = dict[str, Any]
_BATCHES_LOOKED_AT = 200
_NOT_IN_IT = "water, fuel and labour are not in it"


def block_per_dry(kitchen: Kitchen, recipe: Mapping[str, Any], recipe_id: str | None) -> Result:
    """Return the block for each kilogram dry, by the recipe or its earlier batches [kg/kg]."""
    stated = stream_per_dry(recipe, "block")
    if stated is not None:
        return Quantity(stated, "kg/kg", 0.0, "as the recipe expects", ("recipe",))
    found = _earlier_yields(kitchen, recipe_id) if recipe_id else []
    if not found:
        return NotShown(
            "No step of the recipe says how much block to expect, and no batch of it has both its "
            "dry ingredient and its block weighed."
        )
    values = np.array([value for value, _ in found])
    spread = float(np.std(values, ddof=1)) if len(values) > 1 else 0.1 * float(values[0])
    sources = [f"batch {name}" for _, name in found]
    if len(values) == 1:
        sources.append("assumed: batches differ by 10 %, there is only one")
    method = f"mean of {len(values)} earlier batches, u their spread"
    return Quantity(float(np.mean(values)), "kg/kg", spread, method, tuple(sources))


def _earlier_yields(kitchen: Kitchen, recipe_id: str) -> list[tuple[float, str]]:
    found = []
    for batch in kitchen.journal.batches(limit=_BATCHES_LOOKED_AT):
        if (batch.recipe or {}).get("id") != recipe_id:
            continue
        try:
            weighed = combine_weighings(weighings_of(batch))
        except ProcessError:
            continue
        masses = dict(zip(weighed.names, weighed.mass_kg, strict=True))
        dry_kg, block_kg = float(masses.get("dry", 0.0)), float(masses.get("block", 0.0))
        if dry_kg > 0.0 and block_kg > 0.0:
            found.append((block_kg / dry_kg, batch.name))
    return found


def times_dry(per_dry: Result, dry_kg: float | None) -> Result:
    """Return the block for a dry mass [kg], or why it isn't shown."""
    if isinstance(per_dry, NotShown):
        return per_dry
    if dry_kg is None:
        return NotShown("Give a dry mass to be told the mass of the block.")
    dry = Quantity(dry_kg, "kg", default_weighing_u_kg(dry_kg), "dry mass in hand")
    found = ratio((per_dry, dry), (), "kg", "yield times dry mass")
    if isinstance(found, NotShown):
        return found
    return Quantity(found.value, "kg", found.u, found.method, per_dry.sources)


def cost_ahead(
    kitchen: Kitchen, recipe: Mapping[str, Any], dry_kg: float | None, block: Result
) -> Json:
    """Return what the recipe's ingredients cost at the prices last paid."""
    rates = rates_of(kitchen)
    basis_kg = dry_kg if dry_kg is not None else 1.0
    rows, parts = _rows(kitchen, recipe, basis_kg)
    missing = [row for row in rows if "why" in row["cost"]]
    whole: MoneyResult
    if missing:
        whole = NotShown(f"{missing[0]['name']}: {missing[0]['cost']['why']}")
    else:
        whole = total([_in_first(part, parts[0].currency, rates) for part in parts])
    said = recipe.get("nominal_block")
    nominal_kg = to_canonical(said["value"], said["unit"], "mass") if said else None
    dry = Quantity(basis_kg, "kg", 0.0, "dry mass")
    expected = times_dry(block, basis_kg)
    absent = NotShown("The protein of a block that is not made is not known.")
    found = block_cost(whole, dry, expected, nominal_kg, absent)
    return {
        "for_dry": {"value": basis_kg, "unit": "kg"},
        "ingredients": rows,
        "total": views.money(found.actual),
        "nominal_block": views.money(found.nominal),
        "per_100_g": views.money(found.per_100_g),
        "notes": [_NOT_IN_IT],
    }


def _rows(
    kitchen: Kitchen, recipe: Mapping[str, Any], basis_kg: float
) -> tuple[list[Json], list[Money]]:
    shares = math.fsum(one.get("share", 1.0) for one in recipe["ingredients"])
    bought: list[tuple[str, str | None, float | None]] = [
        (one["name"], one.get("lot"), basis_kg * one.get("share", 1.0) / shares)
        for one in recipe["ingredients"]
    ]
    salt = recipe.get("coagulant")
    if salt and not recipe.get("self_set"):
        per_dry = stream_per_dry(recipe, "coagulant")
        mass_kg = per_dry * basis_kg if per_dry is not None else None
        bought.append((salt["name"], salt.get("lot"), mass_kg))
    rows: list[Json] = []
    parts: list[Money] = []
    for name, lot, mass_kg in bought:
        price = price_of(kitchen, name, lot, kitchen.now_ms())
        cost: MoneyResult
        if mass_kg is None:
            cost = NotShown("the recipe gives no dose")
        elif isinstance(price, NotShown):
            cost = NotShown(price.why.replace("before this batch", "yet"))
        else:
            cost = cost_of(Quantity(mass_kg, "kg", 0.0, "by the recipe"), price)
            parts.append(cost)
        mass = {"value": mass_kg, "unit": "kg"} if mass_kg is not None else None
        rows.append({"name": name, "mass": mass, "cost": views.money(cost)})
    return rows, parts


def _in_first(part: Money, wanted: str, rates: Mapping[str, Any]) -> Money:
    rate = rates.get(f"{part.currency} {wanted}")
    if part.currency == wanted or rate is None:
        return part
    return in_currency(part, wanted, rate["rate"], rate["date"])
