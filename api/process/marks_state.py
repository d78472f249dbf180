# SPDX-License-Identifier: MIT
"""What is known of a pot at one moment, and what can follow from it.

Pure: imports only what is pure.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from api.process.marks_look import Look

# Only milk so warm, and so much warmer than it was, is near a boil, a target or an addition.
HOT_DEGC, CLIMBED_K = 50.0, 15.0
# A probe that fell by more than this share of its height over a cool room is out of the milk.
OUT_FRACTION, COOL_ROOM_DEGC, OUT_ABOVE_DEGC = 0.25, 15.0, 40.0
LEFT_PLATEAU_K = 1.5


@dataclass(frozen=True, slots=True)
class PotState:
    """What is known of a pot at one moment.

    Attributes:
        coldest_degc: Since the beginning [degC].
        hottest_degc: Since the beginning [degC].
        trusted_degc: Last temperature of the milk [degC], NaN before one.
        out: The probe is out of the milk.
        heat_s: Heat on [s since 1970 UTC]; NaN if it was on before anyone looked, None before.
        plateau_degc: Level of the boil or simmer, None before [degC].
        left_plateau: The milk has cooled below it.
        side: Of the target where the milk was clear of it: -1 below, 1 above, 0 not known.
        passed: Directions in which the target was passed, True for rising.
        additions_s: Start and end of each [s since 1970 UTC].
        lowest_kg: Least mass since the heat or the last addition [kg].
        steady_kg: Mass a minute ago and more [kg], NaN if not known.
        ladle_s: [s since 1970 UTC], None before.
    """

    coldest_degc: float = math.inf
    hottest_degc: float = -math.inf
    trusted_degc: float = math.nan
    out: bool = False
    heat_s: float | None = None
    plateau_degc: float | None = None
    left_plateau: bool = False
    side: int = 0
    passed: tuple[bool, ...] = ()
    additions_s: tuple[tuple[float, float], ...] = ()
    lowest_kg: float = math.inf
    steady_kg: float = math.nan
    ladle_s: float | None = None

    @property
    def hot(self) -> bool:
        """The milk is hot, and was seen to climb."""
        climbed_k = self.hottest_degc - self.coldest_degc
        return self.trusted_degc > HOT_DEGC and climbed_k > CLIMBED_K


def trusted(state: PotState, milk: Look) -> PotState:
    """Return the state with the latest temperature in it, or with the probe out of the milk.

    Args:
        state: What was known.
        milk: The last minutes of the probe.

    Returns:
        The new state.

    Source:
        A pour of a sixth takes milk down by a seventh of its height over the room; a quarter is
        no pour (computed).
    """
    last = float(milk.latest(10.0).mean())
    before = state.trusted_degc
    fell_k = OUT_FRACTION * (before - COOL_ROOM_DEGC)
    if before > OUT_ABOVE_DEGC and last < before - fell_k:
        return replace(state, out=True)
    left = state.left_plateau
    if state.plateau_degc is not None and last < state.plateau_degc - LEFT_PLATEAU_K:
        left = True
    return replace(
        state,
        out=False,
        trusted_degc=last,
        coldest_degc=min(state.coldest_degc, last),
        hottest_degc=max(state.hottest_degc, last),
        left_plateau=left,
    )
