# SPDX-License-Identifier: MIT
"""The maker's own lists: pots, ingredients, lots and recipes."""

from __future__ import annotations

import uuid
from typing import Any

from fastapi import APIRouter, Response

from api import views
from api.answers import Json
from api.holds import hold_spec
from api.kitchen import Kitchen, KitchenHere
from api.process.weighings import default_weighing_u_kg
from api.schemas import IngredientBody, LotBody, PotBody, RecipeBody, Sent
from collector.errors import UnknownRecordError
from collector.units import to_canonical

router = APIRouter(prefix="/v1", tags=["lists"])


@router.get("/pots", summary="The pots")
def list_pots(kitchen: KitchenHere) -> Response:
    """Each as it was last recorded."""
    return Json({"pots": _latest(kitchen, "pot", "name")})


@router.post("/pots", status_code=201, summary="Record a pot")
def add_pot(body: PotBody, kitchen: KitchenHere) -> Response:
    """The same name again replaces what was known of it."""
    fields = _fields(body)
    if body.empty is not None:
        fields["empty_kg"] = to_canonical(body.empty.value, body.empty.unit, "mass")
        fields["u_empty_kg"] = (
            to_canonical(body.u, body.empty.unit, "mass")
            if body.u is not None
            else default_weighing_u_kg(fields["empty_kg"])
        )
    return _kept(kitchen, "pot", fields, body)


@router.get("/ingredients", summary="Ingredients: those that are known, and the maker's own")
def list_ingredients(kitchen: KitchenHere) -> Response:
    """The maker's own analysis stands beside the published composition."""
    from api.cautions import known_ingredients

    own = {entry["name"]: entry for entry in _latest(kitchen, "ingredient", "name")}
    published = [{**shown, "own": own.pop(shown["name"], None)} for shown in known_ingredients()]
    return Json({"ingredients": published + [{"name": n, "own": e} for n, e in own.items()]})


@router.post("/ingredients", status_code=201, summary="Record an own analysis")
def add_ingredient(body: IngredientBody, kitchen: KitchenHere) -> Response:
    """The same name again replaces it."""
    return _kept(kitchen, "ingredient", _fields(body), body)


@router.get("/lots", summary="Lots bought")
def list_lots(kitchen: KitchenHere) -> Response:
    """In the order in which they were recorded."""
    return Json({"lots": [views.listed(entry) for entry in kitchen.journal.kitchen("lot")]})


@router.post("/lots", status_code=201, summary="Record a lot")
def add_lot(body: LotBody, kitchen: KitchenHere) -> Response:
    """One purchase of an ingredient."""
    return _kept(kitchen, "lot", _fields(body), body)


@router.get("/recipes", summary="Recipes, each in its latest version")
def list_recipes(kitchen: KitchenHere) -> Response:
    """A batch freezes the version with which it was started."""
    latest = kitchen.journal.latest_by("recipe", "recipe_id")
    return Json({"recipes": [_recipe(entry.body) for entry in latest.values()]})


@router.get("/recipes/{recipe_id}", summary="All versions of a recipe")
def read_recipe(recipe_id: str, kitchen: KitchenHere) -> Response:
    """The latest, with all versions below it."""
    versions = _versions(kitchen, recipe_id)
    return Json({**versions[-1], "versions": versions})


@router.post("/recipes", status_code=201, summary="Record a recipe")
def add_recipe(body: RecipeBody, kitchen: KitchenHere) -> Response:
    """Its first version."""
    recipe_id = str(body.id or uuid.uuid4())
    return _keep_recipe(kitchen, recipe_id, 1, body)


@router.post("/recipes/{recipe_id}", status_code=201, summary="Record a new version")
def change_recipe(recipe_id: str, body: RecipeBody, kitchen: KitchenHere) -> Response:
    """Batches that were started keep the version that they froze."""
    versions = _versions(kitchen, recipe_id)
    return _keep_recipe(kitchen, recipe_id, len(versions) + 1, body)


def _keep_recipe(kitchen: Kitchen, recipe_id: str, version: int, body: RecipeBody) -> Response:
    for step in body.steps:
        if step.hold:
            hold_spec(step.hold.model_dump())
        if step.target:
            to_canonical(step.target.value, step.target.unit, "temperature")
    fields = {
        **body.model_dump(exclude={"id", "sent_at", "who"}, exclude_none=True),
        "recipe_id": recipe_id,
        "version": version,
        "said": body.said(),
    }
    entry = kitchen.journal.keep(
        "recipe", fields, record_id=str(body.id) if body.id else None, who=body.who or ""
    )
    return Json(_recipe(entry.body), 201)


def _recipe(body: Any) -> dict[str, Any]:
    kept = {key: value for key, value in body.items() if key not in ("said", "recipe_id")}
    return {"id": body["recipe_id"], **kept}


def _versions(kitchen: Kitchen, recipe_id: str) -> list[dict[str, Any]]:
    found = [e for e in kitchen.journal.kitchen("recipe") if e.body["recipe_id"] == recipe_id]
    if not found:
        raise UnknownRecordError(
            f"There is no recipe {recipe_id!r}.", do="Look at GET /v1/recipes."
        )
    return [_recipe(entry.body) for entry in found]


def _fields(body: Sent) -> dict[str, Any]:
    kept = body.model_dump(exclude={"id", "sent_at", "who"}, exclude_none=True)
    return {**kept, "said": body.said()}


def _kept(kitchen: Kitchen, kind: str, fields: dict[str, Any], body: Sent) -> Response:
    entry = kitchen.journal.keep(
        kind, fields, record_id=str(body.id) if body.id else None, who=body.who or ""
    )
    return Json(views.listed(entry), 201)


def _latest(kitchen: Kitchen, kind: str, key: str) -> list[dict[str, Any]]:
    return [views.listed(entry) for entry in kitchen.journal.latest_by(kind, key).values()]
