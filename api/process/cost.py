# SPDX-License-Identifier: MIT
"""What a block cost: as weighed, at the mass it is sold as, and by its protein.

Water, fuel and labour are not in it unless entered. Pure: imports only the ground and what is pure.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal

from api.process.money import Money, MoneyResult
from api.process.quantities import NotShown, Quantity, Result
from collector.errors import ProcessError


@dataclass(frozen=True, slots=True)
class BlockCost:
    """What a block costs, and what one of another mass would.

    Attributes:
        actual: The block as it was weighed [currency].
        nominal: A block of the wanted mass [currency].
        per_100_g: A hundred grams of it [currency].
        per_100_g_protein: A hundred grams of its protein [currency].
        dry_for_nominal: Dry ingredient for a block of the wanted mass [kg].
    """

    actual: MoneyResult
    nominal: MoneyResult
    per_100_g: MoneyResult
    per_100_g_protein: MoneyResult
    dry_for_nominal: Result


def block_cost(
    cost: MoneyResult, dry: Result, block: Result, nominal_kg: float | None, protein: Result
) -> BlockCost:
    """Return what a block costs as weighed, at its nominal mass, and by its protein.

    A block sold as 350 g that weighs 400 g costs as much as its 400 g; comparing prices by the
    nominal mass would hide that.

    Args:
        cost: What went into the block [currency].
        dry: Dry ingredient used [kg].
        block: Mass of the block [kg].
        nominal_kg: The mass it is sold as; None if nobody stated it [kg].
        protein: Its protein, from the maker's analysis or a sourced recovery [-].

    Returns:
        Costs [currency] and the dry mass [kg], each or why it isn't shown.

    Raises:
        ProcessError: The nominal mass is not above 0.

    Source:
        (u_c / c)^2 = (u_used / m_used)^2 + (u_block / m_block)^2, JCGM 100:2008, 5.1.6 (from
        memory).
    """
    if nominal_kg is not None and not (math.isfinite(nominal_kg) and nominal_kg > 0.0):
        raise ProcessError(
            f"A block of {nominal_kg:g} kg is none.", where="cost", do="Give more than 0 kg."
        )
    hundred = Quantity(0.1, "kg", 0.0, "by definition")
    nominal: Result = NotShown("No nominal mass of a block is stated.")
    if nominal_kg is not None:
        nominal = Quantity(nominal_kg, "kg", 0.0, "as sold")
    return BlockCost(
        actual=cost,
        nominal=_share(cost, nominal, block, "cost at the nominal mass"),
        per_100_g=_share(cost, hundred, block, "cost of 100 g"),
        per_100_g_protein=_share(
            cost, hundred, _product(block, protein), "cost of 100 g of protein"
        ),
        dry_for_nominal=_dry_for(dry, block, nominal),
    )


def cost_of_part(cost: MoneyResult, part: Quantity, whole: Quantity) -> MoneyResult:
    """Return what one of several blocks costs by its own mass.

    The whole is the sum of its parts, so that the part's error is in both.

    Args:
        cost: Of all blocks together [currency].
        part: Mass of the one [kg].
        whole: Mass of all, the one among them [kg].

    Returns:
        Cost of the one [currency], or why it isn't shown.

    Source:
        c = c_whole m / m_whole; u of the share by JCGM 100:2008, 5.2 (from memory), with
        u(m_whole)^2 - u(m)^2 for the rest.
    """
    if isinstance(cost, NotShown):
        return cost
    if whole.value <= 0.0:
        return NotShown("The blocks weigh nothing.")
    share = part.value / whole.value
    rest = max(whole.u**2 - part.u**2, 0.0)
    u_share = math.hypot((1.0 - share) * part.u, share * math.sqrt(rest)) / whole.value
    amount = cost.amount * Decimal(repr(part.value)) / Decimal(repr(whole.value))
    u = math.hypot(cost.u * share, float(cost.amount) * u_share)
    sources = tuple(dict.fromkeys((*cost.sources, *part.sources)))
    return Money(amount, cost.currency, u, "cost by its share of all blocks", sources)


def _share(cost: MoneyResult, part: Result, whole: Result, method: str) -> MoneyResult:
    if isinstance(cost, NotShown):
        return cost
    if isinstance(part, NotShown):
        return part
    if isinstance(whole, NotShown):
        return whole
    if whole.value <= 0.0:
        return NotShown("The block weighs nothing.")
    amount = cost.amount * Decimal(repr(part.value)) / Decimal(repr(whole.value))
    relative = math.hypot(
        cost.u / float(cost.amount) if cost.amount else 0.0, whole.u / whole.value
    )
    sources = tuple(dict.fromkeys((*cost.sources, *whole.sources)))
    return Money(amount, cost.currency, float(amount) * relative, method, sources)


def _product(block: Result, protein: Result) -> Result:
    if isinstance(protein, NotShown):
        return protein
    if isinstance(block, NotShown):
        return block
    value = block.value * protein.value
    u = math.hypot(block.u * protein.value, block.value * protein.u)
    return Quantity(value, "kg", u, "protein in the block", block.sources + protein.sources)


def _dry_for(dry: Result, block: Result, nominal: Result) -> Result:
    if isinstance(nominal, NotShown):
        return nominal
    if isinstance(dry, NotShown):
        return dry
    if isinstance(block, NotShown):
        return block
    if dry.value <= 0.0 or block.value <= 0.0:
        return NotShown("The yield can't be told from masses of nothing.")
    value = nominal.value * dry.value / block.value
    u = value * math.hypot(dry.u / dry.value, block.u / block.value)
    return Quantity(value, "kg", u, "nominal mass over the yield", dry.sources + block.sources)
