# SPDX-License-Identifier: MIT
"""What differed between two batches: inputs, process, outcome; what is larger than its uncertainty.

Pure: imports only the ground and what is pure.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from api.process.quantities import Absence, NotShown, Quantity, Result

# A difference is pointed out beyond this many standard uncertainties of its own.
COVERAGE = 2.0


class Group(enum.StrEnum):
    """Where a fact belongs."""

    INPUT = "input"
    PROCESS = "process"
    OUTCOME = "outcome"


@dataclass(frozen=True, slots=True)
class Fact:
    """One thing that can be said of a batch.

    Attributes:
        group: Input, process or outcome.
        name: What it is, the same for every batch.
        value: A quantity, why there is none, or a word.
    """

    group: Group
    name: str
    value: Result | str


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing of two batches.

    Attributes:
        group: Input, process or outcome.
        name: What it is.
        first: Of the first batch.
        second: Of the second.
        difference: The second less the first; why it isn't shown; None for words.
        z: How many of its own standard uncertainties it is away from none; None for words and
            where it isn't shown [-].
        stands_out: It is larger than its uncertainty explains; of words: they differ.
        summary: The same in words.
    """

    group: Group
    name: str
    first: Result | str
    second: Result | str
    difference: Result | None
    z: float | None
    stands_out: bool
    summary: str


def compare(first: Iterable[Fact], second: Iterable[Fact]) -> tuple[Difference, ...]:
    """Return what differs between two batches, thing by thing.

    What neither batch tells is left out. The uncertainties are taken as independent: an error of
    an instrument that both batches share cancels in truth, so that a small difference may be
    missed, and none is invented.

    Args:
        first: What is said of one batch [any unit].
        second: What is said of the other [the same units].

    Returns:
        One difference for each name, in the order input, process, outcome [the facts' units].

    Source:
        Difference of two quantities, JCGM 100:2008, 5.1 (from memory); twice its standard
        uncertainty (definition).

    Example:
        >>> one = Fact(Group.OUTCOME, "block", Quantity(0.95, "kg", 0.01, "weighed"))
        >>> two = Fact(Group.OUTCOME, "block", Quantity(1.07, "kg", 0.01, "weighed"))
        >>> found = compare([one], [two])[0]
        >>> found.stands_out, round(found.difference.value, 2), round(found.z, 1)
        (True, 0.12, 8.5)
    """
    left = {(fact.group, fact.name): fact.value for fact in first}
    right = {(fact.group, fact.name): fact.value for fact in second}
    order = {group: place for place, group in enumerate(Group)}
    keys = sorted(dict.fromkeys((*left, *right)), key=lambda key: order[key[0]])
    nothing = NotShown("It is not said of this batch.")
    found = []
    for key in keys:
        one, other = left.get(key, nothing), right.get(key, nothing)
        if not (isinstance(one, NotShown) and isinstance(other, NotShown)):
            found.append(_difference(key[0], key[1], one, other))
    return tuple(found)


def standing_out(differences: Sequence[Difference]) -> tuple[Difference, ...]:
    """Return the differences that are larger than their uncertainty, the clearest first.

    Args:
        differences: From `compare` [any unit].

    Returns:
        Words that differ first, then by how many uncertainties [-].

    Source:
        Definition.
    """
    chosen = [one for one in differences if one.stands_out]
    return tuple(sorted(chosen, key=lambda one: -math.inf if one.z is None else -one.z))


def _difference(group: Group, name: str, first: Result | str, second: Result | str) -> Difference:
    if isinstance(first, str) and isinstance(second, str):
        differs = first != second
        summary = f"{name}: {first}, then {second}" if differs else f"{name}: {first} in both"
        return Difference(group, name, first, second, None, None, differs, summary)
    if isinstance(first, Quantity) and isinstance(second, Quantity):
        return _of_quantities(group, name, first, second)
    missing = next((f for f in (first, second) if isinstance(f, NotShown)), None)
    why = missing or NotShown("A word can't be compared with a number.", Absence.NOT_APPLICABLE)
    summary = f"{name}: {_said(first)}, then {_said(second)}"
    return Difference(group, name, first, second, why, None, False, summary)


def _of_quantities(group: Group, name: str, first: Quantity, second: Quantity) -> Difference:
    if first.unit != second.unit:
        why = NotShown(f"One is in {first.unit}, the other in {second.unit}.")
        summary = f"{name}: {_said(first)}, then {_said(second)}"
        return Difference(group, name, first, second, why, None, False, summary)
    unit = "K" if first.unit == "degC" else first.unit
    value, u = second.value - first.value, math.hypot(first.u, second.u)
    sources = tuple(dict.fromkeys((*first.sources, *second.sources)))
    difference = Quantity(value, unit, u, "second less first", sources)
    z = abs(value) / u if u > 0.0 else (0.0 if value == 0.0 else math.inf)
    stands_out = z > COVERAGE
    way = "more" if value > 0.0 else "less"
    how = "beyond" if stands_out else "within"
    summary = (
        f"{name}: {abs(value):.3g} {unit} {way} ({first.value:.4g} to {second.value:.4g} "
        f"{first.unit}), {how} twice its uncertainty of {u:.2g} {unit}"
    )
    return Difference(group, name, first, second, difference, z, stands_out, summary)


def _said(value: Result | str) -> str:
    if isinstance(value, Quantity):
        return f"{value.value:.4g} {value.unit}"
    return str(value.status) if isinstance(value, NotShown) else value
