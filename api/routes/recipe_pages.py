# SPDX-License-Identifier: MIT
"""The pages of the recipes: the list, one recipe, its editor, and the parts written anew."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from api.answers import Json
from api.kitchen import KitchenHere
from api.plan_schemas import PourPlanBody
from api.planning import plan
from api.recipe_pages import edit_page, recipe_page, recipes_page
from api.recipe_plan import reckoned
from api.recipe_schemas import RecipeDraft
from api.routes.page_answer import common_data, page_answer
from dashboards.render import render

router = APIRouter(include_in_schema=False)


@router.get("/recipes")
def recipes(request: Request, kitchen: KitchenHere, q: str = "") -> Response:
    """All recipes, the one that was changed last first."""
    return page_answer(request, kitchen, "recipes", lambda: recipes_page(kitchen, words=q))


@router.get("/recipes/new")
def new_recipe(
    request: Request,
    kitchen: KitchenHere,
    ingredient: Annotated[str, Query(max_length=100)] = "",
) -> Response:
    """The editor with a recipe to begin with."""

    def data() -> dict[str, Any]:
        return edit_page(kitchen, None, ingredient=ingredient)

    return page_answer(request, kitchen, "recipe_edit", data)


@router.get("/recipes/{recipe_id}")
def recipe(
    recipe_id: str,
    request: Request,
    kitchen: KitchenHere,
    version: Annotated[int | None, Query(ge=1)] = None,
    dry: Annotated[str, Query(max_length=30)] = "",
    unit: Annotated[str, Query(max_length=10)] = "g",
) -> Response:
    """One version of a recipe, for a dry mass."""

    def data() -> dict[str, Any]:
        return recipe_page(kitchen, recipe_id, version=version, dry=dry, unit=unit)

    return page_answer(request, kitchen, "recipe", data)


@router.get("/recipes/{recipe_id}/change")
def change_recipe(recipe_id: str, request: Request, kitchen: KitchenHere) -> Response:
    """The editor with the latest version."""

    def data() -> dict[str, Any]:
        return edit_page(kitchen, recipe_id, ingredient="")

    return page_answer(request, kitchen, "recipe_edit", data)


@router.post("/recipes/reckoned")
def reckon(body: RecipeDraft, request: Request, kitchen: KitchenHere) -> Response:
    """What a draft comes to, as the part of the page that shows it."""
    data = {**common_data(request, kitchen), "plan": reckoned(kitchen, body)}
    return Json({"html": render("parts/recipe_reckoned", data)})


@router.post("/recipes/poured")
def pour(body: PourPlanBody, request: Request, kitchen: KitchenHere) -> Response:
    """What lands a pour on its target, as the part of the page that shows it."""
    asked = "milk" if body.milk_temperature is None else "slurry"
    data = {**common_data(request, kitchen), "poured": plan(kitchen, body), "asked": asked}
    return Json({"html": render("parts/recipe_poured", data)})
