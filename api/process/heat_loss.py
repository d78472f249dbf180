# SPDX-License-Identifier: MIT
"""What a pot of hot milk loses with the hob off: from one stretch of cooling.

Pure: numpy only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from api.process.curves import Curve, Floats
from api.process.heating_inputs import USUAL_ROOM, HeatingInputs, capacity
from api.process.quantities import NotShown, Quantity
from api.process.smoothing import bin_means, noise

BIN_S = 10.0
FEWEST_MEANS = 12
LEAST_FALL_K = 0.5
# A stove plate goes on giving heat, and the wall follows: a share of the loss (common practice).
MODEL_FRACTION = 0.05


@dataclass(frozen=True, slots=True)
class HeatLoss:
    """The loss of a pot at one temperature.

    Attributes:
        power: Heat lost, dry and by vapour together [W].
        coefficient: The same for each kelvin above the room; it grows with temperature, since
            vapour does [W/K].
        temperature: Of the milk, in the middle of the stretch [degC].
        rate: Cooling rate, above 0 [K/min].
    """

    power: Quantity
    coefficient: Quantity
    temperature: Quantity
    rate: Quantity


def heat_loss(curve: Curve, inputs: HeatingInputs) -> HeatLoss | NotShown:
    """Return what a pot loses, from a stretch with the hob off, nothing poured, lid unmoved.

    Args:
        curve: Calibrated readings of that stretch [degC].
        inputs: What is known of the pot [kg, degC].

    Returns:
        Loss at the middle of the stretch [W, W/K], or why it can't be told.

    Source:
        C dT/dt by a parabola through means of ten seconds (definition); JCGM 100:2008, 5.1.
    """
    time_s, value = bin_means(curve.time_s, curve.value, BIN_S)
    if value.size < FEWEST_MEANS:
        return NotShown("The cooling has less than two minutes of readings.")
    degc, u_degc, rate, u_rate = _middle(curve, time_s, value)
    fall_k = rate * float(time_s[-1] - time_s[0])
    if fall_k < LEAST_FALL_K or rate < 2.0 * u_rate:
        return NotShown("The milk does not cool enough in this stretch to tell its loss.")
    content, room = capacity(inputs, degc), inputs.room or USUAL_ROOM
    over = degc - room.value
    if over <= 2.0 * room.u:
        return NotShown("The milk is no warmer than the room.")
    relative = math.sqrt((u_rate / rate) ** 2 + content.u_pot_fraction**2 + MODEL_FRACTION**2)
    power = content.pot_j_per_k * rate
    sources = (curve.name or "milk probe", *inputs.milk.sources, *content.sources, *room.sources)

    def quantity(value: float, unit: str, u: float) -> Quantity:
        return Quantity(value, unit, u, "slope of a cooling, hob off", sources)

    return HeatLoss(
        power=quantity(power, "W", power * relative),
        coefficient=quantity(
            power / over, "W/K", power / over * math.hypot(relative, room.u / over)
        ),
        temperature=quantity(degc, "degC", u_degc),
        rate=quantity(60.0 * rate, "K/min", 60.0 * u_rate),
    )


def _middle(curve: Curve, time_s: Floats, value: Floats) -> tuple[float, float, float, float]:
    """Return temperature and cooling rate in the middle, each with u [degC, K, K/s, K/s]."""
    half_s = float(time_s[-1] - time_s[0]) / 2.0
    x = (time_s - time_s[0]) / half_s - 1.0
    design = np.vander(x, 3, increasing=True)
    inverse = np.linalg.inv(design.T @ design)
    sizes = inverse @ design.T @ value
    left = value - design @ sizes
    likeness = max(float(left[1:] @ left[:-1]) / max(float(left @ left), 1e-12), 0.0)
    memory = (1.0 + likeness) / (1.0 - min(likeness, 0.9))
    step = curve.resolution / math.sqrt(12.0)
    scatter = math.sqrt(float(left @ left) / (value.size - 3) + (step**2 + noise(curve) ** 2) / 10)
    u = scatter * np.sqrt(np.diag(inverse) * memory)
    u_degc = math.hypot(curve.u_calibration, float(u[0]))
    return float(sizes[0]), u_degc, -float(sizes[1]) / half_s, float(u[1]) / half_s
