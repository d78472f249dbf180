# SPDX-License-Identifier: MIT
"""What the milk of a batch is made of, for its heat capacity: by the best that anybody measured."""

from __future__ import annotations

from api.analysis.components import Components
from api.analysis.masses import Masses
from api.observed import observations_of
from api.process.composition import Composition
from api.process.milk import milk_composition, solids_from_brix
from api.process.quantities import NotShown, Quantity, Result
from api.process.yields import ratio
from api.records.batches import Batch
from collector.errors import ProcessError

_U_BRIX = 0.2


def milk_of(batch: Batch, masses: Masses, components: Components) -> Composition | None:
    """Return what the milk is made of, None where nothing tells.

    Its own moisture goes before Brix, that before the recipe's word, and that before a published
    recovery of its ingredient.

    Args:
        batch: The batch.
        masses: Its streams [kg].
        components: What is known of its solids.
    """
    if isinstance(components.shares, NotShown):
        return None
    try:
        found = milk_composition(components.shares, _solids(batch, masses, components))
    except ProcessError:
        return None
    return found if isinstance(found, Composition) else None


def _solids(batch: Batch, masses: Masses, components: Components) -> Result:
    own = components.analyses.get("milk")
    if own is not None and own.solids is not None:
        return own.solids
    brix = [
        record
        for record in observations_of(batch, "brix")
        if record.body.get("of") in (None, "milk", "raw_milk")
    ]
    if brix:
        body = brix[-1].body
        shown = Quantity(body["value"], "g/100 g", body.get("u") or _U_BRIX, "refractometer")
        return solids_from_brix(shown.using(f"observation {brix[-1].id}"))
    said = (batch.recipe or {}).get("milk_solids_fraction")
    if said is not None:
        return Quantity(said, "-", 0.1 * said, "by the recipe", ("recipe",))
    solids = components.balances["solids"].in_stream["milk"]
    return ratio((solids,), (masses.of("milk"),), "-", "solids of the milk by a recovery")
