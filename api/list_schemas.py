# SPDX-License-Identifier: MIT
"""What the HTTP interface takes for the maker's own lists: recipes, pots, ingredients, lots, rates.

One model for each body, with an example of each.
"""

from __future__ import annotations

import datetime
from typing import Annotated, Literal

from pydantic import ConfigDict, Field, model_validator

from api.alarm_schemas import LimitBody
from api.schemas import (
    Body,
    CoagulantBody,
    DoseBody,
    EventKind,
    IngredientShare,
    Measure,
    Sent,
    SeriesName,
    Stream,
    Target,
    Time,
)

_BY_ITSELF = ("heat", "target", "simmer", "addition", "ladle", "press")
_NEVER_BY_ITSELF = ("boil", "chill", "end")
Currency = Annotated[str, Field(min_length=1, max_length=10, examples=["EUR"])]


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


class StreamMass(Body):
    """How much of a stream a step takes or is expected to give.

    By the dry mass (`ratio`, kg for each kg), or as a `mass` for the recipe's own `dry` mass.
    """

    stream: Stream
    ratio: float | None = Field(default=None, gt=0, allow_inf_nan=False)
    mass: Measure | None = None

    @model_validator(mode="after")
    def _one_of(self) -> StreamMass:
        if (self.ratio is None) == (self.mass is None):
            raise ValueError("give a ratio to the dry mass, or a mass, and not both")
        if self.mass is not None and not self.mass.value > 0:
            raise ValueError("the mass must be above 0")
        return self


class StepBody(Body):
    """One thing to do; the streams of the mass balance follow the order of the steps.

    `press_mass` is what presses, the follower's own weight included; `press_area` the area of the
    curd inside the cloth.
    """

    kind: EventKind
    note: str | None = Field(default=None, max_length=2000)
    target: Target | None = None
    hold: HoldBody | None = None
    limit: LimitBody | None = None
    mass_ratio: float | None = Field(default=None, gt=0, allow_inf_nan=False)
    stream: Stream | None = None
    masses: list[StreamMass] = Field(default_factory=list, max_length=20)
    press_mass: Measure | None = None
    press_area: Measure | None = None


class AcceptByItself(Body):
    """Which proposals of the detector become marks without anybody being asked.

    Never boil, chill or end: what is judged by them is not left to a machine's word.
    """

    above: float = Field(ge=0.5, le=1, allow_inf_nan=False)
    kinds: list[str] = Field(min_length=1, max_length=9)

    @model_validator(mode="after")
    def _only_what_may(self) -> AcceptByItself:
        for kind in self.kinds:
            if kind in _NEVER_BY_ITSELF:
                raise ValueError(
                    f"a proposal of {kind} is never accepted by itself: leave it out, and accept "
                    "it by hand"
                )
            if kind not in _BY_ITSELF:
                raise ValueError(
                    f"{kind!r} is nothing that is proposed; give some of {', '.join(_BY_ITSELF)}"
                )
        return self


class RecipeBody(Sent):
    """A recipe, or a new version of one.

    A `dose` becomes the mass of the coagulant at the step addition. `replaces_version` is the
    version that this was made from; if another was kept since, it is refused.
    """

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "name": "Soybean, gypsum",
                    "ingredients": [{"name": "soybean"}],
                    "dry": {"value": 600, "unit": "g"},
                    "coagulant": {"name": "gypsum"},
                    "nominal_block": {"value": 350, "unit": "g"},
                    "steps": [
                        {
                            "kind": "grind",
                            "masses": [{"stream": "water", "mass": {"value": 4.2, "unit": "kg"}}],
                        },
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
                            "masses": [
                                {"stream": "coagulant", "mass": {"value": 20, "unit": "g"}},
                                {"stream": "coagulant_water", "ratio": 0.4},
                            ],
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
                        {
                            "kind": "press",
                            "press_mass": {"value": 2, "unit": "kg"},
                            "press_area": {"value": 108, "unit": "cm2"},
                        },
                    ],
                }
            ]
        }
    )
    name: str = Field(min_length=1, max_length=200)
    ingredients: list[IngredientShare] = Field(min_length=1)
    dry: Measure | None = None
    coagulant: CoagulantBody | None = None
    dose: DoseBody | None = None
    nominal_block: Measure | None = None
    milk_solids_fraction: float | None = Field(default=None, gt=0, lt=1)
    steps: list[StepBody] = Field(default_factory=list)
    self_set: bool = False
    without: list[Stream] = Field(default_factory=list)
    accept_by_itself: AcceptByItself | None = None
    note: str | None = Field(default=None, max_length=4000)
    replaces_version: int | None = Field(default=None, ge=1)


class PotBody(Sent):
    """A vessel, with what it weighs empty, and the instruments that have their place at it.

    `thermometer` reads its milk, `scale` stands under it, `bench` is the scale on which its streams
    are weighed, and a press of `button` marks the next expected step of its open batch.
    """

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "name": "North",
                    "empty": {"value": 2.31, "unit": "kg"},
                    "thermometer": "north/milk",
                    "scale": "north/scale",
                    "button": "north/button",
                }
            ]
        }
    )
    name: str = Field(min_length=1, max_length=100)
    empty: Measure | None = None
    u: float | None = Field(default=None, ge=0, allow_inf_nan=False)
    volume: Measure | None = None
    material: str | None = Field(default=None, max_length=50)
    thermometer: SeriesName | None = None
    scale: SeriesName | None = None
    bench: SeriesName | None = None
    button: SeriesName | None = None
    note: str | None = Field(default=None, max_length=2000)


class IngredientBody(Sent):
    """The maker's own analysis of an ingredient [fractions of its mass].

    `u_fraction` is the relative standard uncertainty of its figures; `foam` the temperature from
    which on its milk may foam over on its way up.
    """

    name: str = Field(min_length=1, max_length=100)
    water_fraction: float | None = Field(default=None, ge=0, le=1)
    protein_fraction: float | None = Field(default=None, ge=0, le=1)
    fat_fraction: float | None = Field(default=None, ge=0, le=1)
    nitrogen_factor: float | None = Field(default=None, gt=0, le=10)
    u_fraction: float | None = Field(default=None, gt=0, le=1)
    allergens: list[str] | None = None
    foam: Measure | None = None
    source: str | None = Field(default=None, max_length=500)
    note: str | None = Field(default=None, max_length=2000)


class LotBody(Sent):
    """One purchase of an ingredient or a coagulant; its price as a decimal number, for a mass."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "ingredient": "soybean",
                    "lot": "2026-02 sack 3",
                    "price": "12.92",
                    "currency": "USD",
                    "per": {"value": 1, "unit": "lb"},
                }
            ]
        }
    )
    ingredient: str = Field(min_length=1, max_length=100)
    lot: str = Field(min_length=1, max_length=100)
    bought_at: Time | None = None
    price: str | None = Field(default=None, max_length=50)
    currency: Currency | None = None
    per: Measure | None = None
    supplier: str | None = Field(default=None, max_length=200)
    grade: str | None = Field(default=None, max_length=100)
    note: str | None = Field(default=None, max_length=2000)

    @model_validator(mode="after")
    def _price_is_whole(self) -> LotBody:
        given = [part is not None for part in (self.price, self.per, self.currency)]
        if any(given) and not all(given):
            raise ValueError("a price needs all three: price, currency, and per what mass")
        return self


class RateBody(Sent):
    """What one unit of a currency is worth in another, as the maker states it, and of what day."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [{"from": "USD", "to": "EUR", "rate": "0.92", "date": "2026-03-02"}]
        }
    )
    from_: Currency = Field(alias="from")
    to: Currency
    rate: str = Field(max_length=50)
    date: datetime.date
