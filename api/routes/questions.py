# SPDX-License-Identifier: MIT
"""Questions of the kitchen: a pot has begun to heat; start a batch?"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response
from pydantic import ConfigDict, Field, model_validator

from api.answers import Json
from api.hands_free.questions import question_json
from api.hands_free.starting import Starting
from api.schemas import RecipeChoice, Sent

router = APIRouter(prefix="/v1/questions", tags=["hands-free"])


class StartBody(Sent):
    """Which batch has begun: one that waits, by its id, or a new one."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [{}, {"name": "North, soybean, Monday"}]}
    )
    batch: str | None = Field(default=None, max_length=64)
    name: str | None = Field(default=None, min_length=1, max_length=200)
    recipe: str | RecipeChoice | None = None

    @model_validator(mode="after")
    def _one_of(self) -> StartBody:
        if self.batch is not None and (self.name or self.recipe):
            raise ValueError("give the batch that waits, or name and recipe of a new one, not both")
        return self


class NotSoBody(Sent):
    """It is no batch."""

    why: str | None = Field(default=None, max_length=500)


def _starting(request: Request) -> Starting:
    service: Starting = request.app.state.starting
    return service


StartingHere = Annotated[Starting, Depends(_starting)]


@router.get("", summary="What the kitchen asks")
def read_questions(starting: StartingHere) -> Response:
    """An idle pot that the list of pots gives a thermometer has begun to heat.

    Asked where not exactly one batch is planned or soaking for it, or where `when_heated` says
    "ask". `state` is `open`, `answered`, `dismissed` or `past`.
    """
    return Json({"questions": [question_json(one) for one in starting.book.all()]})


@router.post("/{question_id}/start", status_code=201, summary="It is a batch: start or join it")
def start_batch(
    question_id: str, starting: StartingHere, body: StartBody | None = None
) -> Response:
    """The batch starts when the heat came on; its readings are there already.

    The same call again answers the same batch (200).
    """
    body = body or StartBody()
    fields = {"batch": body.batch, "name": body.name, "recipe": body.recipe}
    question = starting.book.one(question_id)
    _, new = starting.start(question, body.said(), fields, body.who or "")
    return Json(question_json(starting.book.one(question_id)), 201 if new else 200)


@router.post("/{question_id}/dismiss", status_code=201, summary="It is no batch")
def dismiss(question_id: str, starting: StartingHere, body: NotSoBody | None = None) -> Response:
    """It is not asked again; the same call again answers the same (200)."""
    body = body or NotSoBody()
    question = starting.book.one(question_id)
    new = question.state in ("open", "past")
    if new:
        starting.book.answer(question, body.said(), body.who or "", why=body.why or "")
    return Json(question_json(starting.book.one(question_id)), 201 if new else 200)
