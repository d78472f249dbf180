# SPDX-License-Identifier: MIT
"""Planning ahead: what lands the pour on its target."""

from __future__ import annotations

from fastapi import APIRouter, Response

from api.answers import Json
from api.kitchen import KitchenHere
from api.plan_schemas import PourPlanBody
from api.planning import plan

router = APIRouter(prefix="/v1/plan", tags=["plan"])


@router.post("/pour", summary="How hot the milk, or how much slurry, for a wanted mixture")
def plan_pour(body: PourPlanBody, kitchen: KitchenHere) -> Response:
    """Each answer is a quantity, or says why it isn't shown.

    `mixing_drop` is what the mixing alone takes; what the room takes meanwhile is not in it. The
    wall of a pot that nobody weighed is left out, and the doubt about it is in `u`.
    """
    return Json(plan(kitchen, body))
