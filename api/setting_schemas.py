# SPDX-License-Identifier: MIT
"""What the HTTP interface takes about the kitchen's settings and its first walk."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import ConfigDict, Field, model_validator

from api.schemas import Measure, Sent

Step = Literal[
    "kitchen", "place", "units", "instruments", "pots", "notices", "data", "phone", "walk"
]
SettingKey = Literal[
    "name", "zone", "altitude_m", "pressure_hpa", "room_temperature_degc", "when_heated",
    "temperature_unit", "mass_unit", "currency",
]  # fmt: skip


class SettingsBody(Sent):
    """What to set; what is left out stays. `restore` lets the file hold again for some keys.

    A `pressure` is that of the kitchen itself, not reduced to sea level; it ends an altitude that
    was set, and the reverse.
    """

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {"name": "Fern Lane", "altitude": {"value": 410, "unit": "m"}, "currency": "EUR"}
            ]
        }
    )
    name: str | None = Field(default=None, min_length=1, max_length=80)
    zone: str | None = Field(default=None, min_length=1, max_length=80)
    altitude: Measure | None = None
    pressure: Measure | None = None
    room_temperature: Measure | None = None
    when_heated: Literal["join", "ask", "off"] | None = None
    temperature_unit: Literal["degC", "degF"] | None = None
    mass_unit: Literal["g", "oz"] | None = None
    currency: Annotated[str | None, Field(pattern=r"^[A-Za-z]{3}$", examples=["EUR"])] = None
    restore: list[SettingKey] = Field(default_factory=list, max_length=20)

    @model_validator(mode="after")
    def _one_of(self) -> SettingsBody:
        if self.altitude is not None and self.pressure is not None:
            raise ValueError("give the altitude or the pressure, not both")
        return self


class StepDone(Sent):
    """How far a step of the first walk is: looked at, put off, or open again."""

    step: Step
    state: Literal["done", "later", "open"]
