# SPDX-License-Identifier: MIT
"""What the detector is told beforehand, and what it says.

Pure: imports only what is pure.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from api.process.boiling import boiling_point_at_altitude
from api.process.pour_search import Lag
from api.process.quantities import Quantity

# By common practice a block is cold at or below this; local codes differ.
COLD_DEGC = 5.0
# How well a probe in its place is known where nobody checked it [K] (common practice).
U_PROBE_K = 0.25


@dataclass(frozen=True, slots=True)
class Proposal:
    """A mark that the readings suggest.

    Attributes:
        kind: `heat target boil simmer addition ladle press chill end`.
        at: When it happened, estimated [s since 1970 UTC].
        u_at: Standard uncertainty of that [s].
        seen_at: The reading at which it could first be said; none after it was used
            [s since 1970 UTC].
        confidence: Share of such proposals that are right [-].
        why: What showed it, in one line.
    """

    kind: str
    at: float
    u_at: float
    seen_at: float
    confidence: float
    why: str


@dataclass(frozen=True, slots=True)
class MarkSettings:
    """What is known before the batch begins; all of it may be left out.

    Attributes:
        boiling: Where water boils in this kitchen [degC].
        target_degc: The milk's temperature for the addition, None if there is no target [degC].
        approach: From which side; None if nobody said.
        cold_degc: A block that has come so far down is done [degC].
        least_confidence: Nothing less sure is proposed [-].
        lags: Of the probes that had a dip check, by place [s].
        resolutions: Display steps by place; found in the readings where not given [K or kg].
    """

    boiling: Quantity = field(default_factory=lambda: boiling_point_at_altitude(0.0, 300.0))
    target_degc: float | None = None
    approach: Literal["rising", "falling"] | None = None
    cold_degc: float = COLD_DEGC
    least_confidence: float = 0.5
    lags: Mapping[str, Lag] = field(default_factory=dict)
    resolutions: Mapping[str, float] = field(default_factory=dict)

    def lag(self, place: str) -> Lag:
        """Return what is known of the lag of the probe in a place [s]."""
        return self.lags.get(place, Lag(None, 0.0))
