# SPDX-License-Identifier: MIT
"""What the HTTP interface takes: one model for each body, with an example of each."""

from __future__ import annotations

from typing import Annotated, Any, Literal
from uuid import UUID

from pydantic import BaseModel, ConfigDict, Field, model_validator

EventKind = Literal[
    "weigh", "soak", "grind", "strain", "settle", "heat", "simmer", "boil", "addition", "cover",
    "set", "ladle", "press", "unmould", "chill", "end", "note",
]  # fmt: skip
Stream = Literal[
    "dry", "soak_water", "soaked", "drained", "water", "mash", "pulp", "raw_milk", "starch",
    "milk", "coagulant", "coagulant_water", "curd", "whey", "evaporation", "block", "press_whey",
]  # fmt: skip
Place = Literal[
    "milk", "pulp", "curd", "block_core", "chill_water", "room", "under_pot", "under_press"
]
QuantityKind = Literal[
    "brix", "ph", "firmness", "moisture", "protein", "fat", "room_temperature", "pressure",
    "hand_temperature", "press_mass", "press_area", "outcome", "taste", "photo",
]  # fmt: skip
Outcome = Literal["set", "weak", "did not set", "abandoned"]
SeriesName = Annotated[
    str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9\-:./_]*$", max_length=200, examples=["north/milk"])
]
Time = Annotated[str, Field(examples=["2026-03-02T08:15:00Z"], max_length=40)]


class Body(BaseModel):
    """A body that refuses fields it doesn't know."""

    model_config = ConfigDict(extra="forbid", str_strip_whitespace=True)

    def said(self) -> dict[str, Any]:
        """Return what the sender said, without its id, as JSON."""
        return self.model_dump(
            mode="json", exclude_unset=True, exclude={"id"}, by_alias=True, exclude_none=True
        )


class Measure(Body):
    """A value with its unit."""

    value: float = Field(allow_inf_nan=False)
    unit: str = Field(max_length=20)


class Sent(Body):
    """What every record may carry: an id of the sender's making, and the sender's clock."""

    id: UUID | None = None
    sent_at: Time | None = None
    who: str | None = Field(default=None, max_length=100)


class Withdrawable(Sent):
    """A record that may instead take an earlier one back."""

    withdraws: str | None = Field(default=None, max_length=64)
    why: str | None = Field(default=None, max_length=500)


class Target(Measure):
    """The milk temperature at which to act."""

    approach: Literal["rising", "falling", "either"] | None = None
    tolerance: float | None = Field(default=None, ge=0, allow_inf_nan=False)


class RecipeChoice(Body):
    """A recipe, and which version of it."""

    id: str
    version: int | None = Field(default=None, ge=1)


class IngredientShare(Body):
    """One ingredient of a blend, by its share of the dry mass."""

    name: str = Field(min_length=1, max_length=100)
    share: float = Field(default=1.0, gt=0, le=1)
    lot: str | None = None


class CoagulantBody(Body):
    """The coagulant of a recipe or a batch; a brine with its share of the salt."""

    name: str = Field(min_length=1, max_length=100)
    strength_fraction: float | None = Field(default=None, gt=0, le=1)
    lot: str | None = Field(default=None, max_length=100)


class DoseBody(Body):
    """A dose of the coagulant by the dry ingredient, by the milk, or in moles to its litre.

    By the milk it needs the milk that a step expects, in moles also a coagulant that is known here.
    """

    value: float = Field(gt=0, le=1000, allow_inf_nan=False)
    unit: Literal["g/100 g dry", "g/100 g milk", "mmol/L"]


class BatchBody(Sent):
    """A new batch."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "name": "North, soybean, Monday",
                    "pot": "North",
                    "thermometer": "north/milk",
                    "scale": "north/scale",
                    "target": {"value": 80, "unit": "degC", "approach": "falling"},
                    "ingredients": [{"name": "soybean"}],
                }
            ]
        }
    )
    name: str = Field(min_length=1, max_length=200)
    recipe: str | RecipeChoice | None = None
    pot: str | None = Field(default=None, max_length=100)
    thermometer: SeriesName | None = None
    scale: SeriesName | None = None
    target: Target | None = None
    started_at: Time | None = None
    ingredients: list[IngredientShare] | None = None
    coagulant: CoagulantBody | None = None
    nominal_block: Measure | None = None
    self_set: bool | None = None
    note: str | None = Field(default=None, max_length=2000)


class EventBody(Withdrawable):
    """Something that happened; without `at` it is now."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [{"kind": "addition", "at": "2026-03-02T08:15:00Z"}]}
    )
    kind: EventKind | None = None
    at: Time | None = None
    note: str | None = Field(default=None, max_length=2000)
    replaces: str | None = Field(default=None, max_length=64)

    @model_validator(mode="after")
    def _one_of(self) -> EventBody:
        if (self.kind is None) == (self.withdraws is None):
            raise ValueError("give a kind, or the id of the event that this withdraws")
        return self


class WeighingBody(Withdrawable):
    """One mass of one stream."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [{"stream": "milk", "mass": {"value": 3.56, "unit": "kg"}, "u": 0.002}]
        }
    )
    stream: Stream | None = None
    mass: Measure | None = None
    u: float | None = Field(default=None, gt=0, allow_inf_nan=False)
    at: Time | None = None
    as_: Literal["part", "again"] = Field(default="part", alias="as")
    tare: Measure | str | None = None
    basis: Literal["net", "gross"] = "net"
    from_scale: SeriesName | None = None
    note: str | None = Field(default=None, max_length=2000)
    replaces: str | None = Field(default=None, max_length=64)

    @model_validator(mode="after")
    def _whole(self) -> WeighingBody:
        if self.withdraws is not None:
            if self.stream is not None:
                raise ValueError("give a weighing, or the id of the one that this withdraws")
            return self
        if self.stream is None:
            raise ValueError("stream is missing")
        if (self.mass is None) == (self.from_scale is None):
            raise ValueError("give a mass, or from_scale, and not both")
        if self.basis == "gross" and self.tare is None:
            raise ValueError("a gross mass needs a tare (a mass, or a vessel's id)")
        return self


class BindingBody(Withdrawable):
    """A series tied to a place of the batch for a time."""

    series: SeriesName | None = None
    place: Place | None = None
    from_: Time | None = Field(default=None, alias="from")
    to: Time | None = None

    @model_validator(mode="after")
    def _whole(self) -> BindingBody:
        if self.withdraws is None and (self.series is None or self.place is None):
            raise ValueError("give a series and a place")
        return self


class TasteScale(Body):
    """The scale of a tasting score, with what its two ends mean."""

    low: float = Field(allow_inf_nan=False)
    high: float = Field(allow_inf_nan=False)
    low_words: str | None = Field(default=None, max_length=100)
    high_words: str | None = Field(default=None, max_length=100)

    @model_validator(mode="after")
    def _rises(self) -> TasteScale:
        if not self.low < self.high:
            raise ValueError("the scale must end above where it begins")
        return self


class ObservationBody(Withdrawable):
    """Something measured or seen by hand; a taste is a score of one attribute on a scale."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {"quantity": "moisture", "value": 84.5, "unit": "%", "of": "block"},
                {
                    "quantity": "taste",
                    "attribute": "firmness",
                    "value": 6,
                    "scale": {"low": 1, "high": 9, "low_words": "soft", "high_words": "hard"},
                    "who": "taster 2",
                },
            ]
        }
    )
    quantity: QuantityKind | None = None
    value: float | None = Field(default=None, allow_inf_nan=False)
    unit: str | None = Field(default=None, max_length=20)
    u: float | None = Field(default=None, ge=0, allow_inf_nan=False)
    text: str | None = Field(default=None, max_length=4000)
    of: Stream | None = None
    nitrogen_factor: float | None = Field(default=None, gt=0, le=10)
    attribute: str | None = Field(default=None, min_length=1, max_length=100)
    scale: TasteScale | None = None
    at: Time | None = None

    @model_validator(mode="after")
    def _whole(self) -> ObservationBody:
        if self.withdraws is not None:
            return self
        if self.quantity is None:
            raise ValueError("quantity is missing")
        if self.quantity == "outcome" and self.text not in (
            "set", "weak", "did not set", "abandoned",
        ):  # fmt: skip
            raise ValueError("the text of an outcome is one of set, weak, did not set, abandoned")
        if self.value is None and not self.text:
            raise ValueError("give a value or a text")
        if self.quantity == "taste" and self.value is not None:
            if self.scale is None:
                raise ValueError("a score needs its scale: low and high")
            if not self.scale.low <= self.value <= self.scale.high:
                raise ValueError(
                    f"a score of {self.value:g} lies outside its scale "
                    f"{self.scale.low:g} to {self.scale.high:g}"
                )
        return self


class RouteBody(Withdrawable):
    """Where notices go; the address as apprise takes it."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [{"name": "kitchen phone", "address": "json://127.0.0.1:8080/notices"}]
        }
    )
    name: str | None = Field(default=None, min_length=1, max_length=100)
    address: str | None = Field(default=None, min_length=3, max_length=2000)

    @model_validator(mode="after")
    def _whole(self) -> RouteBody:
        if self.withdraws is None and (self.name is None or self.address is None):
            raise ValueError("give a name and an address, or the id of the route to take back")
        return self


class PairBody(Body):
    """The token that was printed at start."""

    token: str = Field(max_length=200)
