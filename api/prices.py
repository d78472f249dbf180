# SPDX-License-Identifier: MIT
"""What the maker paid, and at which rates: the lists of lots and rates, for the cost of a batch."""

from __future__ import annotations

from typing import Any

from api import views
from api.kitchen import Kitchen
from api.process.coagulant import find_substance
from api.process.ingredient_names import find, words_of
from api.process.money import Price, price_per_kg
from api.process.quantities import NotShown
from api.records.chain import Entry
from api.times import parse_ms


def rates_of(kitchen: Kitchen) -> dict[str, dict[str, Any]]:
    """Return the last rate that was stated for each pair of currencies, such as "USD EUR"."""
    return {
        pair: views.listed(entry)
        for pair, entry in kitchen.journal.latest_by("rate", "pair").items()
    }


def same_substance(one: str, other: str) -> bool:
    """Return whether two names mean the same ingredient or coagulant."""
    if frozenset(words_of(one)) == frozenset(words_of(other)):
        return True
    known, salt = find(one), find_substance(one)
    return (known is not None and known is find(other)) or (
        salt is not None and salt is find_substance(other)
    )


def price_of(kitchen: Kitchen, name: str, lot: str | None, started_ms: int) -> Price | NotShown:
    """Return what an ingredient or a coagulant cost, by its lot.

    Args:
        kitchen: The open kitchen.
        name: What it is.
        lot: The lot that the batch names; None takes the last that was bought before the batch.
        started_ms: When the batch began [ms since 1970 UTC].
    """
    lots = [e for e in kitchen.journal.kitchen("lot") if same_substance(e.body["ingredient"], name)]
    if lot is not None:
        lots = [entry for entry in lots if entry.body["lot"] == lot]
        if not lots:
            return NotShown(f"no lot {lot!r} of {name} is recorded")
    current = {entry.body["lot"]: entry for entry in lots}
    priced = [e for e in current.values() if e.body.get("price") and not _later(e, started_ms)]
    if not priced:
        if lot is not None:
            return NotShown(f"lot {lot!r} of {name} has no price")
        return NotShown(f"no lot of {name} with a price was bought before this batch")
    chosen = priced[-1]
    body = chosen.body
    source = f"lot {body['lot']} of {name}"
    if lot is None:
        source += ", the last that was bought: the batch names none"
    return price_per_kg(
        body["price"], body["currency"], repr(body["per"]["value"]), body["per"]["unit"], source
    )


def _later(entry: Entry, started_ms: int) -> bool:
    bought = entry.body.get("bought_at")
    return bought is not None and parse_ms(bought) > started_ms
