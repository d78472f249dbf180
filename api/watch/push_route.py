# SPDX-License-Identifier: MIT
"""Sends one message by Web Push (RFC 8030, 8291, 8292), in the thread that calls.

Knows no database. A push service's 201 means that it keeps the message, not that the phone rang.
"""

from __future__ import annotations

import time
from pathlib import Path

import orjson

from api.watch.addresses import scrubbed
from api.watch.message import Message, Outcome
from api.watch.push_keys import public_text, read_or_make_key
from api.watch.subscription import Subscription, of_address
from collector.errors import StoreError

GONE_WORDS = "gone, subscribe again"
# As long as a message is tried: a phone that was off is told when it is on again.
KEPT_FOR_S = 86_400
_PATIENCE_S = 10.0
# What fits into one record of 4096 bytes (RFC 8291, section 4) is 3993; words are cut well before.
_LONGEST_TEXT = 900
_GONE = {404, 410}
_TAKEN = range(200, 300)


def send_by_push(address: str, message: Message, data_dir: Path, contact: str) -> Outcome:
    """Encrypt a message for one browser and post it at its push service.

    Args:
        address: Of the route; holds the subscription.
        message: What is sent.
        data_dir: Where the kitchen's key lies.
        contact: Whom the push service may write to: "mailto:…" or "https://…".
    """
    try:
        subscription = of_address(address)
    except (ValueError, TypeError):
        return Outcome(False, f"the subscription can't be read: {GONE_WORDS}", gone=True)
    if subscription.over_at(time.time_ns() // 1_000_000):
        return Outcome(False, f"the subscription has expired: {GONE_WORDS}", gone=True)
    try:
        return _posted(subscription, message, data_dir, contact)
    except StoreError as error:
        return Outcome(False, error.what)
    except Exception as error:  # a fault of the network or of the library must not end the post
        said = scrubbed(str(error), subscription.endpoint)
        return Outcome(False, f"{type(error).__name__}: {said}"[:300])


def _posted(subscription: Subscription, message: Message, data_dir: Path, contact: str) -> Outcome:
    from py_vapid import Vapid
    from pywebpush import WebPushException, webpush

    key = read_or_make_key(data_dir)
    if subscription.server_key != public_text(key):
        return Outcome(False, f"the kitchen has another key now: {GONE_WORDS}", gone=True)
    keys = {"p256dh": subscription.p256dh, "auth": subscription.auth}
    said = message.as_json()
    said["text"], said["title"] = message.text[:_LONGEST_TEXT], message.title[:200]
    headers = {"Urgency": "high" if message.priority == "high" else "normal"}
    topic = message.id.replace("-", "")
    if len(topic) == 32:  # a repeat takes the place of the first, if that still waits
        headers["Topic"] = topic
    try:
        answer = webpush(
            {"endpoint": subscription.endpoint, "keys": keys},
            orjson.dumps(said),
            vapid_private_key=Vapid(key),
            vapid_claims={"sub": contact},
            ttl=KEPT_FOR_S,
            timeout=_PATIENCE_S,
            headers=headers,
        )
        status = int(answer.status_code)
    except WebPushException as error:
        if error.response is None:
            raise
        status = int(error.response.status_code)
    return _outcome(status)


def _outcome(status: int) -> Outcome:
    if status in _TAKEN:
        return Outcome(True, f"the push service took it ({status})")
    if status in _GONE:
        return Outcome(False, f"the push service answered {status}: {GONE_WORDS}", gone=True)
    return Outcome(False, f"the push service answered {status}")
