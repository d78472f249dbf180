# SPDX-License-Identifier: MIT
"""What the pages of the recipes show, from what the interface gives.

Pure presentation: imports only what is.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dashboards import formats
from dashboards.reader import Reader
from dashboards.recipe_words import measure, step_lines, stream_name
from dashboards.steps import HINTS, label
from dashboards.stove_view import instrument_line

Json = Mapping[str, Any]

STREAMS = (
    "dry", "soak_water", "soaked", "drained", "water", "mash", "pulp", "raw_milk", "starch",
    "milk", "coagulant_water", "curd", "whey", "block", "press_whey",
)  # fmt: skip
_ROLES = {"dose": "to weigh", "water": "to weigh", "dry": "to weigh", "expected": "expected"}
_FIELDS = {
    "water": "Water, all together",
    "boil": "At the boil",
    "target": "Milk when the coagulant goes in",
    "dose": "Coagulant",
    "stand": "Covered stand",
}
_UNIT_WORDS = {
    "kg/kg": "kg for each kg dry",
    "g/100 g dry": "g for 100 g dry",
    "g/100 g milk": "g for 100 g of milk",
}
NO_RANGE = "no published range is known"


def recipes(data: Json, reader: Reader) -> dict[str, Any]:
    """Return what the template of the list is given."""
    return {
        "recipes": [_line(one, reader) for one in data["recipes"]],
        "q": data["q"],
        "any_recipe": data["any"],
        "ingredients": data["ingredients"],
    }


def recipe(data: Json, reader: Reader) -> dict[str, Any]:
    """Return what the template of one recipe is given."""
    versions = data["versions"]
    shown = {"note": "", "coagulant": None, "self_set": False, "who": "", **data["recipe"]}
    instruments = [instrument_line(one, reader) for one in data.get("instruments") or []]
    return {
        "recipe": shown,
        "is_latest": shown["version"] == versions[-1]["version"],
        "latest": versions[-1]["version"],
        "ingredients": _ingredients(shown),
        "steps": [step_lines(step, reader) for step in shown.get("steps") or []],
        "block": measure(shown["nominal_block"], reader) if shown.get("nominal_block") else "",
        "versions": [_version(one, reader) for one in reversed(versions)],
        "asked": data["asked"],
        "pots": _pots(data["pots"], instruments),
        "pour": _pour(data["pour"], reader),
        "facts": {
            "recipe": {
                "id": shown["id"],
                "version": shown["version"],
                "name": shown["name"],
                "ingredients": [
                    {"name": one["name"], "share": one.get("share", 1.0)}
                    for one in shown["ingredients"]
                ],
                "milk_solids_fraction": shown.get("milk_solids_fraction"),
            },
            "units": _units(reader),
        },
        **reckoned(data, reader),
    }


def recipe_edit(data: Json, reader: Reader) -> dict[str, Any]:
    """Return what the template of the editor is given."""
    return {
        "recipe": data["recipe"],
        "recipe_id": data["recipe_id"],
        "ingredients": data["ingredients"],
        "coagulants": data["coagulants"],
        "kinds": [(kind, label(kind)) for kind in HINTS if kind != "note"],
        "streams": [(one, stream_name(one)) for one in STREAMS],
        "facts": {
            "recipe": data["recipe"],
            "recipe_id": data["recipe_id"],
            "units": _units(reader),
        },
    }


def _units(reader: Reader) -> dict[str, str]:
    return {"temperature": reader.units.temperature, "mass": reader.units.mass}


def reckoned(data: Json, reader: Reader) -> dict[str, Any]:
    """Return what the part that tells what a recipe comes to is given."""
    plan = data["plan"]
    scaled = plan["scaled"]
    return {
        "plan": plan,
        "dry_shown": scaled_mass(plan["dry"]["value"], reader) if plan["dry"] else "",
        "parts": _parts(scaled, plan["dose"], reader) if scaled else [],
        "cautions": [one for one in plan["cautions"] if one["kind"] != "refuse"],
        "refused": plan["refused"],
        "begin": [_begin(one, reader) for one in plan["starts"]],
        "cost_basis": scaled_mass(plan["cost"]["for_dry"]["value"], reader),
    }


def poured(data: Json, _reader: Reader) -> dict[str, Any]:
    """Return what the answer of a planned pour is given."""
    return {"poured": data["poured"], "asked": data["asked"]}


def _line(one: Json, reader: Reader) -> dict[str, Any]:
    return {
        "id": one["id"],
        "name": one["name"],
        "version": one["version"],
        "made_of": ", ".join(part["name"] for part in one["ingredients"]),
        "sets_by": "heat alone"
        if one.get("self_set")
        else (one.get("coagulant") or {}).get("name", ""),
        "at": reader.moment(one["recorded_at"]),
        "who": one.get("who") or "",
        "refused": one["refused"],
    }


def _ingredients(shown: Json) -> list[str]:
    total = sum(one.get("share", 1.0) for one in shown["ingredients"])
    several = len(shown["ingredients"]) > 1
    lines = []
    for one in shown["ingredients"]:
        share = f", {formats.share(one.get('share', 1.0) / total, 0)}" if several else ""
        lot = f", lot {one['lot']}" if one.get("lot") else ""
        lines.append(f"{one['name']}{share}{lot}")
    return lines


def _version(one: Json, reader: Reader) -> dict[str, Any]:
    return {
        "version": one["version"],
        "at": reader.moment(one["recorded_at"]),
        "who": one.get("who") or "",
        "changes": one["changes"],
        "first": one["version"] == 1,
    }


def _pots(pots: list[Json], instruments: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return the pots with the first that is free already chosen."""
    free = next((one["name"] for one in pots if not one.get("holds")), None)
    return [_pot(one, instruments) | {"chosen": one["name"] == free} for one in pots]


def _pot(one: Json, instruments: list[dict[str, Any]]) -> dict[str, Any]:
    """Return a pot as the start of a batch offers it, with what its instruments show now."""
    by_series = {found["series"]: found for found in instruments}
    seen = []
    for key, words in (("thermometer", "thermometer"), ("scale", "scale under it")):
        if series := one.get(key):
            shown = (by_series.get(series) or {}).get("shown") or "not heard yet"
            seen.append(f"{words} {series}, {shown}")
    return {
        "name": one["name"],
        "thermometer": one.get("thermometer") or "",
        "scale": one.get("scale") or "",
        "seen": "; ".join(seen) or "no instrument has its place at it",
        "holds": one.get("holds") or "",
    }


def _parts(scaled: Json, dose: Json | None, reader: Reader) -> list[dict[str, Any]]:
    rows = [
        {"name": one["name"], "mass": one["mass"], "role": "to weigh", "step": ""}
        for one in scaled["ingredients"]
    ]
    rows += [
        {
            "name": dose["name"]
            if dose and one["stream"] == "coagulant"
            else stream_name(one["stream"]),
            "mass": one["mass"],
            "role": _ROLES.get(one["role"], one["role"]),
            "step": label(one["kind"]),
        }
        for one in scaled["masses"]
    ]
    return [{**row, "shown": scaled_mass(row["mass"]["value"], reader)} for row in rows]


def scaled_mass(kg: float, reader: Reader) -> str:
    """Return a mass to weigh, to four digits, finer for what is light."""
    if reader.units.mass == "oz":
        return formats.mass(kg, reader.units)
    return f"{kg:.4g} kg" if kg >= 1.0 else f"{kg * 1000:.4g} g"


def _begin(one: Json, reader: Reader) -> dict[str, Any]:
    return {"ingredient": one["ingredient"], "rows": [_start(row, reader) for row in one["starts"]]}


def _start(one: Json, reader: Reader) -> dict[str, Any]:
    unit = one["unit"]
    degrees = unit == "degC"

    def text(value: float) -> str:
        shown = formats.to_shown(value, reader.units) if degrees else value
        return f"{round(shown, 1):g}"

    words = formats.degree(reader.units) if degrees else _UNIT_WORDS.get(unit, unit)
    low, high = one["low"], one["high"]
    span = NO_RANGE
    if low is not None:
        span = f"published: {text(low)}"
        span += f" to {text(high)} {words}" if high != low else f" {words}"
    return {
        "field": _FIELDS[one["field"]],
        "value": f"{text(one['value'])} {words}" if one["value"] is not None else "",
        "span": span,
        "text": "" if one["text"] == NO_RANGE else one["text"],
        "source": one["source"],
        "status": one["status"],
    }


def _pour(pour: Json, reader: Reader) -> dict[str, Any]:
    degc = pour["target_degc"]
    return {
        "applies": pour["applies"],
        "target": "" if degc is None else f"{formats.to_shown(degc, reader.units):g}",
        "milk": _in_field(pour["milk_kg"], reader, large=True),
        "slurry": _in_field(pour["slurry_kg"], reader, large=False),
        "degree": formats.degree(reader.units),
        "mass_units": ("lb", "oz") if reader.units.mass == "oz" else ("kg", "g"),
    }


def _in_field(kg: float | None, reader: Reader, *, large: bool) -> str:
    if kg is None:
        return ""
    pounds = kg / formats.KG_IN_A_POUND
    if reader.units.mass == "oz":
        return f"{pounds if large else pounds * 16:.4g}"
    return f"{kg if large else kg * 1000:.4g}"
