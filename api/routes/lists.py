# SPDX-License-Identifier: MIT
"""The maker's own lists: pots, ingredients, lots and recipes."""

from __future__ import annotations

import uuid
from typing import Annotated, Any

from fastapi import APIRouter, Query, Response

from api import views
from api.answers import Json
from api.entering import frozen_recipe, positive_mass
from api.holds import hold_spec
from api.kitchen import Kitchen, KitchenHere
from api.list_schemas import IngredientBody, LotBody, PotBody, RateBody, RecipeBody
from api.prices import rates_of
from api.process.money import decimal_of, price_per_kg
from api.process.weighings import default_weighing_u_kg
from api.scaling import scaled_recipe
from api.schemas import RecipeChoice, Sent
from api.watch.limit_rules import step_limit
from collector.errors import RecordError, UnknownRecordError
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
    if body.foam is not None:
        to_canonical(body.foam.value, body.foam.unit, "temperature")
    return _kept(kitchen, "ingredient", _fields(body), body)


@router.get("/lots", summary="Lots bought")
def list_lots(kitchen: KitchenHere) -> Response:
    """In the order in which they were recorded."""
    return Json({"lots": [views.listed(entry) for entry in kitchen.journal.kitchen("lot")]})


@router.post("/lots", status_code=201, summary="Record a lot")
def add_lot(body: LotBody, kitchen: KitchenHere) -> Response:
    """One purchase of an ingredient or a coagulant; the same lot again replaces its price."""
    if body.price is not None and body.per is not None:
        price_per_kg(body.price, body.currency or "", repr(body.per.value), body.per.unit)
    return _kept(kitchen, "lot", _fields(body), body)


@router.get("/rates", summary="Rates of exchange")
def list_rates(kitchen: KitchenHere) -> Response:
    """The last that was stated for each pair of currencies, with its day."""
    return Json({"rates": list(rates_of(kitchen).values())})


@router.post("/rates", status_code=201, summary="State a rate of exchange")
def add_rate(body: RateBody, kitchen: KitchenHere) -> Response:
    """With the day that it is of; costs are shown in the other currency too."""
    rate = decimal_of(body.rate, "rate")
    if rate == 0 or body.from_ == body.to:
        raise RecordError(
            f"A rate of {body.rate} from {body.from_} to {body.to} can't be used.",
            where="rate",
            do="Give a rate above 0 between two currencies.",
        )
    kept = body.model_dump(mode="json", by_alias=True, exclude={"id", "sent_at", "who"})
    fields = {**kept, "pair": f"{body.from_} {body.to}", "said": body.said()}
    return _kept(kitchen, "rate", fields, body)


@router.get("/recipes", summary="Recipes, each in its latest version")
def list_recipes(kitchen: KitchenHere) -> Response:
    """A batch freezes the version with which it was started."""
    latest = kitchen.journal.latest_by("recipe", "recipe_id")
    return Json({"recipes": [_recipe(entry.body) for entry in latest.values()]})


@router.get("/recipes/{recipe_id}", summary="All versions of a recipe; scaled, if asked")
def read_recipe(
    recipe_id: str,
    kitchen: KitchenHere,
    dry: Annotated[float | None, Query(gt=0, allow_inf_nan=False)] = None,
    unit: Annotated[str, Query(max_length=20)] = "kg",
    version: Annotated[int | None, Query(ge=1)] = None,
) -> Response:
    """The latest, with all versions below it.

    With `dry` (and its `unit`), `scaled` holds every dose, water and expected mass for that dry
    mass, of the latest version or of the `version` asked for.
    """
    versions = _versions(kitchen, recipe_id)
    shown = {**versions[-1], "versions": versions}
    if dry is not None:
        dry_kg = to_canonical(dry, unit, "mass")
        chosen = frozen_recipe(kitchen, RecipeChoice(id=recipe_id, version=version))
        shown["scaled"] = scaled_recipe(chosen or {}, dry_kg)
    return Json(shown)


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


def _check_recipe(body: RecipeBody) -> None:
    """Refuse a recipe with a unit of the wrong kind, or a mass that belongs to no dry mass."""
    for mass, where in ((body.dry, "dry"), (body.nominal_block, "nominal_block")):
        positive_mass(mass, where)
    for number, step in enumerate(body.steps, 1):
        where = f"step {number}, {step.kind}"
        if step.hold:
            hold_spec(step.hold.model_dump())
        if step.target:
            to_canonical(step.target.value, step.target.unit, "temperature")
        if step.limit:
            step_limit(step.limit.model_dump(), number, step.kind, 0.0)
        positive_mass(step.press_mass, where)
        if (
            step.press_area
            and not to_canonical(step.press_area.value, step.press_area.unit, "area") > 0.0
        ):
            raise RecordError("The area of the curd is not above 0.", where=where)
        for amount in step.masses:
            positive_mass(amount.mass, where)
            if amount.mass is not None and body.dry is None:
                raise RecordError(
                    f"A mass of {amount.stream} is given, but not for which dry mass.",
                    where=where,
                    do="Give the recipe's dry mass, or a ratio to it in place of the mass.",
                )


def _keep_recipe(kitchen: Kitchen, recipe_id: str, version: int, body: RecipeBody) -> Response:
    _check_recipe(body)
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
