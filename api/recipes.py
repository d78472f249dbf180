# SPDX-License-Identifier: MIT
"""Recipes in their versions: what is refused, what is kept, what changed from one to the next."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection

from api.entering import positive_mass
from api.holds import hold_spec
from api.kitchen import Kitchen
from api.list_schemas import RecipeBody
from api.process.dose_units import DoseUnit, coagulant_per_dry
from api.process.scaling import ratio_of
from api.recipe_changes import changes
from api.recipe_schemas import FORM, FORM_VERSION, RecipeFile
from api.records.chain import KITCHEN, Entry
from api.times import format_ms
from api.watch.limit_rules import step_limit
from collector.errors import (
    CurdwrightError,
    RecordConflictError,
    RecordError,
    UnitError,
    UnknownRecordError,
)
from collector.units import to_canonical

Json = dict[str, Any]
_NOT_OF_THE_RECIPE = frozenset({"id", "sent_at", "who", "replaces_version"})


def latest_recipes(kitchen: Kitchen) -> list[Json]:
    """Return every recipe in its latest version."""
    return [_shown(e) for e in kitchen.journal.latest_by("recipe", "recipe_id").values()]


def versions_of(kitchen: Kitchen, recipe_id: str) -> list[Json]:
    """Return all versions of a recipe, the first first, each with what changed in it.

    Raises:
        UnknownRecordError: There is no such recipe.
    """
    entries = _entries(kitchen, recipe_id)
    if not entries:
        raise UnknownRecordError(
            f"There is no recipe {recipe_id!r}.", do="Look at GET /v1/recipes."
        )
    before: list[Entry | None] = [None, *entries[:-1]]
    return [
        {**_shown(entry), "changes": changes(old.body if old else None, entry.body)}
        for old, entry in zip(before, entries, strict=True)
    ]


def keep_recipe(kitchen: Kitchen, recipe_id: str | None, body: RecipeBody) -> Json:
    """Keep a recipe, or its next version.

    Args:
        kitchen: The open kitchen.
        recipe_id: Which one; None for a new one.
        body: What it says.

    Raises:
        UnknownRecordError: There is no such recipe.
        RecordConflictError: Another version was kept since the one that this was made from.
        RecordError: Something in it can't be.
        UnitError: A unit is of the wrong kind.
    """
    made = recipe_id or str(body.id or uuid.uuid4())
    known = 0 if recipe_id is None else len(versions_of(kitchen, recipe_id))
    fields = {
        **recipe_fields(body),
        "recipe_id": made,
        "version": known + 1,
        "said": body.said(),
    }

    def allowed(connection: Connection) -> None:
        found = [e for e in kitchen.journal.chains.read(KITCHEN, connection) if _is(e, made)]
        wanted = body.replaces_version if body.replaces_version is not None else known
        if len(found) != known or (known and known != wanted):
            latest = found[-1]
            by = f" by {latest.who}" if latest.who else ""
            raise RecordConflictError(
                f"Version {latest.body['version']} of {latest.body['name']!r} was saved meanwhile"
                f"{by}; this was made from version {wanted}.",
                where="version",
                do="Look at that version, then save yours as the next one.",
            )

    entry, _ = kitchen.journal.chains.append(
        KITCHEN,
        "recipe",
        fields,
        at=format_ms(kitchen.now_ms()),
        who=body.who or "",
        record_id=str(body.id) if body.id else None,
        before=allowed,
    )
    return _shown(entry)


def recipe_fields(body: RecipeBody) -> Json:
    """Return a recipe as it is kept: checked, its dose brought to the dry mass.

    Raises:
        RecordError: Something in it can't be; `where` names the step or the field.
        UnitError: A unit is of the wrong kind.
        ProcessError: A dose can't be brought to the dry mass.
    """
    check_recipe(body)
    fields = body.model_dump(exclude=set(_NOT_OF_THE_RECIPE), exclude_none=True)
    return _with_dose(fields)


def milk_per_dry(recipe: Mapping[str, Any]) -> float | None:
    """Return the milk that a recipe expects for each kilogram dry, None if it says none [kg/kg]."""
    return stream_per_dry(recipe, "milk")


def stream_per_dry(recipe: Mapping[str, Any], stream: str) -> float | None:
    """Return what a recipe says of a stream for each kilogram dry, None if nothing [kg/kg]."""
    dry = recipe.get("dry")
    for number, step in enumerate(recipe.get("steps") or [], 1):
        if step.get("stream") == stream and step.get("mass_ratio"):
            return float(step["mass_ratio"])
        for said in step.get("masses") or []:
            if said["stream"] != stream:
                continue
            if said.get("ratio") is not None:
                return float(said["ratio"])
            if dry:
                mass_kg = to_canonical(said["mass"]["value"], said["mass"]["unit"], "mass")
                dry_kg = to_canonical(dry["value"], dry["unit"], "mass")
                return ratio_of(mass_kg, dry_kg, f"step {number}, {stream}")
    return None


def check_recipe(body: RecipeBody) -> None:
    """Refuse a recipe with a unit of the wrong kind, or a mass that belongs to no dry mass.

    Raises:
        RecordError: Something in it can't be; `where` names the step or the field.
        UnitError: A unit is of the wrong kind.
    """
    for mass, where in ((body.dry, "dry"), (body.nominal_block, "nominal_block")):
        with _at(where):
            positive_mass(mass, where)
    for number, step in enumerate(body.steps, 1):
        where = f"step {number}, {step.kind}"
        if step.hold:
            with _at(f"{where}, hold"):
                hold_spec(step.hold.model_dump())
        if step.target:
            with _at(f"{where}, target"):
                to_canonical(step.target.value, step.target.unit, "temperature")
        if step.limit:
            with _at(f"{where}, limit"):
                step_limit(step.limit.model_dump(), number, step.kind, 0.0)
        with _at(f"{where}, press"):
            positive_mass(step.press_mass, where)
            area = step.press_area
            if area and not to_canonical(area.value, area.unit, "area") > 0.0:
                raise RecordError(
                    "The area of the curd is not above 0.",
                    where=where,
                    do="Give the area inside the cloth, above 0.",
                )
        for amount in step.masses:
            with _at(f"{where}, {amount.stream}"):
                positive_mass(amount.mass, where)
            if amount.mass is not None and body.dry is None:
                raise RecordError(
                    f"A mass of {amount.stream} is given, but not for which dry mass.",
                    where=where,
                    do="Give the recipe's dry mass, or a ratio to it in place of the mass.",
                )


def recipe_file(recipe: Mapping[str, Any]) -> Json:
    """Return a version of a recipe as a file, without the lots of this kitchen."""
    taken = {key: recipe[key] for key in ("id", "version", "recorded_at") if key in recipe}
    kept = {key: value for key, value in recipe.items() if key in RecipeBody.model_fields}
    for name in (*_NOT_OF_THE_RECIPE, "who"):
        kept.pop(name, None)
    kept["ingredients"] = [_without_lot(one) for one in kept["ingredients"]]
    if kept.get("coagulant"):
        kept["coagulant"] = _without_lot(kept["coagulant"])
    return {"form": FORM, "form_version": FORM_VERSION, "recipe": kept, "taken_from": taken}


def recipe_from_file(file: RecipeFile) -> RecipeBody:
    """Return the recipe of a file, as a new one of this kitchen."""
    said = file.recipe
    plain = [one.model_copy(update={"lot": None}) for one in said.ingredients]
    salt = said.coagulant.model_copy(update={"lot": None}) if said.coagulant else None
    own = {"id": file.id, "who": file.who, "sent_at": file.sent_at, "replaces_version": None}
    return said.model_copy(update={**own, "ingredients": plain, "coagulant": salt})


def _without_lot(named: Mapping[str, Any]) -> Json:
    return {key: value for key, value in named.items() if key != "lot"}


def _with_dose(fields: Json) -> Json:
    """Return a recipe whose stated dose is also the mass of the coagulant at its addition."""
    dose, salt = fields.get("dose"), fields.get("coagulant")
    if dose is None:
        return fields
    if salt is None:
        raise RecordError(
            f"A dose of {dose['value']:g} {dose['unit']} is given, but of no coagulant.",
            where="coagulant",
            do="Name the coagulant, or leave the dose out.",
        )
    steps = [dict(step) for step in fields["steps"]]
    addition = next((step for step in steps if step["kind"] == "addition"), None)
    if addition is None:
        raise RecordError(
            "A dose is given, but no step is the addition.",
            where="steps",
            do="Add the step addition, or leave the dose out.",
        )
    ratio = coagulant_per_dry(
        salt["name"],
        dose["value"],
        DoseUnit(dose["unit"]),
        milk_per_dry=milk_per_dry(fields),
        strength_fraction=salt.get("strength_fraction"),
    )
    others = [one for one in addition.get("masses") or [] if one["stream"] != "coagulant"]
    addition["masses"] = [{"stream": "coagulant", "ratio": ratio}, *others]
    return {**fields, "steps": steps}


@contextmanager
def _at(where: str) -> Iterator[None]:
    """Let an error say where in the recipe it is, if it doesn't yet."""
    try:
        yield
    except RecordError as error:
        if error.where == where:
            raise
        raise RecordError(error.what, where=where, do=error.do) from error
    except UnitError as error:
        raise UnitError(error.what, where=where, do=error.do) from error
    except CurdwrightError as error:
        raise RecordError(error.what, where=where, do=error.do) from error


def _entries(kitchen: Kitchen, recipe_id: str) -> list[Entry]:
    return [e for e in kitchen.journal.kitchen("recipe") if e.body["recipe_id"] == recipe_id]


def _is(entry: Entry, recipe_id: str) -> bool:
    return entry.kind == "recipe" and entry.body["recipe_id"] == recipe_id


def _shown(entry: Entry) -> Json:
    kept = {key: value for key, value in entry.body.items() if key not in ("said", "recipe_id")}
    return {"id": entry.body["recipe_id"], **kept, "recorded_at": entry.at, "who": entry.who}
