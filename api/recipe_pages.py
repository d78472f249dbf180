# SPDX-License-Identifier: MIT
"""What the pages of the recipes are given: the objects of the HTTP interface, gathered."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from api import views
from api.cautions import known_ingredients
from api.kitchen import Kitchen
from api.process.coagulant_table import coagulant_table
from api.process.ingredients import refusals
from api.recipe_plan import of_recipe, starts_json
from api.recipes import latest_recipes, stream_per_dry, versions_of
from api.routes.instruments import instruments
from collector.errors import ProcessError, RecordError, UnitError, UnknownRecordError
from collector.units import to_canonical

Json = dict[str, Any]
_MOST_OPEN = 50
_SEARCHED = ("name", "note")


def recipes_page(kitchen: Kitchen, *, words: str) -> Json:
    """Return what the list of recipes shows."""
    found = [one for one in latest_recipes(kitchen) if _matches(one, words)]
    found.sort(key=lambda one: one["recorded_at"], reverse=True)
    return {
        "recipes": [
            {**one, "refused": bool(refusals(part["name"] for part in one["ingredients"]))}
            for one in found
        ],
        "q": words,
        "any": bool(found) or bool(latest_recipes(kitchen)),
        "ingredients": _ingredients(kitchen),
    }


def recipe_page(
    kitchen: Kitchen, recipe_id: str, *, version: int | None, dry: str, unit: str
) -> Json:
    """Return what the page of one recipe shows.

    Args:
        kitchen: The open kitchen.
        recipe_id: Which one.
        version: Which of its versions; None for the latest.
        dry: For which dry mass, as it was typed; "" for the recipe's own.
        unit: Of that mass.

    Raises:
        UnknownRecordError: There is no such recipe or version.
    """
    versions = versions_of(kitchen, recipe_id)
    wanted = version or versions[-1]["version"]
    recipe = next((one for one in versions if one["version"] == wanted), None)
    if recipe is None:
        raise UnknownRecordError(
            f"There is no version {wanted} of {versions[-1]['name']!r}.",
            where="version",
            do=f"Look at one of the versions 1 to {len(versions)}.",
        )
    mass, fault = _asked_mass(dry, unit)
    try:
        plan = of_recipe(kitchen, recipe, dry=mass, recipe_id=recipe_id)
    except (RecordError, UnitError, ProcessError) as error:
        fault, plan = error.what, of_recipe(kitchen, recipe, dry=None, recipe_id=recipe_id)
    shown = {"value": dry, "unit": unit} if dry else _own_mass(recipe)
    return {
        "recipe": recipe,
        "versions": versions,
        "plan": plan,
        "asked": {**shown, "fault": fault},
        "pots": _pots(kitchen),
        "instruments": instruments(kitchen),
        "pour": _pour(recipe, plan),
    }


def edit_page(kitchen: Kitchen, recipe_id: str | None, *, ingredient: str) -> Json:
    """Return what the editor is given: a recipe to change, or one to begin with.

    Raises:
        UnknownRecordError: There is no such recipe.
    """
    if recipe_id is not None:
        recipe: Json = versions_of(kitchen, recipe_id)[-1]
    else:
        recipe = first_draft(ingredient.strip())
    return {
        "recipe": recipe,
        "recipe_id": recipe_id,
        "ingredients": _ingredients(kitchen),
        "coagulants": list(coagulant_table().substances),
    }


def first_draft(ingredient: str) -> Json:
    """Return a recipe to begin with; what nobody published is left for the maker to say.

    Args:
        ingredient: What it is made of; "" for nothing yet.
    """
    found = starts_json(ingredient) if ingredient else None
    known = {one["field"]: one for one in found["starts"]} if found else {}
    self_set = bool(found and found["self_set"])
    draft: Json = {
        "name": "",
        "ingredients": [{"name": ingredient}] if ingredient else [],
        "steps": list(_first_steps(known, self_set)),
        "self_set": self_set,
    }
    if found and found["coagulant"] and not self_set:
        draft["coagulant"] = {"name": found["coagulant"]}
        dose = known.get("dose") or {}
        if dose.get("value") is not None:
            draft["dose"] = {"value": dose["value"], "unit": dose["unit"]}
    return draft


def _first_steps(known: Mapping[str, Json], self_set: bool) -> list[Json]:
    def value(field: str) -> float | None:
        return (known.get(field) or {}).get("value")

    water = [{"stream": "water", "ratio": value("water")}] if value("water") else []
    steps: list[Json] = [{"kind": "soak"}, {"kind": "grind", "masses": water}, {"kind": "strain"}]
    steps.append({"kind": "heat"})
    target = value("target")
    if not self_set:
        boil: Json = {"kind": "boil"}
        if minutes := value("boil"):
            boil["hold"] = {
                "name": "boil",
                "below_boiling": {"value": 2.0, "unit": "K"},
                "least": {"value": minutes, "unit": "min"},
                "starts": "boil",
                "ends": "addition",
            }
        steps.append(boil)
    aim: Json = {}
    if target is not None:
        approach = "rising" if self_set else "falling"
        aim = {"target": {"value": target, "unit": "degC", "approach": approach, "tolerance": 2.0}}
    steps.append({"kind": "set" if self_set else "addition", **aim})
    covered: Json = {"kind": "cover"}
    if minutes := value("stand"):
        covered["hold"] = {
            "name": "covered hold",
            "low": {"value": 65.0, "unit": "degC"},
            "least": {"value": minutes, "unit": "min"},
            "starts": "cover",
            "ends": "ladle",
        }
    return [*steps, covered, {"kind": "ladle"}, {"kind": "press"}, {"kind": "chill"}]


def _matches(recipe: Json, words: str) -> bool:
    said = [str(recipe.get(key) or "") for key in _SEARCHED]
    said += [one["name"] for one in recipe["ingredients"]]
    said.append((recipe.get("coagulant") or {}).get("name", ""))
    whole = " ".join(said).casefold()
    return all(word in whole for word in words.casefold().split())


def _ingredients(kitchen: Kitchen) -> list[str]:
    names = [one["name"] for one in known_ingredients()]
    own = [name for name in kitchen.journal.latest_by("ingredient", "name") if name not in names]
    return [*names, *own]


def _asked_mass(dry: str, unit: str) -> tuple[Json | None, str]:
    """Return the dry mass that was asked for, and what is wrong with it."""
    if not dry.strip():
        return None, ""
    try:
        return {"value": float(dry.replace(",", ".")), "unit": unit}, ""
    except ValueError:
        return None, f"The dry mass {dry!r} is not a number; write it like 600."


def _own_mass(recipe: Json) -> Json:
    own = recipe.get("dry")
    return (
        {"value": f"{own['value']:g}", "unit": own["unit"]} if own else {"value": "", "unit": "g"}
    )


def _pots(kitchen: Kitchen) -> list[Json]:
    """Return the pots, each with the open batch that it holds."""
    holds = {
        batch.body.get("pot"): batch.name
        for batch in kitchen.journal.batches(state="open", limit=_MOST_OPEN)
        if batch.body.get("pot")
    }
    latest = kitchen.journal.latest_by("pot", "name").values()
    return [{**views.listed(one), "holds": holds.get(one.body["name"])} for one in latest]


def _pour(recipe: Json, plan: Json) -> Json:
    """Return what is known of the pour before it is planned [degC, kg]."""
    steps = [s for s in recipe.get("steps") or [] if s["kind"] == "addition" and s.get("target")]
    target = steps[0]["target"] if steps else None
    dry_kg = (plan["dry"] or {}).get("value")
    milk = stream_per_dry(recipe, "milk")
    parts = [stream_per_dry(recipe, one) for one in ("coagulant", "coagulant_water")]
    slurry = sum(one for one in parts if one) if parts[1] else None
    return {
        "applies": not recipe.get("self_set"),
        "target_degc": to_canonical(target["value"], target["unit"], "temperature")
        if target
        else None,
        "milk_kg": milk * dry_kg if milk and dry_kg else None,
        "slurry_kg": slurry * dry_kg if slurry and dry_kg else None,
    }
