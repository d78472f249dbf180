# SPDX-License-Identifier: MIT
"""Where to begin with an ingredient, each start with its published range or that none is known.

A start is no limit and decides no verdict. Parsing is pure; `start_table` reads the packaged table
once. Imports only the ground and what is pure.
"""

from __future__ import annotations

import functools
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from api.process.coagulant import find_substance
from api.process.coagulant_table import Span, UsualRange, coagulant_table
from api.process.ingredient_names import find
from api.process.ingredient_rows import Ingredient, Status
from collector.errors import ProcessError

FIELDS = ("water", "boil", "target", "dose", "stand")
NO_RANGE = "no published range is known"


@dataclass(frozen=True, slots=True)
class Start:
    """Where to begin with one figure of a recipe.

    Attributes:
        field: "water", "boil", "target", "dose" or "stand".
        value: To begin with; None where nothing is known to begin with [unit].
        unit: Of value and span.
        span: The published range; None where none is known [unit].
        text: What was done.
        source: Where it comes from; "" for what is not known.
        status: How it is known; None for what is not known.
    """

    field: str
    value: float | None
    unit: str
    span: Span | None
    text: str
    source: str = ""
    status: Status | None = None


@dataclass(frozen=True, slots=True)
class Starts:
    """Where to begin with an ingredient.

    Attributes:
        ingredient: As the maker calls it.
        coagulant: Which one to begin with; "" where none is known.
        self_set: It is said to curdle by heat alone.
        starts: One for each field, in the order of `FIELDS`.
    """

    ingredient: str
    coagulant: str
    self_set: bool
    starts: tuple[Start, ...]


def starts_of(ingredient: str, coagulant: str | None = None) -> Starts:
    """Return where to begin with an ingredient.

    What is published of one ingredient is never lent to another; where nothing is published, what
    is common with any seed is given and says so, or nothing.

    Args:
        ingredient: As the maker writes it.
        coagulant: Another coagulant than the usual one; None takes that.

    Returns:
        Starts [kg/kg, min, degC, g/100 g], each with source and status.

    Source:
        The packaged tables; each start names its own.

    Example:
        >>> starts_of("sesame").starts[2].text
        'no published range is known'
        >>> starts_of("soybean").starts[2].span
        (70.0, 85.0)
    """
    known = find(ingredient)
    own = start_table().ingredients.get(known.name, {}) if known is not None else {}
    chosen = coagulant or str(own.get("coagulant", ""))
    found: dict[str, Start] = dict(start_table().usual)
    if known is not None:
        found |= _of_cook_through(known)
    found |= own.get("starts", {})
    usual = _range_of(chosen) if known is not None and known.name == "soybean" else None
    if usual is not None:
        found |= _of_range(usual)
    elif coagulant and coagulant != own.get("coagulant"):
        found.pop("dose", None)  # a dose is of its own coagulant alone
    missing = {name: Start(name, None, "", None, NO_RANGE) for name in FIELDS if name not in found}
    return Starts(
        ingredient=ingredient,
        coagulant=chosen,
        self_set=bool(own.get("self_set", False)),
        starts=tuple((found | missing)[name] for name in FIELDS),
    )


@dataclass(frozen=True, slots=True)
class StartTable:
    """Everything in the table.

    Attributes:
        usual: What is common with any seed, by field.
        ingredients: By name: "coagulant", "self_set" and "starts" by field.
    """

    usual: Mapping[str, Start]
    ingredients: Mapping[str, Mapping[str, Any]]


@functools.cache
def start_table() -> StartTable:
    """Return the packaged table, read once.

    Returns:
        The table; starts [kg/kg, min, degC, g/100 g].

    Source:
        Each start names its own.
    """
    text = files("api.process").joinpath("data/starts.toml").read_text(encoding="utf-8")
    return parse_start_table(text)


def parse_start_table(text: str) -> StartTable:
    """Return a table of starts from its text.

    Args:
        text: TOML.

    Returns:
        The table; starts [kg/kg, min, degC, g/100 g].

    Raises:
        ProcessError: The text is no TOML, a key is missing, or a source, a status, a field or an
            ingredient isn't known.

    Source:
        Each start names its own.
    """
    try:
        data = tomllib.loads(text)
        sources: dict[str, str] = data["source"]
        return StartTable(
            usual={entry["field"]: _start(entry, sources) for entry in data.get("usual", [])},
            ingredients=dict(_ingredient(entry, sources) for entry in data["ingredient"]),
        )
    except (tomllib.TOMLDecodeError, KeyError, ValueError, TypeError) as error:
        raise ProcessError(
            f"The table of starts can't be read: {error!r}.",
            where="starts.toml",
            do="Mend the entry; each needs a source that is listed, a status and a known field.",
        ) from error


def _ingredient(entry: Mapping[str, Any], sources: Mapping[str, str]) -> tuple[str, dict[str, Any]]:
    known = find(entry["name"])
    if known is None:
        raise KeyError(entry["name"])
    return known.name, {
        "coagulant": entry.get("coagulant", ""),
        "self_set": entry.get("self_set", False),
        "starts": {one["field"]: _start(one, sources) for one in entry.get("start", [])},
    }


def _start(entry: Mapping[str, Any], sources: Mapping[str, str]) -> Start:
    if entry["field"] not in FIELDS:
        raise KeyError(entry["field"])
    has_span = "low" in entry
    return Start(
        entry["field"],
        float(entry["value"]) if "value" in entry else None,
        entry.get("unit", ""),
        (float(entry["low"]), float(entry["high"])) if has_span else None,
        entry["text"],
        sources[entry["source"]],
        Status(entry["status"]),
    )


def _of_cook_through(known: Ingredient) -> dict[str, Start]:
    """Return the least boil that the source of a cook-through caution names."""
    for hazard in known.hazards:
        if hazard.least_boil_s is not None:
            least_min = hazard.least_boil_s / 60.0
            text = f"{hazard.hazard}: {hazard.control}"
            one = Start("boil", least_min, "min", None, text, hazard.source, hazard.status)
            return {"boil": one}
    return {}


def _range_of(coagulant: str) -> UsualRange | None:
    substance = find_substance(coagulant)
    return coagulant_table().ranges.get(substance.name) if substance is not None else None


def _of_range(usual: UsualRange) -> dict[str, Start]:
    """Return the middle of each of soy's ranges as a start."""
    spans = {
        "target": (usual.addition_degc, "degC"),
        "dose": (usual.of_dry_g_per_100_g, "g/100 g dry"),
        "stand": (usual.stand_min, "min"),
    }
    return {
        name: Start(
            name,
            round((span[0] + span[1]) / 2.0, 1),
            unit,
            span,
            f"usual with {usual.substance} in soy: {usual.curd}",
            usual.source,
            usual.status,
        )
        for name, (span, unit) in spans.items()
    }
