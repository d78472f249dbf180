# SPDX-License-Identifier: MIT
"""What the HTTP interface takes and gives of proposals."""

from __future__ import annotations

from typing import Any

from pydantic import ConfigDict, Field

from api import views
from api.proposals.standing import Standing
from api.schemas import Sent, Time, Withdrawable
from api.times import format_ms


class AcceptBody(Sent):
    """A proposal was so; the mark is made at the detector's time unless another is given."""

    model_config = ConfigDict(json_schema_extra={"examples": [{}, {"note": "one slow stream"}]})
    at: Time | None = None
    note: str | None = Field(default=None, max_length=2000)


class DismissBody(Withdrawable):
    """A proposal was not so; `withdraws` takes that back."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"why": "a lid was lifted"}]})


def proposal_json(one: Standing) -> dict[str, Any]:
    """Return a proposal with how it stands."""
    body = one.record.body
    shown: dict[str, Any] = {
        "n": body["n"],
        "kind": body["kind"],
        "at": format_ms(one.record.at_ms),
        "u_s": body["u_s"],
        "seen_at": body["seen_at"],
        "confidence": body["confidence"],
        "why": body["why"],
        "detector": body["detector"],
        "recorded_at": one.record.recorded_at,
        "state": str(one.state),
    }
    if one.event is not None:
        shown["event"] = views.event(one.event)
    if one.dismissal is not None:
        shown["dismissal"] = dismissal_json(one)
    if one.undone is not None:
        shown["undone"] = views.event(one.undone)
    return shown


def dismissal_json(one: Standing) -> dict[str, Any] | None:
    """Return the record that a proposal was not so, None without one."""
    record = one.dismissal
    if record is None:
        return None
    return {
        "id": record.id,
        "recorded_at": record.recorded_at,
        "who": record.who,
        "why": record.body.get("why"),
    }
