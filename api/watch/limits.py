# SPDX-License-Identifier: MIT
"""What a limit on the milk of a batch is, and what the maker may set of it. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from api.watch.alarm_condition import Band, Side
from api.watch.limit_kinds import KINDS
from collector.units import convert

NAME_KEPT = 80


@dataclass(frozen=True, slots=True)
class Settings:
    """What the maker may set.

    Attributes:
        lead_s: How long before a target is reached it is told [s].
        over_target_k: How far over the target the milk may be [K].
        edge_k: How near the edge of its band a hold is warned of [K].
    """

    lead_s: float = 60.0
    over_target_k: float = 2.0
    edge_k: float = 1.0


@dataclass(frozen=True, slots=True)
class Around:
    """What a batch's limits depend on beside its own records.

    Attributes:
        boiling_degc: Where water boils in the kitchen [degC].
        foam_degc: Where its milk begins to foam on its way up [degC].
        complete_s: When each hold was complete, by the first 80 characters of its name
            [s since 1970 UTC].
        told: The causes of what was told already: targets reached, holds complete.
        settings: The maker's.
    """

    boiling_degc: float
    foam_degc: float
    complete_s: Mapping[str, float]
    told: frozenset[str]
    settings: Settings

    def complete(self, name: str) -> float | None:
        """Return when a hold was complete, None as long as it isn't [s since 1970 UTC]."""
        return self.complete_s.get(name[:NAME_KEPT])


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit on the temperature of the milk.

    Attributes:
        key: What tells it from the batch's others; the same each time.
        kind: One of `limit_kinds.KINDS`.
        band: The limit with dead-band and delays, in the kind's unit.
        what: What is said of it, without the pot and the value.
        from_s: Readings before it don't count [s since 1970 UTC].
        priority: "low", "medium" or "high".
        unit: How the maker writes temperatures here: "degC", "degF" or "K".
        enter_degc: It counts only once a reading lay on the good side of this [degC].
        rising: It counts only while the milk warms up.
        measure: "value", "trend" [K/min] or "to go" to a temperature [s].
        goal_degc: That temperature; None for the others [degC].
        after: Keys of limits that suppress it while theirs is an alarm.
    """

    key: str
    kind: str
    band: Band
    what: str
    from_s: float
    priority: str
    unit: str = "degC"
    enter_degc: float | None = None
    rising: bool = False
    measure: str = "value"
    goal_degc: float | None = None
    after: tuple[str, ...] = ()


def band_of(kind: str, side: Side, limit: float) -> Band:
    """Return a limit with the dead-band and the delays of its kind."""
    of = KINDS[kind]
    return Band(side, limit, of.dead_band, of.on_delay_s, of.off_delay_s)


def shown_value(limit: Limit, value: float) -> str:
    """Return a value that a limit judges, in words."""
    if limit.measure == "trend":
        return f"{value:.1f} K a minute"
    if limit.measure == "to go":
        return f"in about {max(value, 0.0):.0f} s"
    return f"{convert(value, 'degC', limit.unit):.1f} {limit.unit}"
