# SPDX-License-Identifier: MIT
"""The cautions of a batch, from its start to its record. Local codes decide, not this list."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from api.kitchen import Kitchen
from api.process.ingredient_table import ingredient_table
from api.process.ingredients import (
    Caution,
    cautions,
    cross_contact,
    process_cautions,
    refusals,
)
from api.records.batches import Batch
from collector.errors import RecordError

DEFER = (
    "Local food codes, and a licensed practitioner or your food-safety authority, decide what is "
    "safe; this program only records and computes. A log is no kill step."
)
NO_INGREDIENT = (
    "no ingredient is named: its hazards and allergens can't be shown; name it, and ask a "
    "food-safety authority"
)


def refuse_unfit(resolved: Mapping[str, Any]) -> None:
    """Refuse to start a batch, as food, of what must not be eaten.

    Args:
        resolved: What the batch is to record, with its ingredients.

    Raises:
        RecordError: An ingredient is marked `refuse`.
    """
    names = [part["name"] for part in resolved.get("ingredients") or []]
    for reason in refusals(names):
        raise RecordError(
            f"A batch can't be started as food with {reason.subject}: {reason.text}",
            where="ingredients",
            do=f"Use another ingredient. Source: {reason.source}.",
        )


def cautions_of(kitchen: Kitchen, batch: Batch) -> list[dict[str, str]]:
    """Return every caution of a batch: of its ingredients, its pot's day, and of any curd."""
    names = ingredients_of(batch)
    found: list[Caution] = list(cautions(names)) if names else []
    found += cross_contact(_same_pot_same_day(kitchen, batch), names)
    found += process_cautions()
    shown = [_shown(caution) for caution in found]
    if not names:
        shown.insert(0, {"kind": "ingredient", "about": batch.name, "text": NO_INGREDIENT,
                         "source": "", "status": ""})  # fmt: skip
    shown.append({"kind": "authority", "about": "every batch", "text": DEFER, "source": "",
                  "status": ""})  # fmt: skip
    return shown


def ingredients_of(batch: Batch) -> list[str]:
    """Return the names of a batch's ingredients."""
    return [part["name"] for part in batch.body.get("ingredients") or []]


def known_ingredients() -> list[dict[str, Any]]:
    """Return the ingredients of the packaged table with their composition and its source."""
    return [
        {
            "name": ingredient.name,
            "also": list(ingredient.aliases),
            "allergens": list(ingredient.allergens),
            "compositions": [
                {
                    "food": row.food,
                    "code": row.code,
                    "water_fraction": row.composition.water_fraction,
                    "protein_fraction": row.composition.protein_fraction,
                    "fat_fraction": row.composition.fat_fraction,
                    "net_carbohydrate_fraction": row.composition.net_carbohydrate_fraction,
                    "fibre_fraction": row.composition.fibre_fraction,
                    "ash_fraction": row.composition.ash_fraction,
                    "nitrogen_factor": row.nitrogen_factor,
                    "source": row.source,
                    "status": str(row.status),
                }
                for row in ingredient.rows
            ],
        }
        for ingredient in ingredient_table().ingredients.values()
    ]


def _same_pot_same_day(kitchen: Kitchen, batch: Batch) -> list[list[str]]:
    pot = batch.body.get("pot")
    if not pot:
        return []
    zone = ZoneInfo(kitchen.config.kitchen.zone)

    def day(of: Batch) -> object:
        return datetime.fromtimestamp(of.started_ms / 1000.0, UTC).astimezone(zone).date()

    return [
        ingredients_of(other)
        for other in kitchen.journal.batches(limit=50)
        if other.id != batch.id
        and other.body.get("pot") == pot
        and other.started_ms <= batch.started_ms
        and day(other) == day(batch)
    ]


def _shown(caution: Caution) -> dict[str, str]:
    return {
        "kind": caution.kind,
        "about": caution.subject,
        "text": caution.text,
        "source": caution.source,
        "status": str(caution.status or ""),
    }
