# SPDX-License-Identifier: MIT
"""Newton's law of cooling between two temperatures.

Pure: no I/O; imports only the ground.
"""

from __future__ import annotations

import math

from collector.errors import ProcessError


def rate_constant(
    start_degc: float, end_degc: float, ambient_degc: float, duration_s: float
) -> float:
    """Return the constant of a cooling from two temperatures.

    Args:
        start_degc: At the start [degC].
        end_degc: At the end [degC].
        ambient_degc: Of the surroundings [degC].
        duration_s: From start to end [s].

    Returns:
        ln((T0 - Ta)/(T - Ta))/t [1/s].

    Raises:
        ProcessError: The two don't lie on one side of the surroundings, or no time passed.

    Source:
        Newton's law of cooling (definition); holds while the surface, not the inside, resists.

    Example:
        >>> 3600.0 * rate_constant(57.0, 21.0, 3.0, 7200.0)
        0.54931
    """
    over, left = start_degc - ambient_degc, end_degc - ambient_degc
    if not (duration_s > 0 and left != 0 and over / left > 0):
        raise ProcessError(
            f"From {start_degc:g} to {end_degc:g} degC in {duration_s:g} s, surrounded by "
            f"{ambient_degc:g} degC.",
            where="cooling",
            do="Give two temperatures on one side of the surroundings, and a time above 0.",
        )
    return math.log(over / left) / duration_s


def time_to_reach(
    start_degc: float, target_degc: float, ambient_degc: float, rate_per_s: float
) -> float:
    """Return how long a cooling takes.

    Args:
        start_degc: At the start [degC].
        target_degc: To be reached [degC].
        ambient_degc: Of the surroundings [degC].
        rate_per_s: Constant of the cooling [1/s].

    Returns:
        Time; infinite if the surroundings are not beyond the target [s].

    Raises:
        ProcessError: The rate is not above 0.

    Source:
        Newton's law of cooling (definition).
    """
    if not rate_per_s > 0:
        raise ProcessError(
            f"A cooling constant of {rate_per_s:g} 1/s.", where="cooling", do="Give one above 0."
        )
    over, left = start_degc - ambient_degc, target_degc - ambient_degc
    if over == 0 or left / over <= 0:
        return math.inf
    return math.log(over / left) / rate_per_s
