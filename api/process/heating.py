# SPDX-License-Identifier: MIT
"""What a pot takes up on its hob and what it loses: from one heating curve.

The heat balance is fitted in its integrated form, T(t) = T0 + a t - k int(T - Ta) - e int(g), so
that no noisy slope enters: a is the power, k the loss, e the evaporation, whose shape g follows
the vapour pressure. Pure: numpy only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from api.process.boiling import STANDARD_PRESSURE_PA, saturation_pressure
from api.process.curves import Curve, Floats
from api.process.heating_inputs import USUAL_ROOM, HeatingInputs, capacity
from api.process.heating_stretch import Stretch, heating_stretch
from api.process.quantities import NotShown, Quantity, Result
from api.process.vapour_drive import EVAPORATION_AT_DEGC, vapour_drive

EVAPORATION_FROM_DEGC = 75.0
# What is believed beforehand of 3 kg of milk, mean and standard deviation: dry loss (k, from
# 10 W/(m2 K) over a usual pot) and evaporation at 95 degC (e, from the mass transfer of an open
# surface, of one under a lid, and of one of which that isn't known); computed. Surface to volume
# goes with the inverse third root of the mass.
LOSS_PER_S = (1.3e-4, 0.65e-4)
OPEN_K_PER_S, COVERED_K_PER_S, UNKNOWN_K_PER_S = (0.04, 0.015), (0.002, 0.002), (0.025, 0.02)
BELIEVED_AT_KG = 3.0
# Where the curve narrows a belief by less than this share, it has not been measured.
LEARNT_FRACTION = 0.3
MODEL_K = 0.05
# What the balance leaves out: the wall is hotter than the milk while the hob is on, and loses more
# (common practice: shares of the power and of the loss).
MODEL_POWER_FRACTION, MODEL_LOSS_FRACTION = 0.025, 0.3


@dataclass(frozen=True, slots=True)
class Heating:
    """One heating.

    Attributes:
        net_power: Mean heat into the milk alone over the stretch [W].
        net_power_per_kg: The same by mass of milk [W/kg].
        pot_power: Heat that the hob brings into milk and wall, losses not taken off [W].
        loss_coefficient: Dry loss for each kelvin above the room [W/K].
        time_constant: Heat capacity over loss coefficient [s].
        evaporation_power: Carried off by vapour at 95 degC [W].
        rate: Mean heating rate over the stretch [K/min].
        from_s: Start of the stretch [s since 1970 UTC].
        to_s: Its end [s since 1970 UTC].
        residual_k: Scatter of the readings about the fit [K].
        fits: The residuals look like noise and stirring.
        why: What was fitted, and what speaks against it, in words.
    """

    net_power: Result
    net_power_per_kg: Result
    pot_power: Result
    loss_coefficient: Result
    time_constant: Result
    evaporation_power: Result
    rate: Result
    from_s: float
    to_s: float
    residual_k: float
    fits: bool
    why: str


def heating(curve: Curve, inputs: HeatingInputs) -> Heating | NotShown:
    """Return the power of a pot on its hob and its losses, from one heating.

    Args:
        curve: Calibrated readings of the milk from before the heat to the boil or the end of the
            heat, hob at one setting [degC].
        inputs: What is known of the pot [kg, degC].

    Returns:
        Powers [W], losses [W/K], rates [K/min] with their standard uncertainties, or why there
        are none.

    Source:
        Heat balance C dT/dt = P - UA (T - Ta) - E g(T), integrated (definition); g from the film
        of stagnant air over a surface, ln(p/(p - ps)) (Stefan, from memory), ps by IAPWS-IF97;
        JCGM 100:2008, 5.1.
    """
    pressure_pa = STANDARD_PRESSURE_PA
    if inputs.boiling is not None:
        pressure_pa = saturation_pressure(inputs.boiling.value)
    stretch = heating_stretch(curve, inputs.boiling)
    if isinstance(stretch, NotShown):
        return stretch
    room = inputs.room or USUAL_ROOM
    hot = float(stretch.value[-1]) >= EVAPORATION_FROM_DEGC
    beliefs = _beliefs(inputs, evaporating=hot)
    fit = _fit(stretch, room.value, pressure_pa, beliefs)
    warmer = _fit(stretch, room.value + room.u, pressure_pa, beliefs)
    u_room = np.abs(warmer.sizes - fit.sizes)
    return _results(curve, stretch, inputs, fit, u_room)


@dataclass(frozen=True, slots=True)
class _Fit:
    """Power, loss and evaporation in kelvin: a [K/s], k [1/s], e [K/s at 95 degC].

    `learnt` is the share by which the curve narrowed the belief in each of the last two [-].
    """

    sizes: Floats
    covariance: Floats
    residual_k: float
    learnt: Floats


def _beliefs(inputs: HeatingInputs, *, evaporating: bool) -> list[tuple[float, float]]:
    scale = (BELIEVED_AT_KG / max(inputs.milk.value, 0.05)) ** (1.0 / 3.0)
    vapour = UNKNOWN_K_PER_S
    if inputs.covered is not None:
        vapour = COVERED_K_PER_S if inputs.covered else OPEN_K_PER_S
    chosen = [LOSS_PER_S, vapour] if evaporating else [LOSS_PER_S]
    return [(scale * mean, scale * u) for mean, u in chosen]


def _fit(
    stretch: Stretch, room_degc: float, pressure_pa: float, beliefs: list[tuple[float, float]]
) -> _Fit:
    time_s, value = stretch.time_s - stretch.time_s[0], stretch.value
    columns = [np.ones(time_s.size), time_s, -_integral(time_s, value - room_degc)]
    if len(beliefs) > 1:
        columns.append(-_integral(time_s, _vapour_shape(value, pressure_pa)))
    priors = [(0.0, math.inf), (0.0, math.inf), *beliefs]
    design = np.column_stack(columns)
    scale = np.maximum(np.abs(design).max(axis=0), 1e-9)
    design = design / scale
    spread = max(stretch.noise_k, 0.02)
    # Belief and readings are weighed once with the noise as it is, once with the misfit.
    for _ in range(2):
        weight = np.array(
            [(spread / (u * s)) ** 2 for (_, u), s in zip(priors, scale, strict=True)]
        )
        means = np.array([mean * s for (mean, _), s in zip(priors, scale, strict=True)])
        normal = design.T @ design + np.diag(weight)
        sizes = np.linalg.solve(normal, design.T @ value + weight * means)
        left = value - design @ sizes
        residual = math.sqrt(float(left @ left) / max(time_s.size - len(columns), 1))
        memory = _memory(left)
        spread = max(residual, MODEL_K) * math.sqrt(memory)
    covariance = np.linalg.inv(normal) * spread**2 / np.outer(scale, scale)
    believed = np.array([u for _, u in beliefs])
    learnt = 1.0 - np.sqrt(np.diag(covariance)[2:]) / believed
    return _Fit((sizes / scale)[1:], covariance[1:, 1:], residual, learnt)


def _integral(time_s: Floats, value: Floats) -> Floats:
    steps = np.diff(time_s) * (value[1:] + value[:-1]) / 2.0
    return np.concatenate(([0.0], np.cumsum(steps)))


def _vapour_shape(value_degc: Floats, pressure_pa: float) -> Floats:
    """Return how evaporation grows with temperature, 1 at 95 degC [-]."""
    at = vapour_drive(np.array([EVAPORATION_AT_DEGC]), pressure_pa)
    return vapour_drive(value_degc, pressure_pa) / at


def _memory(left: Floats) -> float:
    """Return by how much residuals that resemble their neighbours count less than they are."""
    total = max(float(left @ left), 1e-12)
    memory = 1.0
    for step in range(1, max(left.size // 3, 2)):
        likeness = float(left[step:] @ left[:-step]) / total
        if likeness < 2.0 / math.sqrt(left.size):
            break
        memory += 2.0 * likeness
    return min(memory, left.size / 4.0)


def _results(
    curve: Curve, stretch: Stretch, inputs: HeatingInputs, fit: _Fit, u_room: Floats
) -> Heating:
    content = capacity(inputs, float(stretch.value.mean()))
    rate, u_rate = _mean_rate(stretch)
    u = np.hypot(np.sqrt(np.diag(fit.covariance)), u_room)
    sources = (curve.name or "milk probe", *inputs.milk.sources, *content.sources)

    def quantity(value: float, unit: str, relative: float, method: str) -> Quantity:
        return Quantity(value, unit, abs(value) * relative, method, sources)

    def balanced(at: int, model: float) -> Quantity:
        share = float(u[at]) / max(abs(float(fit.sizes[at])), 1e-12)
        unit = ("W", "W/K", "W")[at]
        relative = math.sqrt(share**2 + content.u_pot_fraction**2 + model**2)
        value = content.pot_j_per_k * float(fit.sizes[at])
        return quantity(value, unit, relative, "heat balance, integrated")

    u_gain = math.hypot(content.u_milk_fraction, u_rate / rate)
    net_w = content.milk_j_per_k * rate
    loss = _learnt_or_not(inputs, fit, 0) or balanced(1, MODEL_LOSS_FRACTION)
    vapour = _learnt_or_not(inputs, fit, 1) or balanced(2, MODEL_LOSS_FRACTION)
    return Heating(
        net_power=quantity(net_w, "W", u_gain, "heat gained by time"),
        net_power_per_kg=quantity(
            net_w / inputs.milk.value, "W/kg", u_gain, "heat gained by time and mass"
        ),
        pot_power=balanced(0, MODEL_POWER_FRACTION),
        loss_coefficient=loss,
        time_constant=_time_constant(loss, content.pot_j_per_k),
        evaporation_power=vapour,
        rate=quantity(60.0 * rate, "K/min", u_rate / rate, "first to last of the stretch"),
        from_s=float(stretch.time_s[0]),
        to_s=float(stretch.time_s[-1]),
        residual_k=fit.residual_k,
        fits=fit.residual_k < max(4.0 * stretch.noise_k, 0.3),
        why=_why(stretch, fit, inputs),
    )


def _learnt_or_not(inputs: HeatingInputs, fit: _Fit, at: int) -> NotShown | None:
    """Return why dry loss (0) or evaporation (1) can't be told from the curve, if so."""
    if inputs.covered is None:
        return NotShown("Whether the lid was on is not recorded; without that no loss is told.")
    if at >= fit.learnt.size:
        return NotShown(f"The milk stayed below {EVAPORATION_FROM_DEGC:g} degC.")
    if fit.learnt[at] < LEARNT_FRACTION or fit.sizes[at + 1] <= 0:
        return NotShown(
            "The curve does not tell this loss from the power; let the pot cool with the hob off, "
            "or put a scale under it."
        )
    return None


def _mean_rate(stretch: Stretch) -> tuple[float, float]:
    """Return the mean slope from means over its ends, and its u [K/s]."""
    ends = max(stretch.time_s.size // 20, 2)
    first, last = slice(None, ends), slice(-ends, None)
    span_s = float(stretch.time_s[last].mean() - stretch.time_s[first].mean())
    rise = float(stretch.value[last].mean() - stretch.value[first].mean())
    u = math.hypot(stretch.noise_k, 0.05) * math.sqrt(2.0 / ends)
    return rise / span_s, u / span_s


def _time_constant(loss: Result, pot_j_per_k: float) -> Result:
    if isinstance(loss, NotShown):
        return loss
    value = pot_j_per_k / loss.value
    return Quantity(value, "s", value * loss.u / loss.value, loss.method, loss.sources)


def _why(stretch: Stretch, fit: _Fit, inputs: HeatingInputs) -> str:
    said = [
        f"{stretch.value[0]:.0f} to {stretch.value[-1]:.0f} degC in "
        f"{(stretch.time_s[-1] - stretch.time_s[0]) / 60.0:.0f} min, readings within "
        f"{fit.residual_k:.2f} K of the balance."
    ]
    if fit.residual_k >= max(4.0 * stretch.noise_k, 0.3):
        said.append("They do not follow one setting of the hob; cut the stretch shorter.")
    if inputs.pot_mass is None:
        said.append("The wall of the pot was not weighed and is left out.")
    if inputs.room is None:
        said.append("The room was taken as 21 degC.")
    return " ".join(said)
