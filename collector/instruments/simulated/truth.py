# SPDX-License-Identifier: MIT
"""What a simulated batch really was, for whoever checks a calculation against it.

Must not import `api`, and shares nothing with `api.process`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class PourTruth:
    """One addition as it really was.

    Attributes:
        start_s: First drop [s].
        end_s: Last drop [s].
        before_degc: Mean of the milk at the start [degC].
        after_degc: Mean of all the liquid at the end, were it mixed at once, wall not included
            [degC].
        settled_degc: The same a minute after the end, or when the next one begins [degC].
        pot_kg: What was in the pot at the start [kg].
        coagulant_kg: [kg].
        water_kg: [kg].
        slurry_degc: [degC].
    """

    start_s: float
    end_s: float
    before_degc: float
    after_degc: float
    settled_degc: float
    pot_kg: float
    coagulant_kg: float
    water_kg: float
    slurry_degc: float


@dataclass(frozen=True, slots=True)
class Trace:
    """Every step of the simulation; arrays of shape (n,), oldest first, steps of unlike length.

    Attributes:
        time_s: At the end of each step [s].
        mean_degc: Mean of the liquid, of the wall once the pot is empty [degC].
        bulk_degc: [degC].
        bottom_degc: [degC].
        stirring_fraction: [-].
        power_fraction: Setting of the hob [-].
        covered: 1 with the lid on.
        in_pot_kg: [kg].
        on_scale_kg: Contents and lid [kg].
        vapour_kg: Evaporated since the beginning [kg].
        heat_j: From the hob into the pot since the beginning [J].
        lost_j: Dry loss to the room since the beginning [J].
        press_whey_kg: In the tray [kg].
        core_degc: Core of the curd or block, NaN before there is one [degC].
        bath_degc: What it lies in, NaN before [degC].
    """

    time_s: Floats
    mean_degc: Floats
    bulk_degc: Floats
    bottom_degc: Floats
    stirring_fraction: Floats
    power_fraction: Floats
    covered: Floats
    in_pot_kg: Floats
    on_scale_kg: Floats
    vapour_kg: Floats
    heat_j: Floats
    lost_j: Floats
    press_whey_kg: Floats
    core_degc: Floats
    bath_degc: Floats

    def milk_degc(self, time_s: float) -> float:
        """Return the mean temperature of the liquid at a time [degC]."""
        return float(np.interp(time_s, self.time_s, self.mean_degc))


@dataclass(frozen=True, slots=True)
class HoldTruth:
    """A hold as it really was.

    Attributes:
        start_s: [s].
        end_s: [s].
        lowest_degc: Of the mean of the milk in between [degC].
        highest_degc: Likewise [degC].
        mean_degc: Likewise [degC].
    """

    start_s: float
    end_s: float
    lowest_degc: float
    highest_degc: float
    mean_degc: float

    @property
    def duration_s(self) -> float:
        """From start to end [s]."""
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True)
class Truth:
    """A batch as it really was. Times are seconds since 1970-01-01T00:00:00Z.

    Attributes:
        events_s: When things began. Of the project's event kinds: `soak grind strain settle heat
            simmer boil addition cover set ladle press unmould chill end`; and besides: `target`
            (the milk's mean passed it on the way to the addition), `hold_end`, `heat_off`,
            `addition_end`, `uncover`, `ladle_end`, `press_end`, `fridge` [s].
        pours: The additions in order.
        streams_kg: True masses by stream; a stream that the batch hasn't is not in it [kg].
        solids_kg: The solids in each of them [kg].
        residues_kg: What stayed behind, by node: `soak grind strain settle set press` [kg].
        holds: `hot` (boil or simmer hold) and `covered`, those that there were.
        boiling_degc: The boiling point of this milk in this kitchen [degC].
        trace: Every step.
    """

    events_s: Mapping[str, float]
    pours: tuple[PourTruth, ...]
    streams_kg: Mapping[str, float]
    solids_kg: Mapping[str, float]
    residues_kg: Mapping[str, float]
    holds: Mapping[str, HoldTruth]
    boiling_degc: float
    trace: Trace

    def time_in_band_s(
        self, low_degc: float, high_degc: float, start_s: float, end_s: float
    ) -> float:
        """Return how long the mean of the milk was in a band within a stretch of time [s].

        Args:
            low_degc: [degC].
            high_degc: [degC].
            start_s: [s since 1970 UTC].
            end_s: [s since 1970 UTC].
        """
        trace = self.trace
        step_s = np.diff(trace.time_s, prepend=trace.time_s[:1])
        inside = (trace.time_s > start_s) & (trace.time_s <= end_s)
        inside &= (trace.mean_degc >= low_degc) & (trace.mean_degc <= high_degc)
        return float(step_s[inside].sum())
