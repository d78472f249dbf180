# SPDX-License-Identifier: MIT
"""A stretch of readings of one series, as the calculations take it.

Pure: numpy only.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from collector.errors import ProcessError

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Curve:
    """Usable readings of one series, oldest first; what is not usable is simply not in it.

    Bad and suspect readings are left out by whoever builds the curve, so that they appear here
    as a gap and never as a value.

    Attributes:
        time_s: Seconds since 1970-01-01T00:00:00Z, strictly increasing [s], shape (n,).
        value: Calibrated values in the canonical unit [degC or kg], shape (n,).
        u_calibration: Standard uncertainty common to all values: calibration, place [K or kg].
        resolution: Display step of the instrument, 0 if not known [K or kg].
        time_constant_s: First-order time constant of the probe in this place, None if no dip
            check gave one [s].
        u_time_constant_s: Its standard uncertainty [s].
        name: The series, for the origin of results.
    """

    time_s: Floats
    value: Floats
    u_calibration: float = 0.0
    resolution: float = 0.0
    time_constant_s: float | None = None
    u_time_constant_s: float = 0.0
    name: str = ""

    def __post_init__(self) -> None:
        if self.time_s.shape != self.value.shape or self.time_s.ndim != 1:
            raise ProcessError(
                f"Times have shape {self.time_s.shape} and values {self.value.shape}.",
                where=self.name,
                do="Give two arrays of shape (n,).",
            )
        if self.time_s.size and not (
            np.all(np.isfinite(self.time_s)) and np.all(np.isfinite(self.value))
        ):
            raise ProcessError(
                "A time or a value is not a finite number.",
                where=self.name,
                do="Leave bad readings out of the curve.",
            )
        if np.any(np.diff(self.time_s) <= 0):
            raise ProcessError(
                "Times are not strictly increasing.", where=self.name, do="Sort and deduplicate."
            )

    def __len__(self) -> int:
        return int(self.time_s.size)

    def between(self, start_s: float, end_s: float) -> Curve:
        """Return the part with start <= time < end [s since 1970 UTC]."""
        low, high = np.searchsorted(self.time_s, [start_s, end_s], side="left")
        return Curve(
            self.time_s[low:high],
            self.value[low:high],
            self.u_calibration,
            self.resolution,
            self.time_constant_s,
            self.u_time_constant_s,
            self.name,
        )

    @property
    def usual_interval_s(self) -> float:
        """The median distance between readings [s]; NaN with fewer than two."""
        return float(np.median(np.diff(self.time_s))) if len(self) > 1 else float("nan")
