# SPDX-License-Identifier: MIT
"""The table of ingredients: composition, allergens, hazards, each figure with its source.

Parsing is pure; `ingredient_table` reads the packaged table once. Imports only the ground and what
is pure.
"""

from __future__ import annotations

import functools
import tomllib
from importlib.resources import files
from typing import Any

from api.process.composition import Composition
from api.process.ingredient_rows import (
    Hazard,
    Ingredient,
    IngredientTable,
    Jurisdiction,
    Product,
    Remark,
    Row,
    Status,
)
from collector.errors import ProcessError


@functools.cache
def ingredient_table() -> IngredientTable:
    """Return the packaged table, read once.

    Returns:
        The table; compositions [-], temperatures [degC], times [s].

    Source:
        Each figure names its own.
    """
    text = files("api.process").joinpath("data/ingredients.toml").read_text(encoding="utf-8")
    return parse_ingredient_table(text)


def parse_ingredient_table(text: str) -> IngredientTable:
    """Return a table of ingredients from its text.

    Args:
        text: TOML, compositions in g per 100 g.

    Returns:
        The table; compositions [-], temperatures [degC], times [s].

    Raises:
        ProcessError: The text is no TOML, a key is missing, a source or a status isn't known, or
            a composition doesn't add up.

    Source:
        Each figure names its own.
    """
    try:
        return _table(tomllib.loads(text))
    except (tomllib.TOMLDecodeError, KeyError, ValueError, TypeError) as error:
        if isinstance(error, ProcessError):
            raise
        raise ProcessError(
            f"The table of ingredients can't be read: {error!r}.",
            where="ingredients.toml",
            do="Mend the entry; each needs a source that is listed and a status.",
        ) from error


def _table(data: dict[str, Any]) -> IngredientTable:
    sources: dict[str, str] = data["source"]
    foam_degc = float(data["default"]["foam_degc"])
    ingredients = [_ingredient(entry, sources, foam_degc) for entry in data["ingredient"]]
    return IngredientTable(
        ingredients={ingredient.name: ingredient for ingredient in ingredients},
        products=tuple(_product(entry, sources) for entry in data["product"]),
        jurisdictions={
            key: Jurisdiction(key, entry["name"], entry["listed"], *_cited(entry, sources))
            for key, entry in data["jurisdiction"].items()
        },
        allergen_words={group: tuple(words) for group, words in data["allergen_word"].items()},
        refused=tuple(
            Remark(" ".join(entry["words"]), entry["text"], *_cited(entry, sources))
            for entry in data["refuse"]
        ),
        process=tuple(
            Remark(entry["hazard"], entry["text"], *_cited(entry, sources))
            for entry in data["process"]
        ),
        foam_degc=foam_degc,
    )


def _cited(entry: dict[str, Any], sources: dict[str, str]) -> tuple[str, Status]:
    return sources[entry["source"]], Status(entry["status"])


def _ingredient(entry: dict[str, Any], sources: dict[str, str], foam_degc: float) -> Ingredient:
    return Ingredient(
        name=entry["name"],
        aliases=tuple(entry["aliases"]),
        family=entry["family"],
        allergens=tuple(entry["allergens"]),
        rows=tuple(
            Row(
                row["food"],
                row["code"],
                _composition(row),
                row.get("nitrogen_factor"),
                *_cited(row, sources),
            )
            for row in entry.get("composition", [])
        ),
        hazards=tuple(
            Hazard(
                h["kind"],
                h["hazard"],
                h["figure"],
                h["control"],
                h.get("least_boil_s"),
                h.get("is_requirement", False),
                *_cited(h, sources),
            )
            for h in entry.get("hazard", [])
        ),
        foam_degc=float(entry.get("foam_degc", foam_degc)),
        note=entry.get("note", ""),
    )


def _product(entry: dict[str, Any], sources: dict[str, str]) -> Product:
    source, status = _cited(entry, sources)
    return Product(
        name=entry["name"],
        of=entry["of"],
        composition=_composition(entry),
        calcium_fraction=entry["calcium_mg"] * 1e-5,
        magnesium_fraction=entry["magnesium_mg"] * 1e-5,
        source=f"{source}, {entry['code']}",
        status=status,
    )


def _composition(row: dict[str, Any]) -> Composition:
    """Return mass fractions; a table that counts fibre as carbohydrate says so by its key."""
    part = {
        "water_fraction": row["water_g"] / 100.0,
        "protein_fraction": row["protein_g"] / 100.0,
        "fat_fraction": row["fat_g"] / 100.0,
        "fibre_fraction": row.get("fibre_g", 0.0) / 100.0,
        "ash_fraction": row["ash_g"] / 100.0,
    }
    if "net_carbohydrate_g" in row:
        return Composition.from_net_carbohydrate(
            net_carbohydrate_fraction=row["net_carbohydrate_g"] / 100.0, **part
        )
    return Composition.from_carbohydrate_by_difference(
        carbohydrate_fraction=row["carbohydrate_with_fibre_g"] / 100.0, **part
    )
