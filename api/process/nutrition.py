# SPDX-License-Identifier: MIT
"""Protein, fat, carbohydrate and energy of a hundred grams of block, with their intervals.

From the component balance. A value that rests on a published recovery is an estimate and no figure
for a label. Pure: imports only the ground and what is pure.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from api.process.energy_table import EnergyFactors
from api.process.quantities import NotShown, Quantity, Result

# Ash that nobody measured: any share of the solids from none to a tenth (tofu of the USDA's table
# holds 5 to 7 %; other seeds nobody measured here). Rectangular.
ASH_OF_SOLIDS_FRACTION = 0.05
U_ASH_OF_SOLIDS_FRACTION = 0.05 / math.sqrt(3.0)
COVERAGE = 2.0


@dataclass(frozen=True, slots=True)
class Nutrient:
    """One figure for a hundred grams.

    Attributes:
        value: The figure, or why it isn't shown [g/100 g, kJ/100 g or kcal/100 g].
        interval: Two standard uncertainties either way, not below 0 [the same]; None without it.
    """

    value: Result
    interval: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class Nutrition:
    """What a hundred grams of block hold.

    Attributes:
        protein: [g/100 g].
        fat: [g/100 g].
        carbohydrate: By difference, fibre included [g/100 g].
        water: [g/100 g].
        energy_kj: [kJ/100 g].
        energy_kcal: [kcal/100 g].
        is_estimate: Something of it rests on no analysis of this block.
        notes: What to know of it.
    """

    protein: Nutrient
    fat: Nutrient
    carbohydrate: Nutrient
    water: Nutrient
    energy_kj: Nutrient
    energy_kcal: Nutrient
    is_estimate: bool
    notes: tuple[str, ...]


def nutrition_of(
    solids: Result,
    protein: Result,
    fat: Result,
    factors: EnergyFactors,
    *,
    ash: Quantity | None = None,
    is_estimate: bool = True,
) -> Nutrition:
    """Return what a hundred grams of block hold.

    Carbohydrate is what is left of the solids, c = s - p - f - a, and so holds the fibre. Energy
    is e = k_c (s - a) + (k_p - k_c) p + (k_f - k_c) f: what the carbohydrate loses to an error
    of protein or fat is counted once.

    Args:
        solids: Share of solids in the block [-].
        protein: Share of protein [-].
        fat: Share of fat [-].
        factors: What a gram gives [kJ/g, kcal/g].
        ash: Share of ash, None if nobody measured it [-].
        is_estimate: Whether any share rests on a published recovery.

    Returns:
        Figures with intervals [g/100 g, kJ/100 g, kcal/100 g], each or why it isn't shown.

    Source:
        Definition of carbohydrate by difference; energy factors as the set names them; JCGM
        100:2008, 5.1 (from memory).

    Example:
        >>> from api.process.energy_table import energy_table
        >>> def exact(value):
        ...     return Quantity(value, "-", 0.0, "given")
        >>> found = nutrition_of(exact(0.1545), exact(0.0808), exact(0.0478),
        ...                      energy_table()["legumes"], ash=exact(0.0072))
        >>> round(found.energy_kcal.value.value, 1), round(found.carbohydrate.value.value, 2)
        (75.7, 1.87)
    """
    parts = {"solids": solids, "protein": protein, "fat": fat}
    missing = next((part for part in parts.values() if isinstance(part, NotShown)), None)
    shares = {name: part for name, part in parts.items() if isinstance(part, Quantity)}
    if missing is None:
        shares["ash"] = ash if ash is not None else _assumed_ash(shares["solids"])
    rest: Result = missing or _combined(
        shares, {"solids": 1.0, "protein": -1.0, "fat": -1.0, "ash": -1.0}, "by difference"
    )
    if isinstance(rest, Quantity) and rest.value < -COVERAGE * rest.u:
        impossible = NotShown(
            "Protein and fat are more than the solids leave room for: check the analyses."
        )
        rest = missing = impossible
    water = (
        solids
        if isinstance(solids, NotShown)
        else Quantity(1.0 - solids.value, "-", solids.u, solids.method, solids.sources)
    )
    return Nutrition(
        protein=_per_hundred(protein),
        fat=_per_hundred(fat),
        carbohydrate=_per_hundred(rest),
        water=_per_hundred(water),
        energy_kj=_energy(shares, factors.kj_per_g, "kJ/100 g", missing, factors),
        energy_kcal=_energy(shares, factors.kcal_per_g, "kcal/100 g", missing, factors),
        is_estimate=is_estimate,
        notes=_notes(factors, ash, is_estimate=is_estimate),
    )


def _notes(factors: EnergyFactors, ash: Quantity | None, *, is_estimate: bool) -> tuple[str, ...]:
    notes = ["computed, an estimate: not for a label"] if is_estimate else []
    notes.append(f"energy: {factors.name}, {factors.source} ({factors.status})")
    if ash is None:
        notes.append("ash is not measured: 0 to 10 % of the solids are taken for it")
    notes.append("carbohydrate is what is left of the solids: the fibre is in it")
    return tuple(notes)


def _assumed_ash(solids: Quantity) -> Quantity:
    return Quantity(
        ASH_OF_SOLIDS_FRACTION * solids.value,
        "-",
        U_ASH_OF_SOLIDS_FRACTION * solids.value,
        "assumed share of the solids",
        ("assumed: ash 0 to 10 % of the solids",),
    )


def _combined(
    shares: Mapping[str, Quantity], weights: Mapping[str, float], method: str
) -> Quantity:
    value = sum(weight * shares[name].value for name, weight in weights.items())
    u = math.hypot(*(weight * shares[name].u for name, weight in weights.items()))
    sources = tuple(dict.fromkeys(s for name in weights for s in shares[name].sources))
    return Quantity(value, "-", u, method, sources)


def _energy(
    shares: Mapping[str, Quantity],
    per_g: Mapping[str, float],
    unit: str,
    missing: NotShown | None,
    factors: EnergyFactors,
) -> Nutrient:
    if missing is not None:
        return Nutrient(missing, None)
    rest = per_g["carbohydrate"]
    weights = {
        "solids": rest,
        "ash": -rest,
        "protein": per_g["protein"] - rest,
        "fat": per_g["fat"] - rest,
    }
    found = _combined(shares, weights, f"energy factors, {factors.name}")
    sources = (*found.sources, factors.source)
    return _with_interval(
        Quantity(100.0 * found.value, unit, 100.0 * found.u, found.method, sources)
    )


def _per_hundred(share: Result) -> Nutrient:
    if isinstance(share, NotShown):
        return Nutrient(share, None)
    return _with_interval(
        Quantity(100.0 * share.value, "g/100 g", 100.0 * share.u, share.method, share.sources)
    )


def _with_interval(figure: Quantity) -> Nutrient:
    low, high = figure.value - COVERAGE * figure.u, figure.value + COVERAGE * figure.u
    return Nutrient(figure, (max(low, 0.0), max(high, 0.0)))
