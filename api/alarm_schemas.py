# SPDX-License-Identifier: MIT
"""What the HTTP interface takes about alarms: one model for each body, with an example of each."""

from __future__ import annotations

from typing import Literal

from pydantic import ConfigDict, Field, model_validator

from api.schemas import Body, Measure, Sent, Time


class ShelveBody(Sent):
    """For how long an alarm is put away, and why; it comes back by itself."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [{"for_s": 600, "why": "the probe is being washed"}]}
    )
    for_s: float | None = Field(default=None, gt=0, allow_inf_nan=False)
    until: Time | None = None
    why: str = Field(min_length=1, max_length=500)

    @model_validator(mode="after")
    def _one_of(self) -> ShelveBody:
        if (self.for_s is None) == (self.until is None):
            raise ValueError("give for_s, or until, and not both")
        return self


class OutOfServiceBody(Sent):
    """Why an alarm is taken out of service."""

    model_config = ConfigDict(
        json_schema_extra={"examples": [{"why": "the probe is away to be checked"}]}
    )
    why: str = Field(min_length=1, max_length=500)


class LimitBody(Body):
    """A limit of a recipe's step, which raises an alarm while the step lasts.

    `dead_band` is a difference in the limit's own unit.
    """

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {
                    "side": "high",
                    "value": 90,
                    "unit": "degC",
                    "dead_band": 1,
                    "on_delay": {"value": 5, "unit": "s"},
                    "off_delay": {"value": 10, "unit": "s"},
                    "priority": "medium",
                }
            ]
        }
    )
    side: Literal["high", "low"]
    value: float = Field(allow_inf_nan=False)
    unit: str = Field(max_length=20)
    dead_band: float | None = Field(default=None, ge=0, allow_inf_nan=False)
    on_delay: Measure | None = None
    off_delay: Measure | None = None
    priority: Literal["low", "medium", "high"] | None = None
