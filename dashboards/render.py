# SPDX-License-Identifier: MIT
"""The pages, written from what the interface gives.

`render("stove", data)` returns the whole page as HTML. Pure presentation: no data access, no clock;
the data holds the same objects that the HTTP interface gives as JSON. What each page needs:

every page  kitchen {name, zone} · now · perhaps units {temperature, mass}
stove       batches [{batch, curve, targets, bands, holds, proposals, offers, trouble}] ·
            more_open · instruments · pots · recipes · ingredients · routes · alarms · standing ·
            local · questions · position
batches     batches · query {q, state, pot, recipe, outcome} · next · any · pots · recipes ·
            questions
record      batch · curve · targets · bands · analysis · weighings · observations · gone ·
            proposals · instruments · pots · position
alarms      alarms · changes · rate
compare     address {batch, align, temperature, unit, q, from, to} · axis_degc · span · faults ·
            found · suggested · any · compared · band · ways · position
instruments instruments [{…, corrected, health, curve, bound, at_pots, due, in_force, history,
            places}] · open_batches · pots · saved · base_url · position
check       instrument · kinds · kind · boiling · recent [[ms, value, quality]] · position
recipes     recipes · q · any · ingredients
recipe      recipe · versions · plan · asked {value, unit, fault} · pots · instruments · pour
recipe_edit recipe · recipe_id · ingredients · coagulants
set_up      settings · boiling_point · walk · steps · instruments · sources · pots · routes ·
            local · data · phone · zones · first
trial       trial, as GET /v1/batches/{id}/trial gives it
pair        nothing more
problem     problem {title, detail, where, do}

A `curve` is what `GET /v1/readings?time=ms` gives; a band is {hold, verdict, low, high, from, to}
in degC; a target is {kind, value_degc, approach, tolerance_k, after}. `plan` is what
`POST /v1/plan/recipe` answers. Parts that a page asks for anew are rendered by their own names:
parts/recipe_reckoned (plan), parts/recipe_poured (poured, asked).
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from dashboards import facts, formats, origins
from dashboards.alarm_rows import page as alarm_page
from dashboards.assets import has_uplot
from dashboards.check_view import check
from dashboards.compare_view import compare
from dashboards.instrument_view import instruments
from dashboards.marked import marked_by, proposal_line
from dashboards.reader import Reader, reader_of
from dashboards.recipe_view import poured, recipe, recipe_edit, recipes, reckoned
from dashboards.record_view import record
from dashboards.setup_view import set_up
from dashboards.steps import HINTS, label
from dashboards.stove_view import card, instrument_line
from dashboards.trial_view import trial

_STATES = (
    ("", "any"),
    ("open", "open"),
    ("planned", "planned"),
    ("soaking", "soaking"),
    ("running", "running"),
    ("chilling", "chilling"),
    ("closed", "closed"),
)
_OUTCOMES = (
    ("", "any"), ("set", "set"), ("weak", "weak"), ("did not set", "did not set"),
    ("abandoned", "abandoned"), ("none", "not recorded"),
)  # fmt: skip
_STREAMS = (
    "dry", "soak_water", "soaked", "drained", "water", "mash", "pulp", "raw_milk", "starch",
    "milk", "coagulant", "coagulant_water", "curd", "whey", "evaporation", "block", "press_whey",
)  # fmt: skip
_MASS_UNITS = ("g", "kg", "oz", "lb")


def render(page: str, data: Mapping[str, Any]) -> str:
    """Return one page as HTML.

    Args:
        page: One of those above.
        data: As the module's docstring lists for that page.
    """
    reader = reader_of(data)
    shown = {
        "page": page,
        "kitchen": data["kitchen"],
        "reader": reader,
        "has_uplot": has_uplot(),
        "uses_curves": page in ("stove", "record"),
        "hints": HINTS,
        "label": label,
        "marked_by": marked_by,
        "quantity": lambda result: formats.quantity(result, reader.units),
        "sources": origins.plain,
        **_CONTENTS[page](data, reader),
    }
    return environment().get_template(f"{page}.html").render(shown)


@functools.cache
def environment() -> Environment:
    """Return the templates, read once: escaping, and strict about names that aren't there."""
    made = Environment(
        loader=PackageLoader("dashboards", "templates"),
        autoescape=select_autoescape(["html"]),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["degrees"] = formats.with_degree_signs
    made.filters["capitalize_first"] = formats.capitalized
    return made


def _stove(data: Mapping[str, Any], reader: Reader) -> dict[str, Any]:
    instruments = [instrument_line(one, reader) for one in data.get("instruments") or []]
    return {
        "cards": [card(item, data, reader) for item in data["batches"]],
        "instruments": instruments,
        "pots": data.get("pots") or [],
        "recipes": data.get("recipes") or [],
        "ingredients": data.get("ingredients") or [],
        "routes": data.get("routes") or [],
        "standing": data.get("standing") or [],
        "questions": data.get("questions") or [],
        "local": bool(data.get("local")),
        "more_open": bool(data.get("more_open")),
        "facts": facts.stove(data, reader),
    }


def _batches(data: Mapping[str, Any], _reader: Reader) -> dict[str, Any]:
    query = {"q": "", "state": "", "pot": "", "recipe": "", "outcome": ""}
    query |= data.get("query") or {}
    following = {key: value for key, value in query.items() if value}
    if data.get("next"):
        following["after"] = data["next"]
    return {
        "batches": data["batches"],
        "query": query,
        "searched": any(query.values()),
        "any": data.get("any", bool(data["batches"])),
        "states": _STATES,
        "outcomes": _OUTCOMES,
        "pots": data.get("pots") or [],
        "recipes": data.get("recipes") or [],
        "questions": data.get("questions") or [],
        "next": data.get("next"),
        "next_query": urlencode(following),
    }


def _record(data: Mapping[str, Any], reader: Reader) -> dict[str, Any]:
    scales = [one["series"] for one in data.get("instruments") or [] if one["kind"] == "scale"]
    return {
        "batch": data["batch"],
        "pots": data.get("pots") or [],
        "streams": _STREAMS,
        "scales": scales,
        "mass_units": _MASS_UNITS,
        "proposals": [proposal_line(one, reader) for one in data.get("proposals") or []],
        "preferred_mass": reader.units.mass,
        "facts": facts.record(data, reader),
        "sources": origins.Origins(data, reader).grouped,
        **record(data, reader),
    }


def _pair(_data: Mapping[str, Any], _reader: Reader) -> dict[str, Any]:
    return {}


def _problem(data: Mapping[str, Any], _reader: Reader) -> dict[str, Any]:
    said = data["problem"]
    return {"problem": {key: said.get(key, "") for key in ("title", "detail", "where", "do")}}


_CONTENTS = {
    "stove": _stove,
    "batches": _batches,
    "record": _record,
    "trial": trial,
    "alarms": alarm_page,
    "compare": compare,
    "instruments": instruments,
    "check": check,
    "recipes": recipes,
    "recipe": recipe,
    "recipe_edit": recipe_edit,
    "parts/recipe_reckoned": reckoned,
    "parts/recipe_poured": poured,
    "set_up": set_up,
    "pair": _pair,
    "problem": _problem,
}
