# SPDX-License-Identifier: MIT
"""What the table of ingredients holds, each figure with its source and how it is known.

Pure: imports only what is pure.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping
from dataclasses import dataclass

from api.process.composition import Composition


class Status(enum.StrEnum):
    """How a figure is known."""

    SEEN = "seen"
    SECOND_HAND = "second hand"
    FROM_MEMORY = "from memory"
    COMMON_PRACTICE = "common practice"
    COMPUTED = "computed"


@dataclass(frozen=True, slots=True)
class Row:
    """The composition of an ingredient by one table.

    Attributes:
        food: What the table calls it.
        code: Its number in the table.
        composition: Mass fractions, carbohydrate net of fibre [-].
        nitrogen_factor: Protein over nitrogen that the table used; None if it doesn't say [-].
        source: The table.
        status: How the figures are known.
    """

    food: str
    code: str
    composition: Composition
    nitrogen_factor: float | None
    source: str
    status: Status


@dataclass(frozen=True, slots=True)
class Hazard:
    """Something to know before eating what is made of an ingredient.

    Attributes:
        kind: "cook-through" or "caution".
        hazard: What it is.
        figure: How much, in the source's words and units.
        control: What to do about it.
        least_boil_s: Least time at the boil that the source names; None if it names none [s].
        is_requirement: The source demands it; otherwise it is what a published process did.
        source: Where it comes from.
        status: How it is known.
    """

    kind: str
    hazard: str
    figure: str
    control: str
    least_boil_s: float | None
    is_requirement: bool
    source: str
    status: Status

    @property
    def may_decide(self) -> bool:
        """It may decide a safety verdict: a requirement that was read in its source."""
        return self.is_requirement and self.status is Status.SEEN


@dataclass(frozen=True, slots=True)
class Ingredient:
    """What is known of one dry ingredient.

    Attributes:
        name: Its name here.
        aliases: Other names.
        family: "pulse", "oilseed" or "nut".
        allergens: Groups of allergens it belongs to.
        rows: Its composition, table by table.
        hazards: What to know.
        foam_degc: Where its milk begins to foam over on its way up [degC].
        note: A remark on the figures; may be empty.
    """

    name: str
    aliases: tuple[str, ...]
    family: str
    allergens: tuple[str, ...]
    rows: tuple[Row, ...]
    hazards: tuple[Hazard, ...]
    foam_degc: float
    note: str


@dataclass(frozen=True, slots=True)
class Product:
    """A soy product by a table, for comparison only.

    Attributes:
        name: What it is.
        of: The ingredient it is made of.
        composition: Mass fractions; fibre not stated stays in the carbohydrate [-].
        calcium_fraction: Calcium [-].
        magnesium_fraction: Magnesium [-].
        source: The table and its number.
        status: How the figures are known.
    """

    name: str
    of: str
    composition: Composition
    calcium_fraction: float
    magnesium_fraction: float
    source: str
    status: Status


@dataclass(frozen=True, slots=True)
class Remark:
    """A text with its source.

    Attributes:
        subject: What it is about.
        text: The text.
        source: Where it comes from.
        status: How it is known.
    """

    subject: str
    text: str
    source: str
    status: Status


@dataclass(frozen=True, slots=True)
class Jurisdiction:
    """The list of allergens that one place keeps.

    Attributes:
        key: "US", "EU", "UK" or "CA".
        name: Whose list it is.
        listed: The list's own word by group of allergens.
        source: Where it comes from.
        status: How it is known.
    """

    key: str
    name: str
    listed: Mapping[str, str]
    source: str
    status: Status


@dataclass(frozen=True, slots=True)
class IngredientTable:
    """Everything in the table.

    Attributes:
        ingredients: By name.
        products: Soy products for comparison.
        jurisdictions: By key.
        allergen_words: Phrases that give an allergen away in any name, by group.
        refused: Phrases, all of whose words in a name refuse it, with the reason.
        process: Cautions that belong to any curd.
        foam_degc: Where milk of an ingredient that isn't in the table may foam over [degC].
    """

    ingredients: Mapping[str, Ingredient]
    products: tuple[Product, ...]
    jurisdictions: Mapping[str, Jurisdiction]
    allergen_words: Mapping[str, tuple[str, ...]]
    refused: tuple[Remark, ...]
    process: tuple[Remark, ...]
    foam_degc: float
