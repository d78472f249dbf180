# SPDX-License-Identifier: MIT
"""What the HTTP interface takes about deviations and reviews of a batch."""

from __future__ import annotations

from pydantic import ConfigDict, Field, model_validator

from api.schemas import Time, Withdrawable


class DeviationBody(Withdrawable):
    """What was done about a deviation, or one that only the maker knows of."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {"about": "hold:boil", "action": "boiled again for 10 min", "who": "ana"},
                {"text": "the cloth tore", "action": "strained twice"},
            ]
        }
    )
    about: str | None = Field(default=None, max_length=300)
    text: str | None = Field(default=None, min_length=1, max_length=2000)
    action: str | None = Field(default=None, min_length=1, max_length=2000)
    at: Time | None = None
    replaces: str | None = Field(default=None, max_length=64)

    @model_validator(mode="after")
    def _whole(self) -> DeviationBody:
        if self.withdraws is None and not (self.text or (self.about and self.action)):
            raise ValueError("give a text, or what it is about with the action that was taken")
        return self


class ReviewBody(Withdrawable):
    """That somebody has looked through the record."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"who": "ben", "text": "all well"}]})
    text: str | None = Field(default=None, max_length=2000)
    at: Time | None = None

    @model_validator(mode="after")
    def _whole(self) -> ReviewBody:
        if self.withdraws is None and not (self.who or "").strip():
            raise ValueError("say who reviewed the record")
        return self
