# SPDX-License-Identifier: MIT
"""A browser's subscription to Web Push, and the address that a route keeps of it. Pure.

Where a subscription points and its two keys are secrets: who knows them can call that phone.
"""

from __future__ import annotations

import base64
import binascii
import ipaddress
import json
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlsplit

from collector.errors import RecordError

SCHEME = "webpush"
_LONGEST_ENDPOINT = 1500
_PUBLIC_BYTES, _AUTH_BYTES = 65, 16
_UNCOMPRESSED = 0x04


@dataclass(frozen=True, slots=True)
class Subscription:
    """One browser on one device.

    Attributes:
        endpoint: Where its messages are posted.
        p256dh: The browser's public key, base64url.
        auth: The browser's authentication secret, base64url.
        expires_ms: When it ends, None if the browser says nothing [ms since 1970 UTC].
        server_key: The kitchen's public key that it was made with, base64url.
    """

    endpoint: str = field(repr=False)
    p256dh: str = field(repr=False)
    auth: str = field(repr=False)
    expires_ms: int | None
    server_key: str

    def over_at(self, now_ms: int) -> bool:
        """Tell whether it has ended by its own word."""
        return self.expires_ms is not None and now_ms >= self.expires_ms


def checked(subscription: Subscription, *, local: bool) -> Subscription:
    """Return a subscription that can be used.

    Args:
        subscription: As the browser gave it.
        local: It was sent from this machine, whose own addresses it may then name.

    Raises:
        RecordError: It can't be used; the message holds no secret.
    """
    try:
        parts = urlsplit(subscription.endpoint)
        host = parts.hostname or ""
        _ = parts.port
    except ValueError:
        raise _unusable("endpoint", "it is no address") from None
    if len(subscription.endpoint) > _LONGEST_ENDPOINT or not host:
        raise _unusable("endpoint", "it is no address of a push service")
    loopback = _is_loopback(host)
    if not (parts.scheme == "https" or (parts.scheme == "http" and loopback and local)):
        raise _unusable("endpoint", "a push service is reached by https")
    if not local and _is_inside(host):
        raise _unusable("endpoint", "it names a machine of this network, and no push service")
    public = _bytes(subscription.p256dh)
    if len(public) != _PUBLIC_BYTES or public[0] != _UNCOMPRESSED:
        raise _unusable("keys.p256dh", "it must be 65 bytes in base64url that begin with 4")
    if len(_bytes(subscription.auth)) != _AUTH_BYTES:
        raise _unusable("keys.auth", "it must be 16 bytes in base64url")
    return subscription


def to_address(subscription: Subscription) -> str:
    """Return the address that a route keeps."""
    said = {
        "endpoint": subscription.endpoint,
        "p256dh": subscription.p256dh,
        "auth": subscription.auth,
        "expires_ms": subscription.expires_ms,
        "server_key": subscription.server_key,
    }
    packed = base64.urlsafe_b64encode(json.dumps(said, sort_keys=True).encode())
    return f"{SCHEME}://{packed.decode('ascii').rstrip('=')}"


def is_push(address: str) -> bool:
    """Tell whether a route's address is that of a subscription."""
    return address.startswith(f"{SCHEME}://")


def of_address(address: str) -> Subscription:
    """Return the subscription of a route's address.

    Raises:
        ValueError: It is none.
    """
    if not is_push(address):
        raise ValueError("not the address of a subscription")
    said: dict[str, Any] = json.loads(_bytes(address.partition("://")[2]))
    return Subscription(**said)


def _unusable(where: str, why: str) -> RecordError:
    return RecordError(
        f"The subscription can't be used: {why}.",
        where=where,
        do="Send what PushSubscription.toJSON() gives, unchanged.",
    )


def _bytes(text: str) -> bytes:
    try:
        return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))
    except (binascii.Error, ValueError):
        return b""


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _is_inside(host: str) -> bool:
    """A bare address or a name of a local network: no push service is reached by one."""
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return "." not in host or host.endswith((".local", ".localhost", ".internal", ".lan"))
    return True
