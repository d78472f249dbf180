# SPDX-License-Identifier: MIT
"""How much of what was written to an engine may be taken as kept by it. Pure; imports nothing.

An engine acknowledges what it holds in memory and writes it to its disk some seconds later, so a
crash takes acknowledged readings with it (up to 10 s of them, tried on VictoriaMetrics 1.79.5 with
signal 9). What was acknowledged a minute ago, and by an engine that has run on since, is kept.
"""

from __future__ import annotations

import enum
from collections import deque

TRAIL_S = 60.0


class Met(enum.Enum):
    """Which run of the engine answers."""

    SAME = "one that is known"
    ANEW = "one that was not seen before"
    UNTOLD = "it doesn't tell"


class Trail:
    """What was written and when, in which run of the engine, and up to where it is kept.

    Attributes:
        kept: The arrival number up to which all is taken as kept; it never goes back.
    """

    def __init__(self, kept: int, *, trail_s: float = TRAIL_S) -> None:
        """Begin with nothing written and no run known.

        Args:
            kept: Up to which arrival number all was kept when the last run ended.
            trail_s: How long after its acknowledgement a reading is taken as kept [s].
        """
        self.kept = kept
        self._trail_s = trail_s
        self._written: deque[tuple[float, int]] = deque()
        self._runs: set[str] = set()

    def written(self, arrival: int, now_s: float) -> None:
        """Note that all up to this arrival number has now been acknowledged.

        Args:
            arrival: The highest arrival number of what was written.
            now_s: A clock that is never set [s].
        """
        self._written.append((now_s, arrival))

    def meet(self, run_id: str | None, now_s: float, *, reconnected: bool) -> Met:
        """See which run answers, and move `kept` on by what that lets be taken as kept.

        Several processes may answer at one address by turns; each of them is new only once. A run
        that isn't told is taken for the same one while the connection lasts, unless it used to be
        told: then nothing moves until it is again.

        Args:
            run_id: What the engine says of its run, None if it doesn't tell.
            now_s: The time before it was asked, by the clock that `written` was given [s].
            reconnected: Whether the connection was lost in between.

        Returns:
            Which run it is. Unless it is the same one, all behind `kept` must be written again
            (after a reconnection it must be in any case).
        """
        if run_id is None:
            met = Met.UNTOLD
        else:
            met = Met.SAME if run_id in self._runs else Met.ANEW
            self._runs.add(run_id)
        if met is Met.ANEW or (met is Met.UNTOLD and reconnected):
            self._written.clear()  # what another run acknowledged may be gone with it
        elif met is Met.SAME or not self._runs:
            while self._written and self._written[0][0] <= now_s - self._trail_s:
                self.kept = max(self.kept, self._written.popleft()[1])
        return met
