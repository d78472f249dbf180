# SPDX-License-Identifier: MIT
"""A recipe scaled to the dry mass in hand: from its JSON into the calculation, and back."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from api import views
from api.process.quantities import Quantity
from api.process.scaling import Amount, ratio_of, scaled
from api.process.weighings import default_weighing_u_kg
from collector.units import to_canonical


def scaled_recipe(recipe: Mapping[str, Any], dry_kg: float) -> dict[str, Any]:
    """Return every dose, water and expected mass of a recipe for a dry mass.

    Args:
        recipe: One version, as it is kept.
        dry_kg: Dry ingredient in hand [kg].

    Raises:
        ProcessError: The dry mass or a mass of the recipe is not above 0.
    """
    u_kg = default_weighing_u_kg(dry_kg)
    dry = Quantity(dry_kg, "kg", u_kg, "dry mass in hand", ("assumed: a kitchen scale",))
    found = scaled([amount for _, amount in _amounts(recipe)], dry)
    kinds = [kind for kind, _ in _amounts(recipe)]
    return {
        "version": recipe.get("version"),
        "dry": views.quantity(dry),
        "ingredients": [
            {"name": name, "share": share, "mass": views.quantity(_share(dry, share))}
            for name, share in _shares(recipe)
        ],
        "masses": [
            {
                "step": one.where,
                "kind": kind,
                "stream": one.stream,
                "role": str(one.role),
                "ratio": one.ratio,
                "mass": views.quantity(one.mass),
            }
            for kind, one in zip(kinds, found, strict=True)
        ],
        "notes": [] if found else ["no step of this recipe states a mass or a ratio"],
    }


def _amounts(recipe: Mapping[str, Any]) -> Iterator[tuple[str, Amount]]:
    dry = recipe.get("dry")
    for_dry_kg = to_canonical(dry["value"], dry["unit"], "mass") if dry else 0.0
    for number, step in enumerate(recipe.get("steps") or [], 1):
        where = f"step {number}, {step['kind']}"
        if step.get("mass_ratio") and step.get("stream"):
            yield step["kind"], Amount(step["stream"], step["mass_ratio"], where)
        for said in step.get("masses") or []:
            ratio = said.get("ratio")
            if ratio is None:
                mass_kg = to_canonical(said["mass"]["value"], said["mass"]["unit"], "mass")
                ratio = ratio_of(mass_kg, for_dry_kg, f"{where}, {said['stream']}")
            yield step["kind"], Amount(said["stream"], ratio, where)


def _shares(recipe: Mapping[str, Any]) -> list[tuple[str, float]]:
    named = recipe.get("ingredients") or []
    total = sum(one.get("share", 1.0) for one in named)
    return [(one["name"], one.get("share", 1.0) / total) for one in named]


def _share(dry: Quantity, share: float) -> Quantity:
    return Quantity(share * dry.value, "kg", share * dry.u, "share of the dry mass", dry.sources)
