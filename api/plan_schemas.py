# SPDX-License-Identifier: MIT
"""What the HTTP interface takes to plan a pour, with an example."""

from __future__ import annotations

from typing import Literal

from pydantic import ConfigDict, Field, model_validator

from api.schemas import Body, IngredientShare, Measure


class Measured(Measure):
    """A value with its unit and, if it is known, its standard uncertainty in that unit."""

    u: float | None = Field(default=None, ge=0, allow_inf_nan=False)


class PourPlanBody(Body):
    """A pour that is yet to come.

    With `slurry_mass` the milk temperature is answered, with `milk_temperature` the slurry mass,
    with both also the mixture that they would give. Without `slurry_temperature` the slurry is
    taken to be about as warm as the room.
    """

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "target": {"value": 75, "unit": "degC"},
                    "milk_mass": {"value": 3.4, "unit": "kg"},
                    "slurry_mass": {"value": 262, "unit": "g"},
                    "slurry_temperature": {"value": 20, "unit": "degC", "u": 0.5},
                    "milk_solids_fraction": 0.09,
                    "ingredients": [{"name": "soybean"}],
                    "pot_mass": {"value": 1.2, "unit": "kg"},
                    "pot_material": "stainless steel",
                },
                {
                    "target": {"value": 165, "unit": "degF"},
                    "milk_mass": {"value": 3, "unit": "kg"},
                    "milk_temperature": {"value": 180, "unit": "degF"},
                    "slurry_temperature": {"value": 70, "unit": "degF"},
                },
            ]
        }
    )
    target: Measure
    milk_mass: Measured
    milk_temperature: Measured | None = None
    slurry_mass: Measured | None = None
    slurry_temperature: Measured | None = None
    milk_solids_fraction: float | None = Field(default=None, ge=0, lt=1)
    ingredients: list[IngredientShare] | None = None
    pot: str | None = Field(default=None, max_length=100)
    pot_mass: Measured | None = None
    pot_material: Literal["stainless steel", "aluminium"] | None = None

    @model_validator(mode="after")
    def _asks_something(self) -> PourPlanBody:
        if self.milk_temperature is None and self.slurry_mass is None:
            raise ValueError("give slurry_mass to be told the milk temperature, or the reverse")
        if self.pot is not None and self.pot_mass is not None:
            raise ValueError("give a pot by its name or by its mass, not both")
        if self.milk_solids_fraction is not None and not self.ingredients:
            raise ValueError("the solids of a milk need the ingredients that they are from")
        return self
