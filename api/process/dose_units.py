# SPDX-License-Identifier: MIT
"""A dose of coagulant as a maker states it, brought to the dry ingredient.

Pure: imports only the ground and what is pure.
"""

from __future__ import annotations

import enum
import math

from api.process.coagulant import MILK_DENSITY, find_substance
from api.process.quantities import Quantity
from collector.errors import ProcessError


class DoseUnit(enum.StrEnum):
    """By what a dose is stated."""

    OF_DRY = "g/100 g dry"
    OF_MILK = "g/100 g milk"
    CONCENTRATION = "mmol/L"


def coagulant_per_dry(
    name: str,
    value: float,
    unit: DoseUnit,
    *,
    milk_per_dry: float | None = None,
    strength_fraction: float | None = None,
    density: Quantity = MILK_DENSITY,
) -> float:
    """Return the mass of coagulant for each kilogram of dry ingredient.

    Args:
        name: The coagulant.
        value: The dose [unit].
        unit: By dry ingredient, by milk, or in moles to the litre of milk.
        milk_per_dry: Milk for each kilogram of dry ingredient; None if not stated [kg/kg].
        strength_fraction: For a brine: its mass share of the salt [-].
        density: Density of the milk [kg/m3].

    Returns:
        Coagulant over dry ingredient [kg/kg].

    Raises:
        ProcessError: The dose is not above 0, or what the unit needs is not known.

    Source:
        Definition; m = c V M / s with V = m_milk / density, the inverse of
        `api.process.coagulant.dose`.

    Example:
        >>> coagulant_per_dry("gypsum", 0.4, DoseUnit.OF_MILK, milk_per_dry=7.5)
        0.03
    """
    if not (math.isfinite(value) and value > 0.0):
        raise ProcessError(
            f"A dose of {value:g} {unit} is none.", where="dose", do="Give more than 0."
        )
    if unit is DoseUnit.OF_DRY:
        return value / 100.0
    if milk_per_dry is None or not milk_per_dry > 0.0:
        raise ProcessError(
            f"A dose of {value:g} {unit} goes by the milk, and no step says how much milk there "
            "is.",
            where="dose",
            do="Add the milk that you expect to a step, or give the dose by the dry ingredient.",
        )
    if unit is DoseUnit.OF_MILK:
        return value / 100.0 * milk_per_dry
    molar_kg_per_mol = _molar_kg_per_mol(name, strength_fraction)
    litres_per_kg_dry = milk_per_dry / density.value * 1000.0
    return value / 1000.0 * litres_per_kg_dry * molar_kg_per_mol


def _molar_kg_per_mol(name: str, strength_fraction: float | None) -> float:
    """Return how much of the coagulant as it is sold brings one mole of its salt [kg/mol]."""
    substance = find_substance(name)
    if substance is None:
        raise ProcessError(
            f"The molar mass of {name!r} is not known here, so a dose in mmol/L can't be weighed.",
            where="coagulant",
            do="Give the dose by the milk or by the dry ingredient.",
        )
    if substance.needs_strength and strength_fraction is None:
        raise ProcessError(
            f"{substance.name} is a brine whose share of {substance.formula} is not stated.",
            where="strength",
            do="Give its strength, as its label or its seller states it.",
        )
    return substance.molar_mass_g_per_mol / 1000.0 / (strength_fraction or 1.0)
