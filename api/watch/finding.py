# SPDX-License-Identifier: MIT
"""What the watch hands on when it has found something. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from api.watch.wording import Words


@dataclass(frozen=True, slots=True)
class Finding:
    """Something to be told once.

    Attributes:
        batch_id: The batch.
        cause: What happened, the same each time it is found.
        kind: "target" or "hold".
        at_s: When it happened [s since 1970 UTC].
        words: What is said of it.
        sources: The series and corrections it was read from.
        old: It lay too far back when its reading arrived: it is recorded, and nobody is called.
    """

    batch_id: str
    cause: str
    kind: str
    at_s: float
    words: Words
    sources: tuple[str, ...]
    old: bool
