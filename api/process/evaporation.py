# SPDX-License-Identifier: MIT
"""How much water left a pot as vapour: from a scale under it, else from the heat.

Pure: numpy only.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from api.process.boiling import saturation_pressure
from api.process.curves import Curve, Floats
from api.process.quantities import NotShown, Quantity, Result

BLOCK_S = 10.0
FEWEST_BLOCKS = 12
STEP_IN_SPREADS = 8.0
VAPORISATION_J_PER_KG = 2.2565e6
HEAT_CAPACITY_J_PER_KG_K = 3920.0
# Of what a hot open pot loses, so much leaves as vapour; the hob during a boil is set to so much
# of what it gave before (both common practice: wide, and carried as uncertainty).
VAPOUR_FRACTION, U_VAPOUR_FRACTION = 0.65, 0.15
BOIL_SETTING, U_BOIL_SETTING = 0.55, 0.26
PLATEAU_BELOW_K = 1.0
OPEN_ABOVE_DEGC = 50.0
# Without a fall of temperature to learn from: the surface of a pot as deep as it is wide, and a
# rate for each pascal of vapour pressure (the pool correlation of the ASHRAE Handbook, from memory
# and far outside its range: an order of magnitude, u as large as half of it and more).
GENERIC_KG_PER_S_M2_PA = 4.0e-8
U_GENERIC_FRACTION = 0.6
# What the ladled curd and whey give off before they are weighed, which no scale under the pot sees
# (common practice).
UNSEEN_FRACTION = 0.004
# Covered milk gives off little: most runs back from the lid (common practice).
COVERED_FRACTION = 0.1


@dataclass(frozen=True, slots=True)
class OpenPot:
    """When a pot of milk stood hot, and when that was under a lid.

    Attributes:
        start_s: From when vapour counts: the milk was weighed, the heat was on [s since 1970 UTC].
        end_s: Until when: the curd was ladled, or now [s since 1970 UTC].
        poured: Spans in which something was poured in, each start and end [s since 1970 UTC].
        covered: Spans under a lid [s since 1970 UTC].
    """

    start_s: float
    end_s: float
    poured: tuple[tuple[float, float], ...] = ()
    covered: tuple[tuple[float, float], ...] = ()


def evaporation_from_scale(scale: Curve, pot: OpenPot) -> Result:
    """Return the vapour that a scale under the pot saw leave.

    The scale's readings are taken as medians of 10 s. What falls smoothly is vapour; a step that
    stands out from its neighbours is a lid, a ladle or a pour, and gives way to the rate around it.

    Args:
        scale: Mass under the pot [kg].
        pot: When it stood hot; pours are left out.

    Returns:
        Mass of the vapour [kg], or why it can't be shown.

    Source:
        Mass balance of the pot (definition); steps by the median absolute deviation (common
        practice).
    """
    part = scale.between(pot.start_s, pot.end_s)
    time_s, mass_kg = _blocks(part)
    if time_s.size < FEWEST_BLOCKS:
        return NotShown("the scale under the pot was silent for most of the heating")
    longest_s = float(np.diff(np.concatenate(([pot.start_s], part.time_s, [pot.end_s]))).max())
    if longest_s > 0.2 * (pot.end_s - pot.start_s):
        return NotShown(f"the scale under the pot was silent for {longest_s:.0f} s")
    rate = np.diff(mass_kg) / np.diff(time_s)
    middle_s = (time_s[1:] + time_s[:-1]) / 2.0
    usual = _running_median(rate, 13)
    spread = 1.4826 * float(np.median(np.abs(rate - usual)))
    least = scale.resolution / (math.sqrt(12.0) * BLOCK_S)
    steps = np.abs(rate - usual) > STEP_IN_SPREADS * max(spread, least)
    for start_s, end_s in pot.poured:
        steps |= (middle_s > start_s - BLOCK_S) & (middle_s < end_s + 2.0 * BLOCK_S)
    rate = np.where(steps, usual, rate)
    lost_kg = -float(np.sum(rate * np.diff(time_s)))
    replaced = float(np.sum(np.abs(usual[steps]) * np.diff(time_s)[steps]))
    # Noise cancels between neighbours that both stay; at each step that was taken out, and at
    # both ends, it does not.
    noise_kg = max(spread * BLOCK_S / math.sqrt(2.0), scale.resolution / math.sqrt(12.0))
    ends = 2.0 + 2.0 * float(np.count_nonzero(np.diff(steps.astype(int)) == 1))
    unseen_kg = UNSEEN_FRACTION * float(np.median(mass_kg))
    u_kg = math.hypot(noise_kg * math.sqrt(ends), 0.5 * replaced, unseen_kg)
    return Quantity(
        max(lost_kg, 0.0),
        "kg",
        u_kg,
        f"fall of the scale under the pot, {int(np.count_nonzero(steps))} steps left out",
        (f"series {scale.name}",),
    )


def evaporation_from_heat(
    milk: Curve, milk_kg: Quantity, pot: OpenPot, boiling_degc: float
) -> Result:
    """Return the vapour that a pot of milk must have given off, from its temperatures alone.

    On a boiling plateau: the heat that the milk took up just before it, times a setting of the
    hob that nobody knows. Elsewhere, as far as it stood open above 50 degC: in proportion to the
    vapour pressure, to the size that the fall of temperature after the heat shows.

    Args:
        milk: Temperatures of the milk [degC].
        milk_kg: What went on the heat [kg].
        pot: When it stood hot, and when under a lid.
        boiling_degc: Local boiling point [degC].

    Returns:
        Mass of the vapour with a wide uncertainty [kg], or why it can't be shown.

    Source:
        Heat of vaporisation at 100 degC 2256.5 kJ/kg: IAPWS-IF97 (computed). Share of vapour and
        setting of the hob: common practice, 0.65 with u 0.15 and 0.55 with u 0.26.
    """
    part = milk.between(pot.start_s, pot.end_s)
    time_s, degc = _blocks(part)
    if time_s.size < FEWEST_BLOCKS:
        return NotShown("too few readings of the milk tell of its heating")
    heat_j_per_k = milk_kg.value * HEAT_CAPACITY_J_PER_KG_K
    slope = np.gradient(degc, time_s)
    width_s = np.gradient(time_s)
    plateau = degc >= boiling_degc - PLATEAU_BELOW_K
    boiled_kg = _boiled(degc, slope, plateau, boiling_degc) * heat_j_per_k
    boiled_kg *= float(np.sum(width_s[plateau])) / VAPORISATION_J_PER_KG
    open_kg = _from_surface((time_s, degc, slope, width_s), plateau, pot, milk_kg.value)
    value = BOIL_SETTING * boiled_kg + open_kg.value
    u_kg = math.hypot(U_BOIL_SETTING * boiled_kg, open_kg.u, UNSEEN_FRACTION * milk_kg.value)
    return Quantity(
        value,
        "kg",
        u_kg,
        "heat balance: an estimate, no scale under the pot",
        (f"series {milk.name}", *milk_kg.sources, "assumed: share of vapour, setting of the hob"),
    )


def _blocks(curve: Curve) -> tuple[Floats, Floats]:
    """Return mean times and medians of blocks of 10 s that hold readings."""
    if len(curve) == 0:
        return curve.time_s, curve.value
    number = ((curve.time_s - curve.time_s[0]) // BLOCK_S).astype(np.int64)
    starts = np.flatnonzero(np.concatenate(([True], np.diff(number) > 0)))
    pieces = np.split(np.arange(len(curve)), starts[1:])
    return (
        np.array([curve.time_s[piece].mean() for piece in pieces]),
        np.array([np.median(curve.value[piece]) for piece in pieces]),
    )


def _running_median(value: Floats, width: int) -> Floats:
    half = width // 2
    padded = np.pad(value, half, mode="edge")
    return np.median(np.lib.stride_tricks.sliding_window_view(padded, width), axis=1)


def _boiled(degc: Floats, slope: Floats, plateau: np.ndarray, boiling_degc: float) -> float:
    """Return the heating rate just below the plateau [K/s], 0 if it never boiled."""
    if not plateau.any():
        return 0.0
    first = int(np.argmax(plateau))
    near = np.arange(degc.size) < first
    near &= (degc > boiling_degc - 15.0) & (degc < boiling_degc - 3.0)
    return max(float(np.median(slope[near])), 0.0) if near.any() else 0.0


def _from_surface(
    curve: tuple[Floats, Floats, Floats, Floats],
    plateau: np.ndarray,
    pot: OpenPot,
    milk_kg: float,
) -> Quantity:
    """Return what left the surface apart from the boil [kg]."""
    time_s, degc, slope, width_s = curve
    covered = _within(time_s, pot.covered, 0.0)
    hot = (degc > OPEN_ABOVE_DEGC) & ~plateau
    pressure = np.array([saturation_pressure(float(np.clip(t, 0.0, 120.0))) for t in degc])
    pascal_s = float(np.sum((pressure * np.where(covered, COVERED_FRACTION, 1.0) * width_s)[hot]))
    falling = hot & ~covered & (slope < -0.1 / 60.0) & ~_within(time_s, pot.poured, 60.0)
    if np.count_nonzero(falling) < FEWEST_BLOCKS // 2:
        area_m2 = math.pi / 4.0 * (4.0 * milk_kg / 1000.0 / math.pi) ** (2.0 / 3.0)
        found_kg = GENERIC_KG_PER_S_M2_PA * area_m2 * pascal_s
        return Quantity(found_kg, "kg", U_GENERIC_FRACTION * found_kg, "usual surface")
    lost_w = -slope[falling] * milk_kg * HEAT_CAPACITY_J_PER_KG_K
    per_pascal = float(np.sum(lost_w) / np.sum(pressure[falling])) / VAPORISATION_J_PER_KG
    lost_kg = per_pascal * pascal_s
    return Quantity(
        VAPOUR_FRACTION * lost_kg,
        "kg",
        math.hypot(U_VAPOUR_FRACTION, 0.35 * VAPOUR_FRACTION) * lost_kg,
        "fall of temperature",
    )


def _within(time_s: Floats, spans: Sequence[tuple[float, float]], margin_s: float) -> np.ndarray:
    inside = np.zeros(time_s.shape, dtype=bool)
    for start_s, end_s in spans:
        inside |= (time_s >= start_s - margin_s) & (time_s <= end_s + margin_s)
    return inside
