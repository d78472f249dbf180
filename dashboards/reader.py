# SPDX-License-Identifier: MIT
"""Who reads a page: in which units, by which clock, at what moment.

Pure presentation: imports only what is.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import tzinfo
from typing import Any

from dashboards import formats, times
from dashboards.formats import Units


@dataclass(frozen=True, slots=True)
class Reader:
    """What every page is written for.

    Attributes:
        units: How temperatures and masses are shown.
        zone: The kitchen's.
        zone_name: Its name.
        now: When the page was asked for, RFC 3339.
    """

    units: Units
    zone: tzinfo
    zone_name: str
    now: str

    def clock(self, text: str | None, *, seconds: bool = False) -> str:
        """Return hours and minutes by the kitchen's clock."""
        return times.clock(text, self.zone, seconds=seconds)

    def moment(self, text: str | None) -> str:
        """Return day and clock; the clock alone for today."""
        return times.day_and_clock(text, self.zone, self.now)

    def day(self, text: str | None) -> str:
        """Return the day by the kitchen's clock."""
        return times.day(text, self.zone)

    def field(self, text: str) -> str:
        """Return a time as a form's field takes it, by the kitchen's clock."""
        return times.local_field(text, self.zone)

    def temperature(self, value_degc: float | None, decimals: int = 1) -> str:
        """Return a temperature [degC] with its unit."""
        return formats.temperature(value_degc, self.units, decimals)

    def difference(self, value_k: float) -> str:
        """Return a temperature difference [K] with its unit."""
        return formats.difference(value_k, self.units)

    def mass(self, value_kg: float | None) -> str:
        """Return a mass [kg] with its unit."""
        return formats.mass(value_kg, self.units)

    def age_s(self, text: str) -> float:
        """Return how long ago something was [s]."""
        return times.seconds_between(text, self.now)


def reader_of(data: Mapping[str, Any]) -> Reader:
    """Return the reader that a page's data names.

    Args:
        data: With "kitchen" (its "zone"), "now" and perhaps "units".
    """
    name = str(data["kitchen"].get("zone") or "UTC")
    return Reader(formats.units_of(data.get("units")), times.zone_of(name), name, str(data["now"]))
