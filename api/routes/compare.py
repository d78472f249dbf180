# SPDX-License-Identifier: MIT
"""Batches side by side, and two ways of working against each other."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Query, Response

from api.aligning import Axis
from api.answers import Json
from api.comparing import comparison, effects
from api.comparing_table import csv_of
from api.good_batches import band_behind
from api.kitchen import KitchenHere
from api.process.alignment import Align

router = APIRouter(prefix="/v1/compare", tags=["compare"])

MOST_BATCHES = 8
MOST_REPLICATES = 20
_Temperature = Annotated[float, Query(ge=-5, le=120, allow_inf_nan=False)]
_Batches = Annotated[list[str], Query(max_length=MOST_BATCHES)]
_Replicates = Annotated[list[str], Query(max_length=MOST_REPLICATES)]


@router.get("", summary="Batches side by side")
def compare_batches(
    kitchen: KitchenHere,
    batch: _Batches,
    align: Align = Align.TIME,
    temperature: _Temperature = 60.0,
    format: Literal["json", "csv"] = "json",
) -> Response:
    """Curves on a common axis, every figure in each batch, and differences from the first.

    `align`: `time` since the heat, `temperature` (since the milk first rose through `temperature`
    degC), or `per_kg` (time since the heat for each kilogram of milk). A difference stands out
    where it is more than twice its own standard uncertainty; errors that both batches share by
    using the same instrument are not taken off, so that a small one may be missed. `format=csv`
    gives the figures and their differences as a table, a line for each figure of each batch.
    """
    found = comparison(kitchen, batch, align, temperature)
    if format == "csv":
        return Response(
            csv_of(found),
            media_type="text/csv; charset=utf-8",
            headers={"Content-Disposition": 'attachment; filename="curdwright-compared.csv"'},
        )
    return Json(found)


@router.get("/band", summary="The band of the good batches behind one")
def band_of_good_batches(
    kitchen: KitchenHere,
    batch: str,
    align: Align = Align.TIME,
    temperature: _Temperature = 60.0,
) -> Response:
    """Lowest, median and highest of the batches like it whose outcome was "set".

    Alike is a batch of the same recipe, in any version; without a recipe one of the same pot. At
    most the latest twelve count, and never the batch itself.
    """
    like = kitchen.journal.batch(batch)
    return Json(band_behind(kitchen, like, Axis(align, temperature)))


@router.get("/effects", summary="Two ways of working, with several batches of each")
def compare_ways(kitchen: KitchenHere, first: _Replicates, second: _Replicates) -> Response:
    """The effect of the second way over the first with its 95 % interval, figure by figure.

    At least three batches of each are needed; `standardised` is the effect by the spread between
    batches (Hedges' g).
    """
    return Json(effects(kitchen, first, second))
