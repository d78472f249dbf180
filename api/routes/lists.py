# SPDX-License-Identifier: MIT
"""The maker's own lists: pots, ingredients, lots and rates."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Response

from api import views
from api.answers import Json
from api.kitchen import Kitchen, KitchenHere
from api.list_schemas import IngredientBody, LotBody, PotBody, RateBody
from api.prices import rates_of
from api.process.money import decimal_of, price_per_kg
from api.process.weighings import default_weighing_u_kg
from api.schemas import Sent
from collector.errors import RecordError
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
