# SPDX-License-Identifier: MIT
"""Equivalent time at a reference temperature: references as data, the exact log-linear step.

Pure: numpy only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from api.process.curves import Floats
from api.process.ingredient_rows import Status
from collector.errors import ProcessError

_LN10 = math.log(10.0)


@dataclass(frozen=True, slots=True)
class Reference:
    """What a heat treatment is measured against.

    Attributes:
        name: What it is for.
        temperature_degc: Reference temperature [degC].
        z_below_k: Rise of temperature that makes the rate ten times as large, below it [K].
        z_above_k: The same above it [K].
        required_s: Time at the reference temperature that is asked for [s].
        floor_degc: Nothing is counted below this [degC].
        source: Where the figures stand.
        status: How they are known; only what was seen decides a verdict.
        note: What the figures don't cover.
    """

    name: str
    temperature_degc: float
    z_below_k: float
    z_above_k: float
    required_s: float
    floor_degc: float
    source: str
    status: Status
    note: str = ""

    def __post_init__(self) -> None:
        if not (self.z_below_k > 0 and self.z_above_k > 0 and self.required_s > 0):
            raise ProcessError(
                f"z of {self.z_below_k:g} and {self.z_above_k:g} K for {self.required_s:g} s.",
                where=f"reference {self.name}",
                do="Give values above 0.",
            )
        if self.floor_degc > self.temperature_degc:
            raise ProcessError(
                f"The floor of {self.floor_degc:g} degC lies above the reference temperature.",
                where=f"reference {self.name}",
                do="Give a floor below it.",
            )


NON_PROTEOLYTIC_BOTULINUM = Reference(
    name="spores of non-proteolytic C. botulinum, 10 min at 90 degC",
    temperature_degc=90.0,
    z_below_k=9.0,
    z_above_k=10.0,
    required_s=600.0,
    floor_degc=70.0,
    source="Food Standards Agency, vacuum packing training, section 2, table of equivalent times "
    "80 to 100 degC (Chilled Food Association 2006)",
    status=Status.SEEN,
    note="Spores of B. cereus survive it, and what comes in at ladling and pressing undoes it.",
)
VEGETATIVE_PATHOGENS = Reference(
    name="vegetative pathogens, 2 min at 70 degC",
    temperature_degc=70.0,
    z_below_k=6.0,
    z_above_k=7.5,
    required_s=120.0,
    floor_degc=60.0,
    source="Food Standards Agency and ACMSF, as reported: 70 degC for 2 min, and 65 degC for "
    "14 min, 60 degC for 93 min after the revision for E. coli",
    status=Status.SECOND_HAND,
    note="Spores survive it.",
)
REFERENCES = (NON_PROTEOLYTIC_BOTULINUM, VEGETATIVE_PATHOGENS)


def equivalent_hold_s(reference: Reference, temperature_degc: float) -> float:
    """Return how long a temperature must be kept to equal the reference.

    Args:
        reference: What is asked for.
        temperature_degc: The temperature kept [degC].

    Returns:
        required_s times 10^((T_ref - T)/z) [s]; infinite below the reference's floor.

    Source:
        Definition of z; its values stand in the reference.

    Example:
        >>> equivalent_hold_s(NON_PROTEOLYTIC_BOTULINUM, 80.0) / 60.0
        129.15
    """
    if temperature_degc < reference.floor_degc:
        return math.inf
    return reference.required_s / float(_rate(reference, np.array([temperature_degc]))[0])


def lethality_s(reference: Reference, time_s: Floats, temperature_degc: Floats) -> Floats:
    """Return the equivalent time that each step between readings adds, exactly.

    The temperature goes in a straight line between readings, so the logarithm of the rate does
    too, on either side of the reference temperature.

    Args:
        reference: What it is measured against.
        time_s: Times of the readings [s], shape (n,), strictly increasing.
        temperature_degc: Temperatures [degC], shape (n,).

    Returns:
        Equivalent time at the reference temperature of each step [s], shape (n - 1,); empty for
        fewer than two readings.

    Source:
        Integral of 10^((T - T_ref)/z) over a straight line: dt z (L2 - L1)/(ln 10 (T2 - T1))
        (definition); nothing below the reference's floor.
    """
    if time_s.size < 2:
        return np.zeros(0)
    low, high = temperature_degc[:-1], temperature_degc[1:]
    duration_s = np.diff(time_s)
    # A line that goes down passes the same temperatures as one that goes up.
    start, end = np.minimum(low, high), np.maximum(low, high)
    span = end - start
    total = np.zeros(duration_s.size)
    edges = (
        (reference.floor_degc, reference.temperature_degc, reference.z_below_k),
        (reference.temperature_degc, math.inf, reference.z_above_k),
    )
    for bottom, top, z_k in edges:
        a, b = np.clip(start, bottom, top), np.clip(end, bottom, top)
        flat = span < 1e-9
        inside = np.where(
            flat, (start >= bottom) & (start < top), (b - a) / np.where(flat, 1, span)
        )
        rate_a, rate_b = (10.0 ** ((x - reference.temperature_degc) / z_k) for x in (a, b))
        difference = b - a
        level = difference < 1e-6 * z_k
        mean = np.where(
            level,
            (rate_a + rate_b) / 2.0,
            z_k * (rate_b - rate_a) / (_LN10 * np.where(level, 1.0, difference)),
        )
        total += duration_s * inside * mean
    return total


def _rate(reference: Reference, temperature_degc: Floats) -> Floats:
    above = temperature_degc - reference.temperature_degc
    z_k = np.where(above < 0, reference.z_below_k, reference.z_above_k)
    rate: Floats = 10.0 ** (above / z_k)
    return rate
