# SPDX-License-Identifier: MIT
"""The mass of each stream of a batch: as weighed, and as it follows from the others."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from api.process.balance import Balance
from api.process.quantities import NotShown, Quantity, Result


@dataclass(frozen=True, slots=True)
class Masses:
    """What is known of the streams' masses.

    Attributes:
        weighed: As they were weighed [kg].
        reconciled: As they fit the balances, or follow from the other streams [kg].
    """

    weighed: Mapping[str, Quantity]
    reconciled: Mapping[str, Result]

    def of(self, stream: str) -> Result:
        """Return a stream's mass as it was weighed, else as it follows from the others [kg]."""
        if stream in self.weighed:
            return self.weighed[stream]
        return self.reconciled.get(stream, NotShown(f"Nobody weighed {stream}."))

    def together(self, *streams: str) -> Result:
        """Return several streams' mass together [kg], or why it isn't shown."""
        parts = [self.of(stream) for stream in streams]
        missing = next((part for part in parts if isinstance(part, NotShown)), None)
        if missing is not None:
            return missing
        known = [part for part in parts if isinstance(part, Quantity)]
        sources = tuple(dict.fromkeys(source for part in known for source in part.sources))
        return Quantity(
            math.fsum(part.value for part in known),
            "kg",
            math.hypot(*(part.u for part in known)),
            " and ".join(stream.replace("_", " ") for stream in streams),
            sources,
        )


def masses_of(balance: Balance | NotShown) -> Masses:
    """Return the masses of a balance.

    Args:
        balance: Of the batch, or why there is none.
    """
    if isinstance(balance, NotShown):
        return Masses({}, {})
    return Masses(
        {s.stream: s.measured for s in balance.streams if isinstance(s.measured, Quantity)},
        {s.stream: s.reconciled for s in balance.streams},
    )
