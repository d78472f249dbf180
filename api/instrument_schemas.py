# SPDX-License-Identifier: MIT
"""What the HTTP interface takes of instruments and their checks, with an example of each."""

from __future__ import annotations

from typing import Literal

from pydantic import ConfigDict, Field, model_validator

from api.schemas import Measure, Sent, SeriesName, Time, Withdrawable


class InstrumentBody(Sent):
    """What is known of an instrument beyond its readings."""

    series: SeriesName
    name: str | None = Field(default=None, max_length=100)
    kind: Literal["thermometer", "scale", "other"] | None = None
    display_step: Measure | None = None
    u: Measure | None = None
    stale_after: Measure | None = None
    check_every: Measure | None = None
    note: str | None = Field(default=None, max_length=2000)


class CheckBody(Withdrawable):
    """An ice-point, boiling-point, reference-weight or dip check of an instrument."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {"kind": "dip", "time_constant": {"value": 6.5, "unit": "s"}, "u": 0.5},
                {"kind": "dip", "from": "2026-03-02T08:00:00Z", "to": "2026-03-02T08:02:00Z"},
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
    from_: Time | None = Field(default=None, alias="from")
    to: Time | None = None
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
            "dip": ("from_", "to") if self.time_constant is None else (),
        }
        if self.kind is None:
            raise ValueError("kind is missing: ice, boil, weight or dip")
        for field in needs[self.kind]:
            if getattr(self, field) is None:
                wanted = field.rstrip("_")
                more = ", or a time_constant" if self.kind == "dip" else ""
                raise ValueError(f"a {self.kind} check needs {wanted}{more}")
        return self
