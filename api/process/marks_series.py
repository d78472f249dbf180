# SPDX-License-Identifier: MIT
"""The readings of one place as the detector keeps them: in order of time, each once.

Pure: numpy only.
"""

from __future__ import annotations

import math

import numpy as np

from api.process.curves import Floats
from collector.errors import ProcessError

_SMALLEST = 1e-6


class PlaceReadings:
    """Readings of one place, which may come in any order and more than once.

    Of two readings with the same time the one that came first stays. What is no finite number is
    left out: a scale's overload, a probe's gap.
    """

    def __init__(self, place: str) -> None:
        self._place = place
        self._time_s: Floats = np.empty(256)
        self._value: Floats = np.empty(256)
        self._count = 0

    def __len__(self) -> int:
        return self._count

    @property
    def time_s(self) -> Floats:
        """Times [s since 1970 UTC], strictly increasing, shape (n,)."""
        return self._time_s[: self._count]

    @property
    def value(self) -> Floats:
        """Values [degC or kg], shape (n,)."""
        return self._value[: self._count]

    def add(self, time_s: Floats, value: Floats) -> float:
        """Take readings in.

        Args:
            time_s: Times [s since 1970 UTC], shape (n,).
            value: Values [degC or kg], shape (n,).

        Returns:
            The earliest time that is new, infinity if none is [s since 1970 UTC].

        Raises:
            ProcessError: The two arrays don't belong together.
        """
        if time_s.shape != value.shape or time_s.ndim != 1:
            raise ProcessError(
                f"Times have shape {time_s.shape} and values {value.shape}.",
                where=self._place,
                do="Give two arrays of shape (n,).",
            )
        usable = np.isfinite(time_s) & np.isfinite(value)
        time_s, first = np.unique(time_s[usable], return_index=True)
        value = value[usable][first]
        known = np.searchsorted(self.time_s, time_s)
        fresh = np.ones(time_s.size, dtype=bool)
        inside = known < self._count
        fresh[inside] = self.time_s[known[inside]] != time_s[inside]
        time_s, value, known = time_s[fresh], value[fresh], known[fresh]
        if time_s.size == 0:
            return math.inf
        if known[0] == self._count:
            self._append(time_s, value)
        else:
            self._time_s = np.insert(self.time_s, known, time_s)
            self._value = np.insert(self.value, known, value)
            self._count = self._time_s.size
        return float(time_s[0])

    def _append(self, time_s: Floats, value: Floats) -> None:
        count = self._count + time_s.size
        if count > self._time_s.size:
            room = np.empty(max(count, 2 * self._time_s.size) - self._count)
            self._time_s = np.concatenate([self.time_s, room])
            self._value = np.concatenate([self.value, room])
        self._time_s[self._count : count] = time_s
        self._value[self._count : count] = value
        self._count = count


def display_step(value: Floats) -> float:
    """Return the smallest difference between readings that are not alike, 0 if they all are.

    Args:
        value: Readings [degC or kg], shape (n,).

    Returns:
        The display step, or about the noise's smallest difference where there is no step
        [unit of the readings].

    Source:
        Definition.
    """
    if value.size < 2:
        return 0.0
    apart = np.diff(np.unique(value))
    apart = apart[apart > _SMALLEST]
    return float(apart.min()) if apart.size else 0.0
