# SPDX-License-Identifier: MIT
"""Follows the holds of a batch: when each has lasted for its least time. Pure.

A hold is judged on all readings of its stretch, so it isn't judged at every reading: time is
credited no faster than it passes, and so it is known how long nothing can come of it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from api.process.hold_spec import HoldResult, HoldSpec
from api.process.quantities import NotShown, Verdict

# The start of its clock moves by less than this when the curve places a pour that was marked late:
# look this long before it could be complete.
_EARLY_S = 60.0
_KEPT = (Verdict.MET, Verdict.RUNNING)


@dataclass(slots=True)
class HoldWatch:
    """One hold of the frozen recipe.

    Attributes:
        number: Its place among the recipe's holds, from 0.
        spec: What it asks for.
        reached_s: When its least time was reached; None before that [s since 1970 UTC].
        told: Whether that was handed on.
    """

    number: int
    spec: HoldSpec
    reached_s: float | None = None
    told: bool = False
    _next_s: float = -math.inf

    def due(self, last_s: float) -> bool:
        """Tell whether readings up to a moment could complete it [s since 1970 UTC]."""
        return self.reached_s is None and last_s >= self._next_s

    def take(self, result: HoldResult | NotShown, last_s: float) -> None:
        """Take a judgement on the readings up to a moment.

        Args:
            result: The judgement.
            last_s: The last reading that it saw [s since 1970 UTC].
        """
        if isinstance(result, NotShown):
            self._next_s = last_s + _EARLY_S
            return
        if result.reached_s is not None and result.verdict in _KEPT:
            self.reached_s = result.reached_s
            return
        credited_s = result.longest_unbroken_s if self.spec.unbroken else result.held_s
        missing_s = max(self.spec.least_s - credited_s, 0.0)
        self._next_s = last_s + max(missing_s - _EARLY_S, min(missing_s, _EARLY_S))

    def reopen(self) -> None:
        """Judge it again at the next reading: marks or corrections have changed."""
        self.reached_s, self._next_s = None, -math.inf
