# SPDX-License-Identifier: MIT
"""The table of coagulants: what they are and how published processes dose them.

Parsing is pure; `coagulant_table` reads the packaged table once. Imports only the ground and what
is pure.
"""

from __future__ import annotations

import functools
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from api.process.ingredient_rows import Remark, Status
from collector.errors import ProcessError

Span = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Substance:
    """One coagulant.

    Attributes:
        name: Its name here.
        aliases: Other names.
        formula: What the molar mass is of.
        molar_mass_g_per_mol: Molar mass [g/mol].
        cation: "Ca", "Mg", or "" for an acid.
        cations: Moles of that cation in one mole [-].
        needs_strength: It is a brine whose share of the salt must be stated.
        additive: Where rules on additives name it; None if not known here.
    """

    name: str
    aliases: tuple[str, ...]
    formula: str
    molar_mass_g_per_mol: float
    cation: str
    cations: int
    needs_strength: bool
    additive: Remark | None


@dataclass(frozen=True, slots=True)
class UsualRange:
    """What is usual with soy: a hint, no limit.

    Attributes:
        substance: Which coagulant.
        of_milk_g_per_100_g: Dose by the milk [g/100 g].
        mmol_per_l: Dose by the milk [mmol/L].
        of_dry_g_per_100_g: Dose by the dry beans [g/100 g].
        addition_degc: Milk temperature at the addition [degC].
        stand_min: Standing time [min].
        curd: What the curd is like.
        source: Where it comes from.
        status: How it is known.
    """

    substance: str
    of_milk_g_per_100_g: Span
    mmol_per_l: Span
    of_dry_g_per_100_g: Span
    addition_degc: Span
    stand_min: Span
    curd: str
    source: str
    status: Status


@dataclass(frozen=True, slots=True)
class Practice:
    """What one publication did.

    Attributes:
        material: The ingredient.
        substance: The coagulant; "" if it is none of the table.
        text: What was done.
        source: The publication.
        status: How it is known.
    """

    material: str
    substance: str
    text: str
    source: str
    status: Status


@dataclass(frozen=True, slots=True)
class CoagulantTable:
    """Everything in the table.

    Attributes:
        substances: By name.
        ranges: By substance.
        practices: Publication by publication.
        solubility_degc: Temperatures of the solubility of gypsum [degC].
        solubility_mmol_per_kg: Calcium dissolved [mmol/kg of water].
        solubility_u_fraction: Relative standard uncertainty [-].
        solubility: Where the solubility comes from.
    """

    substances: Mapping[str, Substance]
    ranges: Mapping[str, UsualRange]
    practices: tuple[Practice, ...]
    solubility_degc: tuple[float, ...]
    solubility_mmol_per_kg: tuple[float, ...]
    solubility_u_fraction: float
    solubility: Remark


@functools.cache
def coagulant_table() -> CoagulantTable:
    """Return the packaged table, read once.

    Returns:
        The table; molar masses [g/mol], doses [g/100 g, mmol/L], temperatures [degC].

    Source:
        Each figure names its own.
    """
    text = files("api.process").joinpath("data/coagulants.toml").read_text(encoding="utf-8")
    return parse_coagulant_table(text)


def parse_coagulant_table(text: str) -> CoagulantTable:
    """Return a table of coagulants from its text.

    Args:
        text: TOML.

    Returns:
        The table; molar masses [g/mol], doses [g/100 g, mmol/L], temperatures [degC].

    Raises:
        ProcessError: The text is no TOML, a key is missing, or a source or status isn't known.

    Source:
        Each figure names its own.
    """
    try:
        return _table(tomllib.loads(text))
    except (tomllib.TOMLDecodeError, KeyError, ValueError, TypeError) as error:
        raise ProcessError(
            f"The table of coagulants can't be read: {error!r}.",
            where="coagulants.toml",
            do="Mend the entry; each needs a source that is listed and a status.",
        ) from error


def _table(data: dict[str, Any]) -> CoagulantTable:
    sources: dict[str, str] = data["source"]
    solubility = data["gypsum_solubility"]
    substances = [_substance(entry, sources) for entry in data["substance"]]
    return CoagulantTable(
        substances={s.name: s for s in substances},
        ranges={entry["substance"]: _range(entry, sources) for entry in data["range"]},
        practices=tuple(
            Practice(e["material"], e["substance"], e["text"], *_cited(e, sources))
            for e in data["practice"]
        ),
        solubility_degc=tuple(map(float, solubility["temperature_degc"])),
        solubility_mmol_per_kg=tuple(map(float, solubility["mmol_per_kg"])),
        solubility_u_fraction=float(solubility["u_fraction"]),
        solubility=Remark("gypsum", "solubility in pure water", *_cited(solubility, sources)),
    )


def _cited(entry: dict[str, Any], sources: dict[str, str]) -> tuple[str, Status]:
    return sources[entry["source"]], Status(entry["status"])


def _substance(entry: dict[str, Any], sources: dict[str, str]) -> Substance:
    additive = None
    if "additive" in entry:
        source, status = sources[entry["additive_source"]], Status(entry["additive_status"])
        additive = Remark(entry["name"], entry["additive"], source, status)
    return Substance(
        name=entry["name"],
        aliases=tuple(entry["aliases"]),
        formula=entry["formula"],
        molar_mass_g_per_mol=float(entry["molar_mass_g_per_mol"]),
        cation=entry["cation"],
        cations=int(entry["cations"]),
        needs_strength=entry.get("needs_strength", False),
        additive=additive,
    )


def _range(entry: dict[str, Any], sources: dict[str, str]) -> UsualRange:
    def span(key: str) -> Span:
        low, high = entry[key]
        return float(low), float(high)

    return UsualRange(
        entry["substance"],
        span("of_milk_g_per_100_g"),
        span("mmol_per_l"),
        span("of_dry_g_per_100_g"),
        span("addition_degc"),
        span("stand_min"),
        entry["curd"],
        *_cited(entry, sources),
    )
