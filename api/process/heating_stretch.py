# SPDX-License-Identifier: MIT
"""The part of a heating curve in which the hob does nothing but heat.

Pure: numpy only.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from api.process.boiling import SOLUTES_U_K
from api.process.curves import Curve, Floats
from api.process.quantities import NotShown, Quantity
from api.process.smoothing import bin_means, noise

BIN_S = 10.0
LEAST_RISE_K = 10.0
FEWEST_MEANS = 12
SLOPE_OVER = 9
# Below the boil by so much the last bubbles do not count yet; once the slope has fallen to this
# share of its usual height, the hob was turned down or the milk boils.
BELOW_BOILING_K = 3.0
STEADY_FRACTION, ENDED_FRACTION = 0.95, 0.3


@dataclass(frozen=True, slots=True)
class Stretch:
    """Means over ten seconds of a steady heating.

    Attributes:
        time_s: [s since 1970 UTC], shape (n,).
        value: [degC], shape (n,).
        noise_k: Standard deviation of one mean [K].
    """

    time_s: Floats
    value: Floats
    noise_k: float


def heating_stretch(curve: Curve, boiling: Quantity | None) -> Stretch | NotShown:
    """Return the steady part of a heating.

    Args:
        curve: Readings from before the heat to its end [degC].
        boiling: Local boiling point, None to take 100 degC [degC].

    Returns:
        Means from where the hob has come to its power to three kelvin below the boil, or to
        where the slope falls away [s, degC]; or why there is no such stretch.

    Source:
        Definition; the limits are ours.
    """
    if len(curve) < FEWEST_MEANS:
        return NotShown(f"The heating has {len(curve)} readings; too few to show its power.")
    time_s, value = bin_means(curve.time_s, curve.value, BIN_S)
    if value.size < FEWEST_MEANS + SLOPE_OVER:
        return NotShown("The heating is shorter than three minutes; too short to show its power.")
    slope = (value[SLOPE_OVER:] - value[:-SLOPE_OVER]) / (
        time_s[SLOPE_OVER:] - time_s[:-SLOPE_OVER]
    )
    usual = float(np.max(slope))
    if usual <= 0:
        return NotShown("The milk does not get warmer.")
    begun = int(np.argmax(slope >= STEADY_FRACTION * usual)) + SLOPE_OVER // 2
    limit = (100.0 if boiling is None else boiling.value - SOLUTES_U_K) - BELOW_BOILING_K
    ended = np.flatnonzero(slope[begun:] < ENDED_FRACTION * usual)
    end = begun + int(ended[0]) if ended.size else value.size
    over = np.flatnonzero(value[begun:end] >= limit)
    if over.size:
        end = begun + int(over[0])
    time_s, value = time_s[begun:end], value[begun:end]
    if value.size < FEWEST_MEANS or value[-1] - value[0] < LEAST_RISE_K:
        return NotShown(
            f"The milk warms by less than {LEAST_RISE_K:g} K in one go; that shows no power."
        )
    if float(np.max(np.diff(time_s))) > 3.0 * BIN_S + 3.0 * curve.usual_interval_s:
        return NotShown("The heating has a gap in its readings.")
    per_mean = max(BIN_S / max(curve.usual_interval_s, 1e-3), 1.0)
    spread = max(noise(curve), curve.resolution / 12.0**0.5) / per_mean**0.5
    return Stretch(time_s, value, float(spread))
