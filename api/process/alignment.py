# SPDX-License-Identifier: MIT
"""Curves of several batches laid over each other: by time, by temperature, by time for each kg.

For pictures and comparison, not for a verdict. Pure: numpy and what is pure only.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass

import numpy as np

from api.process.curves import Curve, Floats
from api.process.quantities import NotShown
from collector.errors import ProcessError


class Align(enum.StrEnum):
    """What the curves have in common."""

    TIME = "time"
    TEMPERATURE = "temperature"
    PER_KG = "per_kg"


@dataclass(frozen=True, slots=True)
class Aligned:
    """A curve on a common axis.

    Attributes:
        x: Where each reading lies on it [x_unit], shape (n,), rising.
        value: The readings [degC], shape (n,).
        x_unit: "s" or "s/kg".
        zero_s: The moment that is 0 on the axis [s since 1970 UTC].
    """

    x: Floats
    value: Floats
    x_unit: str
    zero_s: float


def aligned_on_time(curve: Curve, zero_s: float) -> Aligned:
    """Return a curve by the time since a moment.

    Args:
        curve: Readings [degC].
        zero_s: The moment, such as when the heat went on [s since 1970 UTC].

    Returns:
        The curve; x is negative before the moment [s].

    Source:
        Definition.
    """
    return Aligned(curve.time_s - zero_s, curve.value, "s", zero_s)


def aligned_on_temperature(curve: Curve, temperature_degc: float) -> Aligned | NotShown:
    """Return a curve by the time since it first rose through a temperature.

    Args:
        curve: Readings [degC].
        temperature_degc: The temperature that all curves share at 0 [degC].

    Returns:
        The curve, x in s, or why it never rose through it.

    Source:
        Definition; the crossing by linear interpolation.
    """
    below = curve.value < temperature_degc
    rising = np.flatnonzero(below[:-1] & ~below[1:])
    if rising.size == 0:
        return NotShown(f"It never rose through {temperature_degc:g} degC.")
    i = int(rising[0])
    low, high = float(curve.value[i]), float(curve.value[i + 1])
    share = (temperature_degc - low) / (high - low)
    step_s = float(curve.time_s[i + 1] - curve.time_s[i])
    return aligned_on_time(curve, float(curve.time_s[i]) + share * step_s)


def aligned_per_kg(curve: Curve, zero_s: float, mass_kg: float) -> Aligned:
    """Return a curve by the time since a moment for each kilogram in the pot.

    Pots of the same net power for each kilogram lie on one line, whatever their size.

    Args:
        curve: Readings [degC].
        zero_s: The moment, such as when the heat went on [s since 1970 UTC].
        mass_kg: What was heated [kg].

    Returns:
        The curve, x in s/kg.

    Raises:
        ProcessError: The mass is not above 0.

    Source:
        Definition.
    """
    if not mass_kg > 0.0:
        raise ProcessError(
            f"A time can't be shared out over {mass_kg:g} kg.",
            where="comparison",
            do="Weigh the milk, or align on time.",
        )
    return Aligned((curve.time_s - zero_s) / mass_kg, curve.value, "s/kg", zero_s)
