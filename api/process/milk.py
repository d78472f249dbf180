# SPDX-License-Identifier: MIT
"""What a milk is made of: from its own analysis, from Brix, or from the dry ingredient's solids.

For its heat capacity, not for a label. Pure: imports only the ground and what is pure.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from api.process.composition import Composition
from api.process.ingredient_names import find
from api.process.quantities import NotShown, Quantity, Result
from collector.errors import ProcessError

# A refractometer reads everything that is dissolved or finely suspended as if it were sugar:
# solids are 0.9 to 1.0 times what it shows (common practice; no published slope was found).
BRIX_TO_SOLIDS = 0.95
U_BRIX_TO_SOLIDS = 0.05 / math.sqrt(3.0)
HIGHEST_BRIX = 60.0


def solids_from_brix(brix: Quantity) -> Quantity:
    """Return the solids of a milk from what a refractometer shows.

    Args:
        brix: Degrees Brix with their standard uncertainty [g/100 g].

    Returns:
        Share of solids, its u holding the doubt about the slope [-].

    Raises:
        ProcessError: The reading lies outside 0 … 60.

    Source:
        Solids = Brix x (0.9 to 1.0), rectangular (common practice; no published slope for such
        milks was found). Dry one sample to do better.

    Example:
        >>> found = solids_from_brix(Quantity(10.0, "g/100 g", 0.2, "refractometer"))
        >>> round(found.value, 4), round(found.u, 4)
        (0.095, 0.0035)
    """
    if not 0.0 <= brix.value <= HIGHEST_BRIX:
        raise ProcessError(
            f"A milk of {brix.value:g} degrees Brix is none.",
            where="milk",
            do=f"Give 0 to {HIGHEST_BRIX:g}.",
        )
    value = BRIX_TO_SOLIDS * brix.value / 100.0
    u = math.hypot(BRIX_TO_SOLIDS * brix.u, U_BRIX_TO_SOLIDS * brix.value) / 100.0
    sources = (*brix.sources, "assumed: solids 0.9 to 1.0 times the Brix")
    return Quantity(value, "-", u, "from Brix", sources)


def milk_composition(shares: Mapping[str, float], solids: Result) -> Composition | NotShown:
    """Return what a milk is made of, its solids shared out as those of the dry ingredient.

    The fibre stays in the pulp and is left out; the rest keeps the proportions that the table
    gives. Heat capacities of protein, fat and carbohydrate differ little, so that this moves the
    milk's by less than the equations are good for.

    Args:
        shares: Share of each ingredient in the dry mass [-].
        solids: Share of solids in the milk [-].

    Returns:
        The composition [-], or why it isn't known.

    Raises:
        ProcessError: The solids lie outside 0 … 1.

    Source:
        The packaged table of ingredients; proportions kept: common practice.
    """
    if isinstance(solids, NotShown):
        return solids
    if not 0.0 <= solids.value < 1.0:
        raise ProcessError(
            f"A milk with {100 * solids.value:g} % of solids is none.",
            where="milk",
            do="Give between 0 and 100 %.",
        )
    parts = dict.fromkeys(("protein", "fat", "net_carbohydrate", "ash"), 0.0)
    for name, share in shares.items():
        known = find(name)
        if known is None or not known.rows:
            return NotShown(f"The composition of {name} is not known here.")
        dry = known.rows[0].composition
        parts["protein"] += share * dry.protein_fraction
        parts["fat"] += share * dry.fat_fraction
        parts["net_carbohydrate"] += share * dry.net_carbohydrate_fraction
        parts["ash"] += share * dry.ash_fraction
    total = math.fsum(parts.values())
    if total <= 0.0:
        return NotShown("No ingredient is named.")
    return Composition.from_net_carbohydrate(
        water_fraction=1.0 - solids.value,
        protein_fraction=solids.value * parts["protein"] / total,
        fat_fraction=solids.value * parts["fat"] / total,
        net_carbohydrate_fraction=solids.value * parts["net_carbohydrate"] / total,
        fibre_fraction=0.0,
        ash_fraction=solids.value * parts["ash"] / total,
    )
