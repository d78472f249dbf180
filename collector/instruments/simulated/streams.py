# SPDX-License-Identifier: MIT
"""The true masses of a simulated batch, stream by stream.

Pure: standard library only. Must not import `api`, and shares nothing with `api.process`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from collector.errors import ProcessError
from collector.instruments.simulated.plan import Preparation

# What enters and leaves each step; the residue of a step is what it leaves behind.
NODES: Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "soak": (("dry", "soak_water"), ("soaked", "drained")),
    "grind": (("soaked", "water"), ("mash",)),
    "strain": (("mash",), ("pulp", "raw_milk")),
    "settle": (("raw_milk",), ("starch", "milk")),
    "set": (("milk", "coagulant", "coagulant_water"), ("curd", "whey", "evaporation")),
    "press": (("curd",), ("block", "press_whey")),
}


@dataclass(slots=True)
class Streams:
    """Masses as they really were.

    Attributes:
        mass_kg: By stream [kg].
        solids_kg: The solids in it, by stream [kg].
        residue_kg: What stayed behind, by node [kg].
    """

    mass_kg: dict[str, float] = field(default_factory=dict)
    solids_kg: dict[str, float] = field(default_factory=dict)
    residue_kg: dict[str, float] = field(default_factory=dict)

    def put(self, stream: str, mass_kg: float, solids_kg: float) -> None:
        """Add to a stream.

        Args:
            stream: Its name.
            mass_kg: [kg].
            solids_kg: The solids in it [kg].

        Raises:
            ProcessError: The plan asks for more solids than mass, or for less than nothing.
        """
        if not -1e-9 <= solids_kg <= mass_kg + 1e-9:
            raise ProcessError(
                f"{mass_kg:.6g} kg with {solids_kg:.6g} kg of solids can't be.",
                where=f"simulated batch, stream {stream}",
                do="Change the fractions of the plan.",
            )
        self.mass_kg[stream] = self.mass_kg.get(stream, 0.0) + mass_kg
        self.solids_kg[stream] = self.solids_kg.get(stream, 0.0) + solids_kg


def prepared(plan: Preparation) -> Streams:
    """Return the streams from the dry ingredient to the milk.

    Args:
        plan: What the maker does.
    """
    streams = Streams()
    solids_kg = plan.dry_kg * (1.0 - plan.dry_water_fraction)
    streams.put("dry", plan.dry_kg, solids_kg)
    soaked_kg = plan.dry_kg
    if plan.soak_ratio > 0.0:
        soaked_kg, solids_kg = _soak(streams, plan, solids_kg)
    water_kg = plan.dry_kg * plan.water_ratio
    streams.put("water", water_kg, 0.0)
    residue_kg = plan.residue_fraction * (soaked_kg + water_kg)
    mash_kg = soaked_kg + water_kg - residue_kg
    solids_kg *= mash_kg / (soaked_kg + water_kg)
    streams.residue_kg["grind"] = residue_kg
    streams.put("mash", mash_kg, solids_kg)
    _strain(streams, plan, mash_kg, solids_kg)
    return streams


def _soak(streams: Streams, plan: Preparation, solids_kg: float) -> tuple[float, float]:
    soak_water_kg = plan.dry_kg * plan.soak_ratio
    leached_kg = solids_kg * plan.leached_fraction
    soaked_kg = plan.dry_kg * (1.0 + plan.uptake_ratio) - leached_kg
    residue_kg = plan.residue_fraction * (plan.dry_kg + soak_water_kg)
    drained_kg = plan.dry_kg + soak_water_kg - soaked_kg - residue_kg
    streams.put("soak_water", soak_water_kg, 0.0)
    streams.put("soaked", soaked_kg, solids_kg - leached_kg)
    streams.put("drained", drained_kg, leached_kg)
    streams.residue_kg["soak"] = residue_kg
    return soaked_kg, solids_kg - leached_kg


def _strain(streams: Streams, plan: Preparation, mash_kg: float, solids_kg: float) -> None:
    pulp_solids_kg = solids_kg * plan.pulp_solids_fraction
    pulp_kg = pulp_solids_kg / (1.0 - plan.pulp_water_fraction)
    residue_kg = plan.residue_fraction * mash_kg
    raw_kg = mash_kg - pulp_kg - residue_kg
    raw_solids_kg = (solids_kg - pulp_solids_kg) * raw_kg / (raw_kg + residue_kg)
    streams.put("pulp", pulp_kg, pulp_solids_kg)
    streams.put("raw_milk", raw_kg, raw_solids_kg)
    streams.residue_kg["strain"] = residue_kg
    if plan.starch_fraction <= 0.0:
        streams.put("milk", raw_kg, raw_solids_kg)
        return
    starch_kg = raw_kg * plan.starch_fraction
    starch_solids_kg = starch_kg * plan.starch_solids_fraction
    residue_kg = plan.residue_fraction * raw_kg
    milk_kg = raw_kg - starch_kg - residue_kg
    milk_solids_kg = (raw_solids_kg - starch_solids_kg) * milk_kg / (milk_kg + residue_kg)
    streams.put("starch", starch_kg, starch_solids_kg)
    streams.put("milk", milk_kg, milk_solids_kg)
    streams.residue_kg["settle"] = residue_kg
