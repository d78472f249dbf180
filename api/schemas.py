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
    "brix", "ph", "firmness", "moisture", "room_temperature", "pressure", "hand_temperature",
    "outcome", "taste", "photo",
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


class ObservationBody(Withdrawable):
    """Something measured or seen by hand."""

    quantity: QuantityKind | None = None
    value: float | None = Field(default=None, allow_inf_nan=False)
    unit: str | None = Field(default=None, max_length=20)
    u: float | None = Field(default=None, ge=0, allow_inf_nan=False)
    text: str | None = Field(default=None, max_length=4000)
    of: Stream | None = None
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
        return self


class HoldBody(Body):
    """A band to be kept for a time."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "name": "covered hold",
                    "low": {"value": 65, "unit": "degC"},
                    "least": {"value": 13, "unit": "min"},
                    "starts": "cover",
                    "ends": "ladle",
                    "basis": "quality",
                }
            ]
        }
    )
    name: str = Field(min_length=1, max_length=100)
    low: Measure | None = None
    high: Measure | None = None
    below_boiling: Measure | None = None
    least: Measure
    longest: Measure | None = None
    starts: EventKind | Literal["band"] = "band"
    ends: EventKind | None = None
    unbroken: bool = True
    basis: Literal["quality", "safety"] = "quality"

    @model_validator(mode="after")
    def _has_band(self) -> HoldBody:
        if self.low is None and self.high is None and self.below_boiling is None:
            raise ValueError("give low, high or below_boiling: a hold needs a band")
        if self.low is not None and self.below_boiling is not None:
            raise ValueError("give low or below_boiling, not both")
        return self


class StepBody(Body):
    """One thing to do; the streams of the mass balance follow the order of the steps."""

    kind: EventKind
    note: str | None = Field(default=None, max_length=2000)
    target: Target | None = None
    hold: HoldBody | None = None
    mass_ratio: float | None = Field(default=None, gt=0, allow_inf_nan=False)
    stream: Stream | None = None


class RecipeBody(Sent):
    """A recipe, or a new version of one."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "name": "Soybean, gypsum",
                    "ingredients": [{"name": "soybean"}],
                    "steps": [
                        {
                            "kind": "boil",
                            "hold": {
                                "name": "boil",
                                "below_boiling": {"value": 2, "unit": "K"},
                                "least": {"value": 10, "unit": "min"},
                                "ends": "addition",
                            },
                        },
                        {
                            "kind": "addition",
                            "target": {"value": 80, "unit": "degC", "approach": "falling"},
                        },
                        {
                            "kind": "cover",
                            "hold": {
                                "name": "covered hold",
                                "low": {"value": 65, "unit": "degC"},
                                "least": {"value": 13, "unit": "min"},
                                "starts": "cover",
                                "ends": "ladle",
                            },
                        },
                    ],
                }
            ]
        }
    )
    name: str = Field(min_length=1, max_length=200)
    ingredients: list[IngredientShare] = Field(min_length=1)
    steps: list[StepBody] = Field(default_factory=list)
    self_set: bool = False
    without: list[Stream] = Field(default_factory=list)
    note: str | None = Field(default=None, max_length=4000)


class PotBody(Sent):
    """A vessel, with what it weighs empty."""

    name: str = Field(min_length=1, max_length=100)
    empty: Measure | None = None
    u: float | None = Field(default=None, ge=0, allow_inf_nan=False)
    volume: Measure | None = None
    material: str | None = Field(default=None, max_length=50)
    note: str | None = Field(default=None, max_length=2000)


class IngredientBody(Sent):
    """The maker's own analysis of an ingredient [fractions of its mass]."""

    name: str = Field(min_length=1, max_length=100)
    water_fraction: float | None = Field(default=None, ge=0, le=1)
    protein_fraction: float | None = Field(default=None, ge=0, le=1)
    fat_fraction: float | None = Field(default=None, ge=0, le=1)
    nitrogen_factor: float | None = Field(default=None, gt=0, le=10)
    allergens: list[str] | None = None
    source: str | None = Field(default=None, max_length=500)
    note: str | None = Field(default=None, max_length=2000)


class LotBody(Sent):
    """One purchase of an ingredient."""

    ingredient: str = Field(min_length=1, max_length=100)
    lot: str = Field(min_length=1, max_length=100)
    bought_at: Time | None = None
    price: str | None = Field(default=None, max_length=50)
    per: Measure | None = None
    supplier: str | None = Field(default=None, max_length=200)
    grade: str | None = Field(default=None, max_length=100)
    note: str | None = Field(default=None, max_length=2000)


class InstrumentBody(Sent):
    """What is known of an instrument beyond its readings."""

    series: SeriesName
    name: str | None = Field(default=None, max_length=100)
    kind: Literal["thermometer", "scale", "other"] | None = None
    display_step: Measure | None = None
    u: Measure | None = None
    stale_after: Measure | None = None
    note: str | None = Field(default=None, max_length=2000)


class CheckBody(Withdrawable):
    """An ice-point, boiling-point, reference-weight or dip check of an instrument."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {"kind": "dip", "time_constant": {"value": 6.5, "unit": "s"}, "u": 0.5},
                {"kind": "ice", "indicated": {"value": 0.3, "unit": "degC"}},
            ]
        }
    )
    kind: Literal["ice", "boil", "weight", "dip"] | None = None
    at: Time | None = None
    indicated: Measure | None = None
    reference: Measure | None = None
    pressure: Measure | None = None
    time_constant: Measure | None = None
    u: float | None = Field(default=None, ge=0, allow_inf_nan=False)
    valid_from: Time | None = None
    valid_to: Time | None = None
    note: str | None = Field(default=None, max_length=2000)

    @model_validator(mode="after")
    def _whole(self) -> CheckBody:
        if self.withdraws is not None:
            return self
        needs = {
            "ice": ("indicated",),
            "boil": ("indicated",),
            "weight": ("indicated", "reference"),
            "dip": ("time_constant",),
        }
        if self.kind is None:
            raise ValueError("kind is missing: ice, boil, weight or dip")
        for field in needs[self.kind]:
            if getattr(self, field) is None:
                raise ValueError(f"a {self.kind} check needs {field}")
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
