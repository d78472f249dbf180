# SPDX-License-Identifier: MIT
"""Which ingredient a maker means by a name, and which ones the name is like.

Pure: imports only what is pure.
"""

from __future__ import annotations

import functools
import re

from api.process.ingredient_rows import Ingredient
from api.process.ingredient_table import ingredient_table


def find(name: str) -> Ingredient | None:
    """Return what is known of an ingredient, or None.

    Only its own names count: "black soybean" is not taken for soybean, since the table's figures
    are not known to be its own.

    Args:
        name: As the maker writes it; case, plural and word order don't matter.

    Returns:
        The ingredient; compositions [-], temperatures [degC], times [s].

    Source:
        The packaged table; each figure names its own.
    """
    return _by_words().get(frozenset(words_of(name)))


def alike(name: str) -> tuple[Ingredient, ...]:
    """Return the ingredients whose cautions a name must carry.

    That is the ingredient itself; else every one whose name stands inside the name, such as
    kidney bean in "kidney beans, organic". Its figures are not lent, but its hazards are feared.

    Args:
        name: As the maker writes it.

    Returns:
        The ingredients, none if the name is like none of them [-].

    Source:
        The packaged table.
    """
    known = find(name)
    if known is not None:
        return (known,)
    words = frozenset(words_of(name))
    found = [ingredient for key, ingredient in _by_words().items() if key <= words]
    return tuple({ingredient.name: ingredient for ingredient in found}.values())


def words_of(name: str) -> list[str]:
    """Return the words of a name in the singular, without those that say only how it is sold.

    Args:
        name: As the maker writes it.

    Returns:
        Its words, lower case [-].

    Source:
        Common practice.

    Example:
        >>> words_of("Dried Yellow Peas, whole")
        ['yellow', 'pea']
    """
    words = re.findall(r"[^\W\d_]+", name.casefold())
    singular = [_singular(word) for word in words]
    kept = [word for word in singular if word not in ("dry", "dried", "raw", "whole", "mature")]
    return kept or singular


def _singular(word: str) -> str:
    if word.endswith("ies") and len(word) > 4:
        return word[:-3] + "y"
    return word[:-1] if word.endswith("s") and not word.endswith("ss") and len(word) > 3 else word


@functools.cache
def _by_words() -> dict[frozenset[str], Ingredient]:
    return {
        frozenset(words_of(name)): ingredient
        for ingredient in ingredient_table().ingredients.values()
        for name in (*ingredient.aliases, ingredient.name)
    }
