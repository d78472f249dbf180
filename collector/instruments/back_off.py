# SPDX-License-Identifier: MIT
"""How long to wait before a lost port or broker is tried again. Pure; imports nothing."""

from __future__ import annotations

import random
from collections.abc import Callable


class BackOff:
    """Waiting times that double from the first to the last, each varied by a quarter."""

    def __init__(
        self,
        first_s: float = 0.5,
        last_s: float = 10.0,
        *,
        chance: Callable[[], float] = random.random,
    ) -> None:
        """Begin with the first.

        Args:
            first_s: The first waiting time [s].
            last_s: No waiting time is longer [s].
            chance: A number from 0 to 1, so that many ports don't all try at once.
        """
        self._first_s = first_s
        self._last_s = last_s
        self._chance = chance
        self._step_s = first_s

    def next_s(self) -> float:
        """Return how long to wait now [s], between the first and the last waiting time."""
        varied_s = self._step_s * (0.75 + 0.5 * self._chance())
        self._step_s = min(self._step_s * 2.0, self._last_s)
        return min(max(varied_s, self._first_s), self._last_s)

    def reset(self) -> None:
        """Begin again with the first: it worked."""
        self._step_s = self._first_s
