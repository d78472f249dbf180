# SPDX-License-Identifier: MIT
"""Yield of a batch, its recoveries and components where sourced, and what looks wrong of them."""

from __future__ import annotations

from typing import Any

from api import views
from api.analysis.components import Components, components_json
from api.analysis.masses import Masses
from api.process.balance import Balance
from api.process.quantities import Absence, NotShown, Quantity, Result
from api.process.suspects import BalanceTest
from api.process.yields import (
    complement,
    moisture_by_difference,
    plausibility,
    soak_uptake,
    water_ratio,
)


def yield_section(
    balance: Balance | NotShown, masses: Masses, components: Components
) -> dict[str, Any]:
    """Return block per dry mass, with all that follows from it.

    The yield itself comes from the weighings as reconciled, with their covariance; uptake and
    water ratio from the weighings as they are.

    Args:
        balance: Of the batch, or why there is none.
        masses: Its streams [kg].
        components: What is known of its solids, protein and fat.
    """
    soaked = _soaked(masses)
    is_soaked = not _same(soaked, masses.of("dry"))
    uptake: Result = NotShown("Nothing was soaked.", Absence.NOT_APPLICABLE)
    if is_soaked:
        uptake = soak_uptake(soaked, masses.of("dry"))
    solids, protein = components.balances["solids"], components.balances["protein"]
    notes = list(plausibility(solids.recovered["block"], protein.recovered["block"]))
    if isinstance(balance, Balance) and _is_doubtful(balance):
        notes.append("the weighings contradict each other: see the balance before using the yield")
    if components.is_estimate("block"):
        notes.append("protein and fat of the block are computed, an estimate: not for a label")
    return {
        **views.result(block_per_dry(balance)),
        "soak_uptake": views.quantity(uptake),
        "water_ratio": views.quantity(water_ratio(soaked, masses.of("dry"), masses.of("water"))),
        "moisture": views.quantity(_moisture(masses, components)),
        "components": components_json(components),
        "notes": notes,
    }


def block_per_dry(balance: Balance | NotShown) -> Result:
    """Return block per dry mass from the weighings as reconciled [kg/kg].

    Args:
        balance: Of the batch, or why there is none.
    """
    if isinstance(balance, NotShown):
        return balance
    found = {s.stream: s.reconciled for s in balance.streams}
    block, dry = found["block"], found["dry"]
    if not isinstance(block, Quantity) or not isinstance(dry, Quantity) or dry.value <= 0:
        return NotShown("it needs the mass of the dry ingredient and of the block")
    ratio = block.value / dry.value
    names = list(balance.covariance_names)
    i, j = names.index("block"), names.index("dry")
    cov = balance.covariance_kg2
    variance = (cov[i, i] - 2 * ratio * cov[i, j] + ratio**2 * cov[j, j]) / dry.value**2
    sources = tuple(dict.fromkeys((*block.sources, *dry.sources)))
    u = float(max(variance, 0.0)) ** 0.5
    return Quantity(ratio, "kg/kg", u, "block over dry mass", sources)


def _soaked(masses: Masses) -> Result:
    soaked = masses.of("soaked")
    is_absent = isinstance(soaked, NotShown) and soaked.status is Absence.NOT_APPLICABLE
    return masses.of("dry") if is_absent else soaked


def _same(one: Result, other: Result) -> bool:
    return isinstance(one, Quantity) and isinstance(other, Quantity) and one.value == other.value


def _moisture(masses: Masses, components: Components) -> Result:
    own = components.analyses.get("block")
    if own is not None and own.solids is not None:
        return complement(own.solids, "own analysis")
    solids = components.balances["solids"]
    dry = masses.of("dry")
    if isinstance(dry, NotShown):
        return dry
    if isinstance(solids.in_dry, NotShown):
        return solids.in_dry
    share = Quantity(
        solids.in_dry.value / dry.value if dry.value else 0.0,
        "-",
        solids.in_dry.u / dry.value if dry.value else 0.0,
        "solids in the dry ingredient",
        solids.in_dry.sources,
    )
    return moisture_by_difference(dry, share, solids.recovered["block"], masses.of("block"))


def _is_doubtful(balance: Balance) -> bool:
    return isinstance(balance.test, BalanceTest) and not balance.test.passed
