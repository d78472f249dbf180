# SPDX-License-Identifier: MIT
"""Solids, protein and fat of a batch, from the maker's analyses and published recoveries."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from api import views
from api.analysis.masses import Masses
from api.kitchen import Kitchen
from api.observed import observations_of, observed_share
from api.prices import same_substance
from api.process.component_balance import (
    COMPONENTS,
    STREAMS,
    Analysis,
    ComponentBalance,
    component_balance,
)
from api.process.quantities import NotShown, Quantity, Result
from api.process.yields import complement
from api.records.batches import Batch

# A usual laboratory repeats a moisture within a hundredth of it, protein and fat within three
# (common practice).
U_MOISTURE_FRACTION, U_SHARE_FRACTION = 0.01, 0.03
ANALYSED = ("milk", "pulp", "starch", "block", "whey")
_SUM_TOLERANCE = 0.01


@dataclass(frozen=True, slots=True)
class Components:
    """What is known of a batch's components.

    Attributes:
        shares: Share of each ingredient in the dry mass [-], or why it isn't known.
        dry: Dry mass of each ingredient [kg].
        analyses: The maker's own, by ingredient and stream.
        balances: By component.
    """

    shares: Mapping[str, float] | NotShown
    dry: Mapping[str, Result]
    analyses: Mapping[str, Analysis]
    balances: Mapping[str, ComponentBalance]

    def is_estimate(self, stream: str) -> bool:
        """Return whether a stream's protein or fat rests on no analysis of it."""
        own = self.analyses.get(stream)
        return own is None or own.protein is None or own.fat is None


def components_of(kitchen: Kitchen, batch: Batch, masses: Masses) -> Components:
    """Return what is known of a batch's components.

    Args:
        kitchen: For the maker's own analyses of ingredients.
        batch: The batch, for its ingredients and its own analyses.
        masses: Its streams [kg].
    """
    shares = ingredient_shares(batch)
    dry = _dry(batch, shares, masses.of("dry"))
    analyses = {name: own for name in dry if (own := _of_ingredient(kitchen, name)) is not None}
    analyses |= {stream: own for stream in ANALYSED if (own := _of_stream(batch, stream))}
    streams = {
        "milk": masses.of("milk"),
        "pulp": masses.of("pulp"),
        "block": masses.of("block"),
        "whey": masses.together("whey", "press_whey"),
    }
    balances = {name: component_balance(name, dry, streams, analyses) for name in COMPONENTS}
    return Components(shares, dry, analyses, balances)


@dataclass(frozen=True, slots=True)
class Portion:
    """One lot of one ingredient of a batch.

    Attributes:
        name: The ingredient.
        lot: Its lot, None if nobody named one.
        share: Its share of the dry mass [-].
    """

    name: str
    lot: str | None
    share: float

    def of(self, dry: Result) -> Result:
        """Return its mass [kg], or why it isn't shown."""
        if isinstance(dry, NotShown):
            return dry
        share = self.share
        return Quantity(share * dry.value, "kg", share * dry.u, "share of dry", dry.sources)


def portions(batch: Batch) -> list[Portion] | NotShown:
    """Return each lot of each ingredient with its share of the dry mass, or why it isn't known.

    Args:
        batch: The batch.
    """
    listed = batch.body.get("ingredients") or []
    if not listed:
        return NotShown("No ingredient is named.")
    shares = [1.0] if len(listed) == 1 else [part.get("share", 1.0) for part in listed]
    total = sum(shares)
    if abs(total - 1.0) > _SUM_TOLERANCE:
        return NotShown(f"The shares of the ingredients add up to {total:.2f}, not to 1.")
    return [
        Portion(part["name"], part.get("lot"), share / total)
        for part, share in zip(listed, shares, strict=True)
    ]


def ingredient_shares(batch: Batch) -> Mapping[str, float] | NotShown:
    """Return the share of each ingredient in the dry mass [-], or why it isn't known.

    Args:
        batch: The batch.
    """
    found = portions(batch)
    if isinstance(found, NotShown):
        return found
    shares: dict[str, float] = {}
    for portion in found:
        shares[portion.name] = shares.get(portion.name, 0.0) + portion.share
    return shares


def _dry(batch: Batch, shares: Mapping[str, float] | NotShown, whole: Result) -> dict[str, Result]:
    if isinstance(shares, NotShown):
        named = [part["name"] for part in batch.body.get("ingredients") or []]
        return dict.fromkeys(named, shares)
    if isinstance(whole, NotShown):
        return dict.fromkeys(shares, whole)
    return {name: Portion(name, None, share).of(whole) for name, share in shares.items()}


def _of_ingredient(kitchen: Kitchen, name: str) -> Analysis | None:
    listed = kitchen.journal.latest_by("ingredient", "name").values()
    found = [entry for entry in listed if same_substance(entry.body["name"], name)]
    if not found:
        return None
    entry = found[-1]
    body = entry.body

    def share(key: str) -> Quantity | None:
        value = body.get(f"{key}_fraction")
        if value is None:
            return None
        usual = U_MOISTURE_FRACTION if key == "water" else U_SHARE_FRACTION
        u = (body.get("u_fraction") or usual) * value
        return Quantity(value, "-", u, "own analysis", (f"ingredient {entry.id}",))

    water = share("water")
    solids = complement(water, "solids by own analysis") if water is not None else None
    return Analysis(
        solids=solids if isinstance(solids, Quantity) else None,
        protein=share("protein"),
        fat=share("fat"),
        nitrogen_factor=body.get("nitrogen_factor"),
    )


def _of_stream(batch: Batch, stream: str) -> Analysis | None:
    moisture = observed_share(batch, "moisture", stream, U_MOISTURE_FRACTION)
    protein = observed_share(batch, "protein", stream, U_SHARE_FRACTION)
    fat = observed_share(batch, "fat", stream, U_SHARE_FRACTION)
    if moisture is None and protein is None and fat is None:
        return None
    solids = complement(moisture, "solids by own analysis") if moisture is not None else None
    factors = [
        record.body["nitrogen_factor"]
        for record in observations_of(batch, "protein", stream)
        if record.body.get("nitrogen_factor")
    ]
    return Analysis(
        solids=solids if isinstance(solids, Quantity) else None,
        protein=protein,
        fat=fat,
        nitrogen_factor=factors[-1] if factors else None,
    )


def components_json(components: Components) -> dict[str, Any]:
    """Return each component's balance in the form of the interface.

    Args:
        components: What is known.
    """
    return {
        name: {
            "in_dry": views.quantity(balance.in_dry),
            "in_block": views.quantity(balance.in_block_fraction),
            "streams": {
                stream: {
                    "mass": views.quantity(balance.in_stream[stream]),
                    "recovery": views.quantity(balance.recovered[stream]),
                }
                for stream in STREAMS
            },
        }
        for name, balance in components.balances.items()
    }
