# SPDX-License-Identifier: MIT
"""What a recipe comes to: its cautions, doses, masses, expected block and cost, before a batch."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from api import views
from api.kitchen import Kitchen
from api.process.coagulant import dose, hints
from api.process.coagulant_table import UsualRange
from api.process.ingredients import Caution, cautions, refusals
from api.process.quantities import NotShown, Quantity, Result
from api.process.starts import Start, starts_of
from api.recipe_expected import block_per_dry, cost_ahead, times_dry
from api.recipe_schemas import RecipeDraft
from api.recipes import recipe_fields, stream_per_dry
from api.scaling import scaled_recipe
from collector.errors import RecordError
from collector.units import to_canonical

Json = dict[str, Any]


def reckoned(kitchen: Kitchen, draft: RecipeDraft) -> Json:
    """Return what a draft of a recipe comes to.

    Args:
        kitchen: For prices and earlier batches.
        draft: The recipe, and for which dry mass.

    Raises:
        RecordError: Something in it can't be.
        UnitError: A unit is of the wrong kind.
        ProcessError: A dose can't be brought to the dry mass.
    """
    said = draft.dry.model_dump() if draft.dry else None
    return of_recipe(kitchen, recipe_fields(draft.recipe), dry=said, recipe_id=draft.recipe_id)


def of_recipe(
    kitchen: Kitchen, recipe: Mapping[str, Any], *, dry: Json | None, recipe_id: str | None
) -> Json:
    """Return what a recipe comes to for a dry mass.

    Args:
        kitchen: For prices and earlier batches.
        recipe: One version, as it is kept.
        dry: For which dry mass; None takes the recipe's own.
        recipe_id: Whose earlier batches tell the yield; None for none.

    Raises:
        RecordError: The dry mass is not above 0.
    """
    names = [one["name"] for one in recipe["ingredients"]]
    dry_kg = _dry_kg(dry or recipe.get("dry"))
    scaled = scaled_recipe(recipe, dry_kg) if dry_kg is not None else None
    block = block_per_dry(kitchen, recipe, recipe_id)
    return {
        "dry": {"value": dry_kg, "unit": "kg"} if dry_kg is not None else None,
        "refused": [_caution(one) for one in refusals(names)],
        "cautions": [_caution(one) for one in cautions(names)],
        "scaled": scaled,
        "dose": _dose(recipe),
        "hints": _hints(recipe, names),
        "starts": _starts(recipe, names),
        "yield": views.quantity(block),
        "block": views.quantity(times_dry(block, dry_kg)),
        "cost": cost_ahead(kitchen, recipe, dry_kg, block),
    }


def _dry_kg(said: Mapping[str, Any] | None) -> float | None:
    if said is None:
        return None
    dry_kg = to_canonical(said["value"], said["unit"], "mass")
    if not dry_kg > 0.0:
        raise RecordError(
            f"A dry mass of {said['value']:g} {said['unit']} is none.",
            where="dry",
            do="Give the dry mass in hand, above 0.",
        )
    return dry_kg


def _caution(one: Caution) -> Json:
    return {
        "kind": one.kind,
        "about": one.subject,
        "text": one.text,
        "source": one.source,
        "status": str(one.status or ""),
    }


def _dose(recipe: Mapping[str, Any]) -> Json | None:
    """Return the dose in every unit, None where the recipe names no coagulant."""
    salt = recipe.get("coagulant")
    if not salt or recipe.get("self_set"):
        return None
    one_kg = Quantity(1.0, "kg", 0.0, "by definition")
    strength = salt.get("strength_fraction")
    found = dose(
        salt["name"],
        _by_recipe(recipe, "coagulant"),
        dry=one_kg,
        milk=_by_recipe(recipe, "milk"),
        strength=None if strength is None else Quantity(strength, "-", 0.0, "as stated"),
    )
    return {
        "name": salt["name"],
        "of_dry": views.quantity(found.of_dry),
        "of_milk": views.quantity(found.of_milk),
        "concentration": views.quantity(found.concentration),
        "normality": views.quantity(found.normality),
        "note": found.note,
    }


def _by_recipe(recipe: Mapping[str, Any], stream: str) -> Result:
    value = stream_per_dry(recipe, stream)
    if value is None:
        return NotShown(f"No step of the recipe says how much {stream} there is.")
    return Quantity(value, "kg", 0.0, "for each kilogram dry, by the recipe", ("recipe",))


def _hints(recipe: Mapping[str, Any], names: list[str]) -> list[Json]:
    salt = recipe.get("coagulant")
    if not salt or len(names) != 1:
        return []
    return [
        {
            "text": _range_text(one) if isinstance(one, UsualRange) else one.text,
            "source": one.source,
            "status": str(one.status),
        }
        for one in hints(salt["name"], names[0])
    ]


def _range_text(one: UsualRange) -> str:
    def span(pair: tuple[float, float]) -> str:
        return f"{pair[0]:g} to {pair[1]:g}"

    return (
        f"usual in soy: {span(one.of_dry_g_per_100_g)} g per 100 g dry, "
        f"{span(one.of_milk_g_per_100_g)} g per 100 g of milk, {span(one.mmol_per_l)} mmol/L, "
        f"added at {span(one.addition_degc)} degC, stand {span(one.stand_min)} min"
    )


def _starts(recipe: Mapping[str, Any], names: list[str]) -> list[Json]:
    """Return where to begin, for each ingredient; a blend lends nothing from one to another."""
    salt = (recipe.get("coagulant") or {}).get("name")
    return [starts_json(name, salt) for name in dict.fromkeys(names)]


def starts_json(ingredient: str, coagulant: str | None = None) -> Json:
    """Return where to begin with an ingredient, as JSON."""
    found = starts_of(ingredient, coagulant)
    return {
        "ingredient": ingredient,
        "coagulant": found.coagulant,
        "self_set": found.self_set,
        "starts": [_start(one) for one in found.starts],
    }


def _start(one: Start) -> Json:
    return {
        "field": one.field,
        "value": one.value,
        "unit": one.unit,
        "low": one.span[0] if one.span else None,
        "high": one.span[1] if one.span else None,
        "text": one.text,
        "source": one.source,
        "status": str(one.status or ""),
    }
