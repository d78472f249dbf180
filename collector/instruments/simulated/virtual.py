# SPDX-License-Identifier: MIT
"""A live kitchen: several simulated pots in real time, heard through real doors.

Must not import `api`, and shares nothing with `api.process`.
"""

from __future__ import annotations

import logging
import threading
import time
from collections import defaultdict
from collections.abc import Sequence
from types import TracebackType
from typing import Protocol

from collector.errors import ProcessError
from collector.instruments.simulated.channels import Said
from collector.instruments.simulated.http_door import HttpProbe
from collector.instruments.simulated.live import LivePot, event_time_s, pot_before
from collector.instruments.simulated.mqtt_door import MqttProbe
from collector.instruments.simulated.pty_door import PtyLine, PtyProbe, PtyScale

TICK_S = 0.05
_log = logging.getLogger(__name__)


class Door(Protocol):
    """A way by which a virtual instrument speaks."""

    def say(self, said: Said) -> None:
        """Send a reading, without waiting."""
        ...

    def pump(self) -> None:
        """Do what else is to be done; called many times a second."""
        ...

    def close(self) -> None:
        """Finish and go."""
        ...


class LiveKitchen:
    """Pots that live on in a thread of their own, at a speed, from where they are now.

    Readings carry the pots' own time: at speed 1 that is the wall clock if a pot's `start_ms` was
    set so; faster, it runs ahead of it.
    """

    def __init__(self, pots: Sequence[LivePot], *, speed: float = 1.0) -> None:
        """Take the pots as they are.

        Args:
            pots: With different names.
            speed: Seconds of the pots in one second of the clock, above 0 [-].

        Raises:
            ProcessError: The speed isn't above 0, or two pots have one name.
        """
        names = [pot.scenario.name for pot in pots]
        if not speed > 0.0:
            raise ProcessError(
                f"A speed of {speed:.6g} is not above 0.", where="live kitchen", do="Use 1 or more."
            )
        if len(set(names)) < len(names):
            raise ProcessError(
                f"Two pots have one name: {', '.join(names)}.",
                where="live kitchen",
                do="Give each pot a name of its own.",
            )
        self.pots = {pot.scenario.name: pot for pot in pots}
        self.failure: BaseException | None = None
        self._speed = speed
        self._doors: dict[tuple[str, str], list[Door]] = defaultdict(list)
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    def connect(self, pot: str, place: str, door: Door) -> None:
        """Let the instrument at a place of a pot speak through a door; before `start`.

        Raises:
            ProcessError: There is no such pot, or no instrument there.
        """
        if pot not in self.pots:
            raise ProcessError(
                f"There is no pot {pot!r}.",
                where="live kitchen",
                do=f"Use {', '.join(self.pots)}.",
            )
        self.pots[pot].series(place)
        self._doors[(pot, place)].append(door)

    def start(self) -> None:
        """Let time run."""
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name="live kitchen", daemon=True)
            self._thread.start()

    def stop(self) -> None:
        """Stop the time, and close every door.

        Raises:
            BaseException: What stopped the kitchen before, or what a door couldn't deliver.
        """
        self._stop.set()
        if self._thread is not None:
            self._thread.join()
        failures = [self.failure] if self.failure else []
        for door in {id(door): door for doors in self._doors.values() for door in doors}.values():
            try:
                door.close()
            except Exception as error:
                failures.append(error)
        self._doors.clear()
        if failures:
            raise failures[0]

    def __enter__(self) -> LiveKitchen:
        """Let time run."""
        self.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Stop the time, and close every door."""
        self.stop()

    def _run(self) -> None:
        begun = time.monotonic()
        from_s = {name: pot.time_s for name, pot in self.pots.items()}
        try:
            while not self._stop.wait(TICK_S):
                gone_s = (time.monotonic() - begun) * self._speed
                for name, pot in self.pots.items():
                    for said in pot.advance_to(from_s[name] + gone_s):
                        for door in self._doors.get((name, said.place), ()):
                            door.say(said)
                for doors in self._doors.values():
                    for door in doors:
                        door.pump()
        except Exception as error:  # told again by `stop`; a thread has nobody to tell
            _log.exception("the live kitchen stopped")
            self.failure = error


__all__ = [
    "Door",
    "HttpProbe",
    "LiveKitchen",
    "LivePot",
    "MqttProbe",
    "PtyLine",
    "PtyProbe",
    "PtyScale",
    "Said",
    "event_time_s",
    "pot_before",
]
