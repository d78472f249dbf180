# SPDX-License-Identifier: MIT
"""A recipe brought to the dry mass in hand: every dose, every water, every expected mass.

Pure: imports only the ground and what is pure.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Sequence
from dataclasses import dataclass

from api.process.quantities import Quantity
from collector.errors import ProcessError

_DOSES = frozenset({"coagulant"})
_WATERS = frozenset({"soak_water", "water", "coagulant_water"})


class Role(enum.StrEnum):
    """What a mass of a recipe is for."""

    DRY = "dry"
    DOSE = "dose"
    WATER = "water"
    EXPECTED = "expected"


@dataclass(frozen=True, slots=True)
class Amount:
    """How much of a stream a recipe takes or expects.

    Attributes:
        stream: "water", "coagulant", "milk" …
        ratio: Its mass for each kilogram of dry ingredient [kg/kg].
        where: The step that it belongs to, for the origin of the result.
    """

    stream: str
    ratio: float
    where: str = ""


@dataclass(frozen=True, slots=True)
class ScaledAmount:
    """The same for the dry mass in hand.

    Attributes:
        stream: "water", "coagulant", "milk" …
        role: A dose, a water, or an expected mass.
        ratio: Its mass for each kilogram of dry ingredient [kg/kg].
        mass: Its mass [kg].
        where: The step that it belongs to.
    """

    stream: str
    role: Role
    ratio: float
    mass: Quantity
    where: str


def ratio_of(mass_kg: float, for_dry_kg: float, where: str = "") -> float:
    """Return a recipe's mass for each kilogram of its dry ingredient.

    Args:
        mass_kg: Mass of the stream in the recipe [kg].
        for_dry_kg: Dry mass that the recipe is written for [kg].
        where: Step and stream, for the message.

    Returns:
        Mass over dry mass [kg/kg].

    Raises:
        ProcessError: A mass is not above 0.

    Source:
        Definition.

    Example:
        >>> ratio_of(4.2, 0.6)
        7.0
    """
    if not (_is_mass(mass_kg) and _is_mass(for_dry_kg)):
        raise ProcessError(
            f"{mass_kg:g} kg for {for_dry_kg:g} kg of dry ingredient can't be scaled.",
            where=where or "recipe",
            do="Give both masses above 0.",
        )
    return mass_kg / for_dry_kg


def scaled(amounts: Sequence[Amount], dry: Quantity) -> tuple[ScaledAmount, ...]:
    """Return a recipe's masses for the dry mass in hand.

    Every mass is in proportion to the dry mass, so their errors all move with that of the dry
    mass; how far the expected masses really vary from batch to batch is not in u.

    Args:
        amounts: The recipe's masses by its dry mass [kg/kg].
        dry: Dry ingredient in hand [kg].

    Returns:
        Masses in the order given [kg].

    Raises:
        ProcessError: The dry mass or a ratio is not above 0.

    Source:
        Definition, m = r m_dry; u(m) = r u(m_dry), JCGM 100:2008, 5.1 (from memory).

    Example:
        >>> dry = Quantity(1.2, "kg", 0.001, "weighed")
        >>> [round(one.mass.value, 3) for one in scaled([Amount("coagulant", 1 / 30)], dry)]
        [0.04]
    """
    if not _is_mass(dry.value):
        raise ProcessError(
            f"A recipe can't be scaled to {dry.value:g} {dry.unit} of dry ingredient.",
            where="recipe",
            do="Give the dry mass in hand, above 0.",
        )
    return tuple(_scaled(amount, dry) for amount in amounts)


def _scaled(amount: Amount, dry: Quantity) -> ScaledAmount:
    if not _is_mass(amount.ratio):
        raise ProcessError(
            f"A ratio of {amount.ratio:g} kg to a kilogram of dry ingredient makes no sense.",
            where=amount.where or amount.stream,
            do="Give a ratio above 0.",
        )
    mass = Quantity(
        amount.ratio * dry.value,
        "kg",
        amount.ratio * dry.u,
        "in proportion to the dry mass",
        dry.sources,
    )
    return ScaledAmount(amount.stream, _role(amount.stream), amount.ratio, mass, amount.where)


def _role(stream: str) -> Role:
    if stream == "dry":
        return Role.DRY
    if stream in _DOSES:
        return Role.DOSE
    return Role.WATER if stream in _WATERS else Role.EXPECTED


def _is_mass(value: float) -> bool:
    return math.isfinite(value) and value > 0.0
