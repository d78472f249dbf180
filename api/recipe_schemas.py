# SPDX-License-Identifier: MIT
"""What the HTTP interface takes around recipes: a draft to be reckoned, and a recipe as a file."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import ConfigDict, Field

from api.list_schemas import RecipeBody
from api.schemas import Body, Measure, Sent

FORM = "curdwright-recipe"
FORM_VERSION = 1


class RecipeDraft(Body):
    """A recipe that is being written; nothing of it is kept.

    `dry` is the dry mass to reckon for; without it the recipe's own. `recipe_id` names the recipe
    whose earlier batches tell its yield.
    """

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "recipe": {
                        "name": "Soybean, gypsum",
                        "ingredients": [{"name": "soybean"}],
                        "coagulant": {"name": "gypsum"},
                        "dose": {"value": 0.4, "unit": "g/100 g milk"},
                        "steps": [
                            {"kind": "heat", "masses": [{"stream": "milk", "ratio": 7.5}]},
                            {"kind": "addition"},
                        ],
                    },
                    "dry": {"value": 600, "unit": "g"},
                }
            ]
        }
    )
    recipe: RecipeBody
    dry: Measure | None = None
    recipe_id: str | None = Field(default=None, max_length=64)


class RecipeFile(Sent):
    """A recipe as a file: our own form, JSON in UTF-8.

    `form` and `form_version` say what it is; `recipe` is what `POST /v1/recipes` takes. Lots are
    left out of it, since they belong to the kitchen that bought them. `taken_from` is for the
    reader alone.
    """

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "form": FORM,
                    "form_version": FORM_VERSION,
                    "recipe": {"name": "Soybean", "ingredients": [{"name": "soybean"}]},
                }
            ]
        }
    )
    form: Literal["curdwright-recipe"]
    form_version: Literal[1]
    recipe: RecipeBody
    taken_from: dict[str, Any] | None = None
