# SPDX-License-Identifier: MIT
"""The clock that stamps arrivals, and the watch over the machine's wall clock.

Imports only the ground, the store's shapes and numpy; reads the clocks of the machine.

Within one run of the collector, arrival times are the wall clock at the start plus what a steady
clock has counted since, so they never go back and their spacing is true. When the wall clock is
set forward, arrival times follow it; when it is set back, they keep their scale. Every such step
is recorded, and `mended_ms` puts the arrival times of a run on the wall clock as it was last set.
"""

from __future__ import annotations

import asyncio
import logging
import time
import uuid
from collections import deque
from collections.abc import Awaitable, Callable, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from collector.log import say
from collector.store.protocol import ClockStep

STEP_NS = 500_000_000
LOOK_EVERY_S = 1.0
_SLOW_LOOK_NS = 50_000_000
_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
_log = logging.getLogger(__name__)

Call = Callable[[Callable[[ClockStep], None], ClockStep], Awaitable[None]]


def steady_ns() -> int:
    """Return a clock that is never set [ns]; it counts on while the machine sleeps, if it can."""
    if hasattr(time, "CLOCK_BOOTTIME"):
        return time.clock_gettime_ns(time.CLOCK_BOOTTIME)
    return time.monotonic_ns()


def boot_id(path: Path = _BOOT_ID) -> str:
    """Return the machine's boot id, or one made up for this run where the machine has none."""
    try:
        found = path.read_text("ascii").strip()
    except (OSError, ValueError):
        found = ""
    return found or f"unknown-{uuid.uuid4()}"


class RunClock:
    """Arrival times of one run of the collector; any thread may ask it.

    Attributes:
        boot: The machine's boot id.
        run: This run's own id.
    """

    def __init__(
        self,
        record: Callable[[ClockStep], None],
        *,
        wall_ns: Callable[[], int] = time.time_ns,
        steady_ns: Callable[[], int] = steady_ns,
        boot: str | None = None,
    ) -> None:
        """Take the wall clock as it is now for the start of the run.

        Args:
            record: Keeps a step; it may block, and if it fails it is called again later.
            wall_ns: The wall clock [ns since 1970 UTC].
            steady_ns: A clock that is never set [ns].
            boot: The machine's boot id, if it isn't to be asked for.
        """
        self.boot = boot or boot_id()
        self.run = uuid.uuid4().hex
        self._record = record
        self._wall_ns = wall_ns
        self._steady_ns = steady_ns
        self._wall_offset_ns = wall_ns() - steady_ns()
        self._offset_ns = self._wall_offset_ns  # one attribute, so that threads see it whole
        self._unrecorded = deque([self._step(0)])

    def now_ms(self) -> int:
        """Return the arrival time of what comes now [ms since 1970 UTC]; it never goes back."""
        return (self._steady_ns() + self._offset_ns) // 1_000_000

    def look(self) -> ClockStep | None:
        """Compare the wall clock with the steady clock.

        Returns:
            The step, if the wall clock moved by more than half a second since the start or since
            the last step; it is also noted for `watch` to record.
        """
        before_ns = self._steady_ns()
        wall_ns = self._wall_ns()
        after_ns = self._steady_ns()
        if after_ns - before_ns > _SLOW_LOOK_NS:
            return None  # something held us up between the two clocks: the next look will tell
        offset_ns = wall_ns - (before_ns + after_ns) // 2
        moved_ns = offset_ns - self._wall_offset_ns
        if abs(moved_ns) <= STEP_NS:
            return None
        self._wall_offset_ns = offset_ns
        self._offset_ns = max(self._offset_ns, offset_ns)
        step = self._step(round(moved_ns / 1e6))
        self._unrecorded.append(step)
        return step

    async def watch(
        self,
        *,
        pause: Callable[[float], Awaitable[None]] = asyncio.sleep,
        call: Call = asyncio.to_thread,
    ) -> None:
        """Record the start of the run, then look every second and record each step, for ever.

        Args:
            pause: Waits that many seconds.
            call: Calls a blocking function with one argument.
        """
        while True:
            await self._record_all(call)
            await pause(LOOK_EVERY_S)
            step = self.look()
            if step is not None:
                say(
                    _log,
                    "the wall clock was set",
                    level=logging.WARNING,
                    step_ms=step.step_ms,
                    at_ms=step.at_ms,
                )

    async def _record_all(self, call: Call) -> None:
        while self._unrecorded:
            try:
                await call(self._record, self._unrecorded[0])
            except Exception as error:
                say(_log, "a clock step could not be recorded yet", error=str(error))
                return
            self._unrecorded.popleft()

    def _step(self, step_ms: int) -> ClockStep:
        return ClockStep(self.boot, self.run, self.now_ms(), step_ms)


def mended_ms(arrival_ms: NDArray[np.int64], steps: Sequence[ClockStep]) -> NDArray[np.int64]:
    """Return arrival times of one run on the wall clock as it was last set in that run.

    A clock that was set is taken to be right afterwards. Behind a step forward the arrival times
    jump, so those before it are moved by the jump; a step back moves all of the run alike. Behind
    a step back, a step forward makes a jump only by what it goes beyond the arrival times.

    Args:
        arrival_ms: Arrival times of one run [ms since 1970 UTC], shape (n,).
        steps: All clock steps of that run, oldest first.

    Returns:
        The mended times [ms since 1970 UTC], shape (n,).

    Source:
        Definition: the reverse of what `RunClock` does.

    Example:
        >>> step = ClockStep("boot", "run", 20_000, 10_000)
        >>> mended_ms(np.array([9_000, 20_000]), [step]).tolist()
        [19000, 20000]
    """
    mended = arrival_ms.astype(np.int64, copy=True)
    behind_ms = 0
    for step in steps:
        behind_ms += step.step_ms
        if behind_ms > 0:
            mended[arrival_ms < step.at_ms] += behind_ms
            behind_ms = 0
    return mended + behind_ms
