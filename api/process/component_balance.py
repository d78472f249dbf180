# SPDX-License-Identifier: MIT
"""Solids, protein and fat of a batch, stream by stream, where something sourced says so.

A stream's content comes from the maker's own analysis of it, else from a published recovery of
that very ingredient, else it is not shown. Pure: imports only the ground and what is pure.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from api.process.composition import Composition
from api.process.ingredient_names import find
from api.process.quantities import NotShown, Quantity, Result
from api.process.recovery_table import Recovery, recovery_table
from api.process.yields import on_factor, ratio

COMPONENTS = ("solids", "protein", "fat")
STREAMS = ("milk", "pulp", "block", "whey")
# Lots and cultivars differ by about this much from a table (common practice): the tables at hand
# differ by up to 13 % in protein and 20 % in fat.
LEAST_U_FRACTION = 0.05


@dataclass(frozen=True, slots=True)
class Analysis:
    """What the maker's own analysis found in a stream or an ingredient.

    Attributes:
        solids: Share of solids [-]; None if it was not measured.
        protein: Share of protein [-]; None likewise.
        fat: Share of fat [-]; None likewise.
        nitrogen_factor: With which protein was reckoned; None if nobody stated it [-].
    """

    solids: Quantity | None = None
    protein: Quantity | None = None
    fat: Quantity | None = None
    nitrogen_factor: float | None = None

    def of(self, component: str) -> Quantity | None:
        """Return the share of one component [-], or None."""
        shares = {"solids": self.solids, "protein": self.protein, "fat": self.fat}
        return shares[component]


@dataclass(frozen=True, slots=True)
class ComponentBalance:
    """Where a component is.

    Attributes:
        component: "solids", "protein" or "fat".
        in_dry: Mass of it in the dry ingredient [kg].
        in_stream: Mass of it in each stream [kg].
        recovered: Share of it in each stream [-].
        in_block_fraction: Its mass share in the block [-].
    """

    component: str
    in_dry: Result
    in_stream: Mapping[str, Result]
    recovered: Mapping[str, Result]
    in_block_fraction: Result


def share_in_dry(ingredient: str, component: str, own: Analysis | None = None) -> Result:
    """Return how much of a component a dry ingredient holds.

    Args:
        ingredient: Its name.
        component: "solids", "protein" or "fat".
        own: The maker's own analysis of it, which goes before the tables.

    Returns:
        Mass share [-], or why it isn't shown.

    Source:
        The packaged table of ingredients; u from how far its tables lie apart, at least 5 %
        (common practice).
    """
    measured = own.of(component) if own is not None else None
    if measured is not None:
        return measured
    known = find(ingredient)
    if known is None or not known.rows:
        return NotShown(f"The composition of {ingredient} is not known here: enter an analysis.")
    shares = [_share(row.composition, component) for row in known.rows]
    spread = max(abs(share - shares[0]) for share in shares) / math.sqrt(3.0)
    u = max(spread, LEAST_U_FRACTION * shares[0])
    row = known.rows[0]
    return Quantity(shares[0], "-", u, f"table, {row.food}", (f"{row.source}, {row.code}",))


def _share(composition: Composition, component: str) -> float:
    if component == "solids":
        return 1.0 - composition.water_fraction
    return composition.protein_fraction if component == "protein" else composition.fat_fraction


def published_recovery(ingredients: Sequence[str]) -> Recovery | NotShown:
    """Return the published recovery of what a batch is made of, and of nothing else.

    Args:
        ingredients: Names of all its ingredients.

    Returns:
        The recovery [-], or why there is none.

    Source:
        The packaged table; each names its own.
    """
    names = {known.name if (known := find(name)) else name for name in ingredients}
    if len(names) != 1:
        return NotShown("No recovery of a blend is published here: enter an analysis.")
    name = names.pop()
    found = recovery_table().get(name)
    return found or NotShown(f"No recovery of {name} is published here: enter an analysis.")


def component_balance(
    component: str,
    ingredients: Mapping[str, Result],
    streams: Mapping[str, Result],
    analyses: Mapping[str, Analysis],
) -> ComponentBalance:
    """Return where a component of a batch is.

    Protein found in a stream is compared with that put in only on one nitrogen factor.

    Args:
        component: "solids", "protein" or "fat".
        ingredients: Dry mass of each ingredient [kg].
        streams: Mass of `milk`, `pulp`, `block` and `whey`, as far as known [kg].
        analyses: The maker's own, by stream or ingredient [-].

    Returns:
        Masses [kg] and shares [-], each or why it isn't shown.

    Source:
        Definition, mass times share; recoveries as in `published_recovery`.
    """
    in_dry = _in_dry(component, ingredients, analyses)
    published = published_recovery(list(ingredients))
    factor = _factor(ingredients, analyses)
    in_stream: dict[str, Result] = {}
    recovered: dict[str, Result] = {}
    for stream in STREAMS:
        mass = streams.get(stream, NotShown(f"Nobody weighed {stream}."))
        own = analyses[stream].of(component) if stream in analyses else None
        if own is not None:
            in_stream[stream] = ratio((mass, own), (), "kg", f"{component} by own analysis")
            found = in_stream[stream]
            if component == "protein":
                found = on_factor(found, analyses[stream].nitrogen_factor, factor)
            recovered[stream] = ratio((found,), (in_dry,), "-", "found over put in")
        else:
            recovered[stream] = _published(published, component, stream)
            in_stream[stream] = ratio(
                (in_dry, recovered[stream]), (), "kg", f"{component} by a published recovery"
            )
    block = streams.get("block", NotShown("Nobody weighed block."))
    in_block = ratio((in_stream["block"],), (block,), "-", f"{component} in the block")
    return ComponentBalance(component, in_dry, in_stream, recovered, in_block)


def _in_dry(
    component: str, ingredients: Mapping[str, Result], analyses: Mapping[str, Analysis]
) -> Result:
    value, variance = 0.0, 0.0
    sources: list[str] = []
    for name, mass in ingredients.items():
        share = share_in_dry(name, component, analyses.get(name))
        part = ratio((mass, share), (), "kg", f"{component} in {name}")
        if isinstance(part, NotShown):
            return part
        value += part.value
        variance += part.u**2
        sources += part.sources
    if not ingredients:
        return NotShown("No ingredient is named.")
    method = f"{component} in the dry ingredient"
    return Quantity(value, "kg", math.sqrt(variance), method, tuple(dict.fromkeys(sources)))


def _factor(ingredients: Mapping[str, Result], analyses: Mapping[str, Analysis]) -> float | None:
    """Return the nitrogen factor of the dry protein, if all of it was reckoned with one."""
    factors: set[float | None] = set()
    for name in ingredients:
        own, known = analyses.get(name), find(name)
        if own is not None and own.protein is not None:
            factors.add(own.nitrogen_factor)
        else:
            factors.add(known.rows[0].nitrogen_factor if known and known.rows else None)
    return factors.pop() if len(factors) == 1 else None


def _published(published: Recovery | NotShown, component: str, stream: str) -> Result:
    if isinstance(published, NotShown):
        return published
    share = published.fractions[component].get(stream)
    if share is None:
        return NotShown(f"No recovery of {component} in {stream} is published here.")
    u = published.u_fraction * share
    return Quantity(share, "-", u, f"published: {published.process}", (published.source,))
