# SPDX-License-Identifier: MIT
"""Protein, fat, carbohydrate and energy of a hundred grams of block, where sourced."""

from __future__ import annotations

from typing import Any

from api import views
from api.analysis.components import Components
from api.process.energy_table import energy_table
from api.process.nutrition import Nutrient, nutrition_of
from api.process.quantities import NotShown, Quantity, Result

FACTORS = "EU"
_FIGURES = ("protein", "fat", "carbohydrate", "water", "energy_kj", "energy_kcal")


def nutrition_section(components: Components) -> dict[str, Any]:
    """Return what a hundred grams of block hold.

    Args:
        components: What is known of the batch's solids, protein and fat.
    """
    own = components.analyses.get("block")

    def share(component: str) -> Result:
        measured = own.of(component) if own is not None else None
        return measured or components.balances[component].in_block_fraction

    found = nutrition_of(
        share("solids"),
        share("protein"),
        share("fat"),
        energy_table()[FACTORS],
        is_estimate=components.is_estimate("block"),
    )
    shown = {key: _json(getattr(found, key)) for key in _FIGURES}
    if isinstance(found.protein.value, NotShown):
        return {**views.result(found.protein.value), **shown, "estimate": None, "notes": []}
    return {**shown, "estimate": found.is_estimate, "notes": list(found.notes)}


def _json(figure: Nutrient) -> dict[str, Any]:
    shown = views.result(figure.value)
    if isinstance(figure.value, Quantity) and figure.interval is not None:
        shown["interval"] = list(figure.interval)
    return shown
