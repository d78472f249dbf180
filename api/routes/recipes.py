# SPDX-License-Identifier: MIT
"""Recipes: their versions, scaled, reckoned ahead, and as files."""

from __future__ import annotations

import re
from typing import Annotated, Any

import orjson
from fastapi import APIRouter, Query, Response

from api.answers import Json
from api.entering import frozen_recipe
from api.kitchen import KitchenHere
from api.list_schemas import RecipeBody
from api.recipe_plan import reckoned
from api.recipe_schemas import RecipeDraft, RecipeFile
from api.recipes import (
    keep_recipe,
    latest_recipes,
    recipe_file,
    recipe_from_file,
    versions_of,
)
from api.scaling import scaled_recipe
from api.schemas import RecipeChoice
from collector.errors import UnknownRecordError
from collector.units import to_canonical

router = APIRouter(prefix="/v1", tags=["lists"])
Version = Annotated[int | None, Query(ge=1)]


@router.get("/recipes", summary="Recipes, each in its latest version")
def list_recipes(kitchen: KitchenHere) -> Response:
    """A batch freezes the version with which it was started."""
    return Json({"recipes": latest_recipes(kitchen)})


@router.get("/recipes/{recipe_id}", summary="All versions of a recipe; scaled, if asked")
def read_recipe(
    recipe_id: str,
    kitchen: KitchenHere,
    dry: Annotated[float | None, Query(gt=0, allow_inf_nan=False)] = None,
    unit: Annotated[str, Query(max_length=20)] = "kg",
    version: Version = None,
) -> Response:
    """The latest, with all versions below it; each says what changed in it, when, and who did it.

    With `dry` (and its `unit`), `scaled` holds every dose, water and expected mass for that dry
    mass, of the latest version or of the `version` asked for.
    """
    versions = versions_of(kitchen, recipe_id)
    latest = {key: value for key, value in versions[-1].items() if key != "changes"}
    shown: dict[str, Any] = {**latest, "versions": versions}
    if dry is not None:
        dry_kg = to_canonical(dry, unit, "mass")
        chosen = frozen_recipe(kitchen, RecipeChoice(id=recipe_id, version=version))
        shown["scaled"] = scaled_recipe(chosen or {}, dry_kg)
    return Json(shown)


@router.get("/recipes/{recipe_id}/file", summary="A version of a recipe as a file")
def export_recipe(recipe_id: str, kitchen: KitchenHere, version: Version = None) -> Response:
    """The latest, or the `version` asked for, in the form that `POST /v1/recipes/import` takes."""
    versions = versions_of(kitchen, recipe_id)
    wanted = version or versions[-1]["version"]
    found = next((one for one in versions if one["version"] == wanted), None)
    if found is None:
        raise UnknownRecordError(
            f"There is no version {wanted} of this recipe.",
            where="version",
            do=f"Give 1 to {versions[-1]['version']}.",
        )
    plain = re.sub(r"[^A-Za-z0-9]+", "-", found["name"]).strip("-").lower() or "recipe"
    return Response(
        orjson.dumps(recipe_file(found), option=orjson.OPT_INDENT_2) + b"\n",
        media_type="application/json",
        headers={
            "Content-Disposition": f'attachment; filename="{plain[:60]}-v{wanted}.recipe.json"',
            "Cache-Control": "no-store",
        },
    )


@router.post("/recipes/import", status_code=201, summary="Record the recipe of a file")
def import_recipe(body: RecipeFile, kitchen: KitchenHere) -> Response:
    """As a new recipe in its first version; no recipe that is there is touched."""
    return Json(keep_recipe(kitchen, None, recipe_from_file(body)), 201)


@router.post("/recipes", status_code=201, summary="Record a recipe")
def add_recipe(body: RecipeBody, kitchen: KitchenHere) -> Response:
    """Its first version."""
    return Json(keep_recipe(kitchen, None, body), 201)


@router.post("/recipes/{recipe_id}", status_code=201, summary="Record a new version")
def change_recipe(recipe_id: str, body: RecipeBody, kitchen: KitchenHere) -> Response:
    """Batches that were started keep the version that they froze."""
    return Json(keep_recipe(kitchen, recipe_id, body), 201)


@router.post("/plan/recipe", summary="What a recipe comes to, before it is kept")
def plan_recipe(body: RecipeDraft, kitchen: KitchenHere) -> Response:
    """Its cautions, masses, dose in three units, expected block and cost, and where to begin.

    Each figure is a quantity, or says why it isn't shown. Nothing is kept.
    """
    return Json(reckoned(kitchen, body))
