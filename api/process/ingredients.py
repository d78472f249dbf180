# SPDX-License-Identifier: MIT
"""What to know of the ingredients of a batch: allergens, cautions, and what can't be food.

Silence clears nothing: an ingredient without a sourced cook-through requirement says so. What is
known of one ingredient is never lent to another. Pure: imports only the ground and what is pure.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from api.process.ingredient_names import alike, find, words_of
from api.process.ingredient_rows import Hazard, Jurisdiction, Remark, Status
from api.process.ingredient_table import ingredient_table
from collector.errors import ProcessError

__all__ = [
    "UNKNOWN_COOK_THROUGH",
    "Allergen",
    "Caution",
    "allergens",
    "cautions",
    "cook_through",
    "cross_contact",
    "find",
    "process_cautions",
    "refusals",
]

UNKNOWN_COOK_THROUGH = "no cook-through requirement is known here; ask a food-safety authority"


@dataclass(frozen=True, slots=True)
class Allergen:
    """One allergen of a batch.

    Attributes:
        group: "soy", "nut" …
        word: The word of the list that names it.
        ingredients: Which ingredients bring it.
        lists: Whose lists name it.
        source: Where the list comes from.
        status: How it is known.
    """

    group: str
    word: str
    ingredients: tuple[str, ...]
    lists: tuple[str, ...]
    source: str
    status: Status


@dataclass(frozen=True, slots=True)
class Caution:
    """One thing to show before and on the record of a batch.

    Attributes:
        kind: "refuse", "cook-through", "caution", "allergen", "cross-contact", "unknown" or
            "process".
        subject: The ingredient, or what it is about.
        text: What to show.
        source: Where it comes from; empty for what is not known.
        status: How it is known; None for what is not known.
    """

    kind: str
    subject: str
    text: str
    source: str = ""
    status: Status | None = None


def refusals(names: Iterable[str]) -> tuple[Caution, ...]:
    """Return why a batch must not be started as food; empty if nothing forbids it.

    Args:
        names: Its ingredients.

    Returns:
        One caution for each reason; no numbers but those in the text [-].

    Source:
        The packaged table; each reason names its own.
    """
    found = []
    for name in names:
        words = set(words_of(name))
        found += [
            Caution("refuse", name, remark.text, remark.source, remark.status)
            for remark in ingredient_table().refused
            if set(words_of(remark.subject)) <= words
        ]
    return tuple(found)


def allergens(names: Iterable[str], jurisdiction: str | None = None) -> tuple[Allergen, ...]:
    """Return the allergens of a blend: the union over its ingredients.

    The name of an ingredient that isn't in the table still gives its allergen away by a word,
    such as "roasted peanut".

    Args:
        names: The ingredients of the blend.
        jurisdiction: "US", "EU", "UK" or "CA"; None takes every list known here.

    Returns:
        Allergens in the order of the table [-].

    Raises:
        ProcessError: The jurisdiction isn't known.

    Source:
        US FALCPA 2004 and FASTER Act 2021; Regulation (EU) 1169/2011 annex II; Canada's priority
        allergens (all seen as lists).
    """
    brought: dict[str, list[str]] = {}
    for name in dict.fromkeys(names):
        for group in _groups(name):
            brought.setdefault(group, []).append(name)
    found = []
    for group in ingredient_table().allergen_words:
        lists = [j for j in _jurisdictions(jurisdiction) if group in j.listed]
        if group in brought and lists:
            found.append(
                Allergen(
                    group=group,
                    word=lists[0].listed[group],
                    ingredients=tuple(brought[group]),
                    lists=tuple(j.key for j in lists),
                    source="; ".join(dict.fromkeys(j.source for j in lists)),
                    status=lists[0].status,
                )
            )
    return tuple(found)


def cautions(names: Iterable[str], jurisdiction: str | None = None) -> tuple[Caution, ...]:
    """Return everything to show for a blend: the union over its ingredients.

    An ingredient without a sourced cook-through requirement is not cleared by silence: it says
    that none is known here. One that isn't in the table says so too.

    Args:
        names: The ingredients of the blend.
        jurisdiction: Whose list of allergens; None takes every list known here.

    Returns:
        Cautions: refusals first, then by ingredient, then allergens [-].

    Raises:
        ProcessError: The jurisdiction isn't known.

    Source:
        The packaged table; each caution names its own.
    """
    names = list(dict.fromkeys(names))
    found = list(refusals(names))
    for name in names:
        hazards = _hazards(name)
        found += [
            Caution(h.kind, name, f"{h.hazard}: {h.figure}; {h.control}", h.source, h.status)
            for h in hazards
        ]
        is_known = find(name) is not None
        if not (is_known and any(_is_sourced(h) for h in hazards)):
            found.append(Caution("unknown", name, UNKNOWN_COOK_THROUGH))
        if not is_known:
            text = "not in the table of ingredients: declare its allergens and composition yourself"
            found.append(Caution("unknown", name, text))
    for allergen in allergens(names, jurisdiction):
        text = f"contains {allergen.word} ({', '.join(allergen.lists)})"
        subject = ", ".join(allergen.ingredients)
        found.append(Caution("allergen", subject, text, allergen.source, allergen.status))
    return tuple(found)


def cook_through(names: Iterable[str]) -> tuple[tuple[str, Hazard], ...]:
    """Return the cook-through rows of a blend.

    Args:
        names: The ingredients of the blend.

    Returns:
        Ingredient and row; `may_decide` tells whether a verdict may rest on it. Times [s].

    Source:
        The packaged table; each row names its own.
    """
    found = []
    for name in dict.fromkeys(names):
        found += [(name, h) for h in _hazards(name) if _is_sourced(h)]
    return tuple(found)


def cross_contact(
    previous: Iterable[Collection[str]], now: Collection[str], jurisdiction: str | None = None
) -> tuple[Caution, ...]:
    """Return what equipment carries over from earlier batches of the same day.

    Args:
        previous: The ingredients of each earlier batch on the same equipment that day.
        now: The ingredients of this one.
        jurisdiction: Whose list of allergens; None takes every list known here.

    Returns:
        One caution for each allergen that an earlier batch had and this one lacks [-].

    Raises:
        ProcessError: The jurisdiction isn't known.

    Source:
        Common practice; the lists as for `allergens`.
    """
    own = {allergen.group for allergen in allergens(now, jurisdiction)}
    earlier = [name for batch in previous for name in batch]
    return tuple(
        Caution(
            "cross-contact",
            allergen.word,
            f"the same equipment held {', '.join(allergen.ingredients)} today; this batch has no "
            f"{allergen.word}: clean it, or warn of traces",
            allergen.source,
            allergen.status,
        )
        for allergen in allergens(earlier, jurisdiction)
        if allergen.group not in own
    )


def process_cautions() -> tuple[Caution, ...]:
    """Return the cautions that belong to any curd, whatever it is made of.

    Returns:
        Cautions; figures stand in their text [-].

    Source:
        The packaged table; each caution names its own.
    """
    return tuple(_shown(remark) for remark in ingredient_table().process)


def _shown(remark: Remark) -> Caution:
    return Caution("process", remark.subject, remark.text, remark.source, remark.status)


def _hazards(name: str) -> tuple[Hazard, ...]:
    return tuple(hazard for ingredient in alike(name) for hazard in ingredient.hazards)


def _is_sourced(hazard: Hazard) -> bool:
    return hazard.kind == "cook-through" and hazard.status in (Status.SEEN, Status.SECOND_HAND)


def _jurisdictions(key: str | None) -> tuple[Jurisdiction, ...]:
    known = ingredient_table().jurisdictions
    if key is None:
        return tuple(known.values())
    if key not in known:
        raise ProcessError(
            f"There is no list of allergens for {key!r}.",
            where="jurisdiction",
            do=f"Use one of {', '.join(known)}.",
        )
    return (known[key],)


def _groups(name: str) -> tuple[str, ...]:
    """Return the groups of allergens of an ingredient, by the table and by its name's words."""
    by_table = [group for ingredient in alike(name) for group in ingredient.allergens]
    words = set(words_of(name))
    by_word = [
        group
        for group, phrases in ingredient_table().allergen_words.items()
        if any(set(words_of(phrase)) <= words for phrase in phrases)
    ]
    return tuple(dict.fromkeys((*by_table, *by_word)))
