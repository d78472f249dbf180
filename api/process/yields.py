# SPDX-License-Identifier: MIT
"""Yield and recovery: how much block for the dry ingredient, and how much of its solids.

Pure: imports only the ground and what is pure.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from api.process.quantities import NotShown, Quantity, Result

# Above these a published process would be beaten by far; then a figure is likelier wrong.
HIGHEST_SOLIDS_RECOVERY = 0.75
HIGHEST_PROTEIN_RECOVERY = 1.0


def yield_per_dry(block: Result, dry: Result) -> Result:
    """Return the mass of block for a kilogram of dry ingredient.

    Args:
        block: Mass of the block [kg].
        dry: Mass of the dry ingredient [kg].

    Returns:
        Block over dry [kg/kg], or why it isn't shown.

    Source:
        Definition; relative uncertainties in quadrature, JCGM 100:2008, 5.1.6 (from memory).

    Example:
        >>> masses = Quantity(22.4, "kg", 0.02, "weighed"), Quantity(10.0, "kg", 0.0058, "weighed")
        >>> found = yield_per_dry(*masses)
        >>> round(found.value, 4), round(found.u, 4)
        (2.24, 0.0024)
    """
    return ratio((block,), (dry,), "kg/kg", "block over dry ingredient")


def soak_uptake(soaked: Result, dry: Result) -> Result:
    """Return the water that the dry ingredient took up in the soak.

    Args:
        soaked: Mass after soaking and draining [kg].
        dry: Mass before [kg].

    Returns:
        Water over dry mass [kg/kg], or why it isn't shown.

    Source:
        Definition.
    """
    found = ratio((soaked,), (dry,), "kg/kg", "soaked over dry, less one")
    if isinstance(found, NotShown):
        return found
    return Quantity(found.value - 1.0, found.unit, found.u, found.method, found.sources)


def water_ratio(soaked: Result, dry: Result, water: Result) -> Result:
    """Return all the water that went in for a kilogram of dry ingredient.

    Args:
        soaked: Mass after soaking and draining; the dry mass if nothing was soaked [kg].
        dry: Mass of the dry ingredient [kg].
        water: Water of grinding and rinsing [kg].

    Returns:
        (water taken up + water of grinding) over dry mass [kg/kg], or why it isn't shown.

    Source:
        Definition.
    """
    if isinstance(soaked, NotShown):
        return soaked
    if isinstance(dry, NotShown):
        return dry
    if isinstance(water, NotShown):
        return water
    if dry.value <= 0.0:
        return NotShown("The dry ingredient weighs nothing.")
    total_kg = soaked.value + water.value
    u = math.hypot(soaked.u, water.u, total_kg * dry.u / dry.value) / dry.value
    sources = soaked.sources + water.sources + dry.sources
    return Quantity(total_kg / dry.value - 1.0, "kg/kg", u, "water over dry ingredient", sources)


def ratio(above: Sequence[Result], below: Sequence[Result], unit: str, method: str) -> Result:
    """Return a product over another, with relative uncertainties in quadrature.

    Args:
        above: Factors of the numerator, independent [any].
        below: Factors of the denominator, independent [any].
        unit: Unit of the result.
        method: What it is.

    Returns:
        The ratio [unit], or the first reason why it isn't shown.

    Source:
        JCGM 100:2008, 5.1.6 (from memory).
    """
    value, relative = 1.0, 0.0
    sources: list[str] = []
    for factor, power in (*((f, 1) for f in above), *((f, -1) for f in below)):
        if isinstance(factor, NotShown):
            return factor
        if factor.value <= 0.0:
            return NotShown(f"{method} can't be told from a value of {factor.value:g}.")
        value *= factor.value**power
        relative = math.hypot(relative, factor.u / factor.value)
        sources += factor.sources
    return Quantity(value, unit, value * relative, method, tuple(dict.fromkeys(sources)))


def complement(fraction: Result, method: str) -> Result:
    """Return what is left of a whole: solids from moisture, or moisture from solids.

    Args:
        fraction: A share [-].
        method: What the rest is.

    Returns:
        One less that share [-], or why it isn't shown.

    Source:
        Definition.
    """
    if isinstance(fraction, NotShown):
        return fraction
    return Quantity(1.0 - fraction.value, "-", fraction.u, method, fraction.sources)


def recovery(block: Result, in_block: Result, dry: Result, in_dry: Result) -> Result:
    """Return the share of a component of the dry ingredient that was found in the block.

    Args:
        block: Mass of the block [kg].
        in_block: Mass share of the component in it [-].
        dry: Mass of the dry ingredient [kg].
        in_dry: Mass share of the component in it [-].

    Returns:
        Recovery [-], or why it isn't shown.

    Source:
        Definition, R = m_block x_block / (m_dry x_dry); for protein with the same nitrogen
        factor on both sides.
    """
    return ratio(
        (block, in_block), (dry, in_dry), "-", "component in the block over that in the dry"
    )


def on_factor(protein: Result, from_factor: float | None, to_factor: float | None) -> Result:
    """Return a protein share as another nitrogen factor would give it.

    Protein is measured as nitrogen times a factor that differs between tables: a bean at 5.71
    against a tofu at 6.25 makes a recovery 9.5 % too high.

    Args:
        protein: Protein by the first factor [- or kg].
        from_factor: That factor; None if nobody stated it [-].
        to_factor: The factor wanted [-].

    Returns:
        Protein by the other factor [- or kg], or why it isn't shown.

    Source:
        Definition; factors after Jones 1931 (from memory).
    """
    if isinstance(protein, NotShown):
        return protein
    if from_factor is None or to_factor is None or from_factor <= 0.0 or to_factor <= 0.0:
        return NotShown("Nobody stated with which nitrogen factor the protein was reckoned.")
    scale = to_factor / from_factor
    method = f"{protein.method}, nitrogen factor {from_factor:g} to {to_factor:g}"
    return Quantity(protein.value * scale, protein.unit, protein.u * scale, method, protein.sources)


def moisture_by_difference(dry: Result, in_dry: Result, recovered: Result, block: Result) -> Result:
    """Return the moisture that the block must have if a share of the solids is in it.

    Args:
        dry: Mass of the dry ingredient [kg].
        in_dry: Solids in it [-].
        recovered: Share of those solids that ends up in the block, sourced for that ingredient
            [-].
        block: Mass of the block [kg].

    Returns:
        Moisture [-], or why it isn't shown.

    Source:
        Definition, w = 1 - m_dry s_dry R / m_block.
    """
    solids = ratio((dry, in_dry, recovered), (block,), "-", "solids of the block by difference")
    if isinstance(solids, Quantity) and solids.value >= 1.0:
        return NotShown("The block would hold more solids than it weighs.")
    return complement(solids, "moisture of the block by difference")


def plausibility(solids_recovery: Result, protein_recovery: Result) -> tuple[str, ...]:
    """Return what looks wrong about recoveries, a sentence each; none if nothing does.

    Args:
        solids_recovery: Share of the solids found in the block [-].
        protein_recovery: Share of the protein found in the block [-].

    Returns:
        Sentences [-].

    Source:
        306 g of tofu at 22 % solids from 100 g of beans, 74 % of their solids, is the highest
        published figure seen (Ciencia e Tecnologia de Alimentos 31(4), 2011, abstract, seen).
    """
    found = []
    if isinstance(solids_recovery, Quantity) and solids_recovery.value > HIGHEST_SOLIDS_RECOVERY:
        found.append(
            f"{100 * solids_recovery.value:.0f} % of the solids in the block is more than any "
            f"published process found: check the moisture and the weighings."
        )
    if isinstance(protein_recovery, Quantity) and protein_recovery.value > HIGHEST_PROTEIN_RECOVERY:
        found.append(
            f"{100 * protein_recovery.value:.0f} % of the protein in the block is more than went "
            f"in: check the analyses and their nitrogen factors."
        )
    return tuple(found)
