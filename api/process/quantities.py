# SPDX-License-Identifier: MIT
"""What a calculation hands back: a number with its uncertainty and origin, or why there is none.

Pure. Imports nothing of the project.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class Quantity:
    """A computed value that can be stood behind.

    Attributes:
        value: The best estimate [unit].
        unit: "degC", "K", "kg", "s", "W", "W/K", "-" …
        u: Its standard uncertainty, at least 0 [unit; K for degC].
        method: How it was computed, in a few words.
        sources: What it was computed from: series, events, weighings, corrections, assumptions.
    """

    value: float
    unit: str
    u: float
    method: str
    sources: tuple[str, ...] = ()

    def using(self, *sources: str) -> Quantity:
        """Return the same quantity with more sources named."""
        return replace(self, sources=self.sources + sources)


class Absence(enum.StrEnum):
    """Why there is no number: it can't be shown, or the question doesn't arise."""

    NOT_SHOWN = "not shown"
    NOT_APPLICABLE = "not applicable"


@dataclass(frozen=True, slots=True)
class NotShown:
    """No number, and why.

    Attributes:
        why: What is missing, and what would show it.
        status: "not shown", or "not applicable" where the question doesn't arise.
    """

    why: str
    status: Absence = Absence.NOT_SHOWN


Result = Quantity | NotShown


class Verdict(enum.StrEnum):
    """The verdict on a hold or a chill."""

    MET = "met"
    NOT_MET = "not met"
    NOT_SHOWN = "not shown"
    RUNNING = "running"
