# SPDX-License-Identifier: MIT
"""What may be sent about routes beside their addresses: Web Push, and the dead-man line."""

from __future__ import annotations

from pydantic import ConfigDict, Field, model_validator

from api.schemas import Body, Sent, Withdrawable


class AliveBody(Sent):
    """How often a route is told that the watch is alive."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"every_min": 5}]})
    every_min: int | None = Field(default=None, ge=1, le=1440)
    tell_stop: bool = False


class PushKeys(Body):
    """The keys of a browser's subscription, base64url."""

    p256dh: str = Field(min_length=1, max_length=200)
    auth: str = Field(min_length=1, max_length=100)


class PushBody(Withdrawable):
    """A browser's subscription to Web Push, as PushSubscription.toJSON() gives it, with a name."""

    name: str | None = Field(default=None, min_length=1, max_length=100)
    endpoint: str | None = Field(default=None, min_length=8, max_length=1500)
    expiration_time: float | None = Field(default=None, alias="expirationTime", ge=0, le=1e14)
    keys: PushKeys | None = None

    @model_validator(mode="after")
    def _whole(self) -> PushBody:
        parts = (self.name, self.endpoint, self.keys)
        if self.withdraws is None and any(part is None for part in parts):
            raise ValueError("give name, endpoint and keys, or the id of the route to take back")
        return self
