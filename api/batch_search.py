# SPDX-License-Identifier: MIT
"""Finding batches: by words, state, pot, recipe and outcome, the latest first, a page at a time."""

from __future__ import annotations

from dataclasses import dataclass

from api.kitchen import Kitchen
from api.records.batches import Batch

_AT_ONCE = 100


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which batches are looked for; "" leaves a part open.

    Attributes:
        words: In name, recipe, pot or ingredients.
        state: "planned" … "closed", or "open".
        pot: Exactly this pot.
        recipe: The id of its recipe, any version.
        outcome: The outcome that was last recorded, or "none" where none was.
    """

    words: str = ""
    state: str = ""
    pot: str = ""
    recipe: str = ""
    outcome: str = ""

    def fits(self, batch: Batch) -> bool:
        """Tell whether a batch is of this pot, recipe and outcome."""
        return (
            self.pot in ("", batch.body.get("pot") or "")
            and self.recipe in ("", (batch.recipe or {}).get("id", ""))
            and self.outcome in ("", outcome_of(batch) or "none")
        )


def outcome_of(batch: Batch) -> str | None:
    """Return the outcome of a batch as it was last recorded."""
    said = [one for one in batch.observations if one.body["quantity"] == "outcome"]
    return str(said[-1].body.get("text")) if said else None


def search(
    kitchen: Kitchen, wanted: Wanted, *, after: str | None, limit: int
) -> tuple[list[Batch], str | None]:
    """Return a page of batches, and the last of them if there may be more.

    State and words are looked up in the listing; the rest is read from the batches that it gives.

    Args:
        kitchen: The open kitchen.
        wanted: Which.
        after: Only those after this batch in the order.
        limit: At most so many.

    Raises:
        UnknownRecordError: There is no batch `after`.
    """
    found: list[Batch] = []
    words = f"{wanted.words} {wanted.pot}".strip()
    while True:
        some = kitchen.journal.batches(
            state=wanted.state or None, words=words or None, after=after, limit=_AT_ONCE
        )
        for batch in some:
            if wanted.fits(batch):
                found.append(batch)
                if len(found) > limit:
                    return found[:limit], found[limit - 1].id
        if len(some) < _AT_ONCE:
            return found, None
        after = some[-1].id
