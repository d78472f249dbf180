# SPDX-License-Identifier: MIT
"""Which mark is expected next, and which others make sense now; the words for each kind.

Pure presentation: standard library only. Nothing here decides anything that is recorded.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

HINTS: dict[str, str] = {
    "weigh": "something was weighed",
    "soak": "dry goes into water",
    "grind": "grinding begins",
    "strain": "mash goes into the cloth",
    "settle": "starch begins to sink",
    "heat": "the pot goes on the heat",
    "simmer": "the heat is turned down",
    "boil": "it boils",
    "addition": "coagulant goes in",
    "cover": "the lid goes on",
    "set": "first curd is seen",
    "ladle": "curd goes into the mould",
    "press": "the weight goes on",
    "unmould": "the block comes out",
    "chill": "the block goes into cold water",
    "end": "this batch is done",
    "note": "something worth a word",
}
"""Every kind of event, in the order of the process, with what has just happened."""

_USUAL = (
    "soak", "grind", "strain", "settle", "heat", "simmer", "boil", "addition", "cover", "set",
    "ladle", "press", "unmould", "chill", "end",
)  # fmt: skip
_OPTIONAL = frozenset({"soak", "grind", "strain", "settle", "simmer", "boil", "set"})
_BESIDE = 3


@dataclass(frozen=True, slots=True)
class Marks:
    """Which marks a card offers.

    Attributes:
        order: The kinds that this batch is expected to go through, in order.
        expected: The next of them, None after the last.
        beside: Others that make sense now, fewer than four.
        last: The kind that was marked last in that order, None before the first.
    """

    order: tuple[str, ...]
    expected: str | None
    beside: tuple[str, ...]
    last: str | None


def marks_of(batch: Mapping[str, Any]) -> Marks:
    """Return which marks make sense for a batch now.

    Args:
        batch: As the interface gives it: its frozen recipe, `self_set` and its events.

    Example:
        >>> marks_of({"events": [{"kind": "heat"}]}).expected
        'addition'
        >>> marks_of({"events": [{"kind": "heat"}]}).beside
        ('simmer', 'boil', 'cover')
    """
    order, optional = _order(batch)
    marked = {event["kind"] for event in batch.get("events") or []}
    done = [index for index, kind in enumerate(order) if kind in marked]
    start = done[-1] + 1 if done else 0
    coming = order[start:]
    expected = next((kind for kind in coming if kind not in optional), None)
    if not done and not batch.get("recipe"):
        expected = "heat"
    return Marks(order, expected, _beside(coming, expected), order[done[-1]] if done else None)


def _order(batch: Mapping[str, Any]) -> tuple[tuple[str, ...], frozenset[str]]:
    recipe = batch.get("recipe")
    if recipe and recipe.get("steps"):
        named = [step["kind"] for step in recipe["steps"]]
        kinds = [kind for kind in dict.fromkeys(named) if kind not in ("end", "note", "weigh")]
        # A recipe that stops at the addition still ends in a block, whoever wrote it.
        last = max((_USUAL.index(kind) for kind in kinds), default=-1)
        kinds += [kind for kind in _USUAL[last + 1 :] if kind not in _OPTIONAL]
        return tuple(dict.fromkeys(kinds)), frozenset()
    order, optional = list(_USUAL), set(_OPTIONAL)
    if batch.get("self_set"):  # no coagulant: the first curd comes where the addition would
        order.remove("set")
        order[order.index("addition")] = "set"
        optional -= {"set"}
    return tuple(order), frozenset(optional)


def _beside(coming: Sequence[str], expected: str | None) -> tuple[str, ...]:
    """Return the kinds before the expected one that may come first, then the one after it."""
    if expected is None:
        return ()
    place = coming.index(expected)
    before = coming[max(0, place - 2) : place]
    after = [kind for kind in coming[place + 1 :] if kind != "end"][:1]
    return tuple([*before, *after][:_BESIDE])


def label(kind: str) -> str:
    """Return a kind as the label of a button.

    Example:
        >>> label("addition")
        'Addition'
    """
    return kind.replace("_", " ").capitalize()
