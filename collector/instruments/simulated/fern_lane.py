# SPDX-License-Identifier: MIT
"""Fern Lane, an invented kitchen with the pots North, South and Small; all of it is made up.

Must not import `api`, and shares nothing with `api.process`.
"""

from __future__ import annotations

from dataclasses import replace

from collector.errors import ProcessError
from collector.instruments.simulated.instruments import ProbeModel, ScaleModel
from collector.instruments.simulated.outfit import Outfit, Sampling
from collector.instruments.simulated.plan import (
    Chilling,
    Forming,
    Heating,
    Pour,
    Preparation,
    Scenario,
    Stirring,
    Target,
)
from collector.instruments.simulated.properties import standard_pressure_pa
from collector.instruments.simulated.vessel import Hob, Kitchen

POTS = ("north", "south", "small")
ALTITUDE_M = 180.0
KITCHEN = Kitchen(room_degc=21.5, pressure_pa=standard_pressure_pa(ALTITUDE_M))

# The shares are invented, of the size that published balances of soy have (Wang & Cavins 1989,
# seen); nothing is claimed of a real pea or sesame.
_PREPARATIONS = {
    "soybean": Preparation("soybean", 1.0),
    "yellow pea": Preparation(
        "yellow pea",
        dry_water_fraction=0.10,
        uptake_ratio=1.0,
        water_ratio=5.0,
        pulp_solids_fraction=0.33,
        starch_fraction=0.055,
        starch_solids_fraction=0.42,
    ),
    "sesame": Preparation(
        "sesame",
        dry_water_fraction=0.05,
        soak_ratio=0.0,
        uptake_ratio=0.0,
        water_ratio=6.0,
        pulp_solids_fraction=0.25,
        pulp_water_fraction=0.72,
    ),
}
INGREDIENTS = tuple(_PREPARATIONS)


def preparation_of(ingredient: str, dry_kg: float) -> Preparation:
    """Return how an ingredient is made into milk here.

    Args:
        ingredient: "soybean", "yellow pea" or "sesame".
        dry_kg: [kg].

    Raises:
        ProcessError: It isn't known here.
    """
    if ingredient not in _PREPARATIONS:
        raise ProcessError(
            f"The ingredient {ingredient!r} isn't known to the simulation.",
            where="simulated pot",
            do=f"Use {', '.join(_PREPARATIONS)}.",
        )
    return replace(_PREPARATIONS[ingredient], dry_kg=dry_kg)


def fern_lane(pot: str) -> Scenario:
    """Return the usual batch of one of the three pots.

    Args:
        pot: "north", "south" or "small".

    Raises:
        ProcessError: There is no such pot.
    """
    scenarios = {"north": _north, "south": _south, "small": _small}
    if pot.lower() not in scenarios:
        raise ProcessError(
            f"There is no pot {pot!r} in the simulated kitchen.",
            where="simulated pot",
            do=f"Use {', '.join(scenarios)}.",
        )
    return scenarios[pot.lower()]()


def _outfit(time_constant_s: float, resolution_kg: float) -> Outfit:
    probe = ProbeModel(
        time_constant_s=time_constant_s,
        still_factor=1.15,
        bottom_fraction=0.3,
        plume_k=0.15,
        noise_k=0.02,
        drift_k=0.02,
    )
    scale = ScaleModel(
        noise_kg=resolution_kg / 2.0,
        stirring_noise_kg=10.0 * resolution_kg,
        resolution_kg=resolution_kg,
    )
    return Outfit(
        milk=probe,
        milk_sampling=Sampling(1.0, jitter_s=0.01),
        under_pot=scale,
        under_press=ScaleModel(),
        dip_s=time_constant_s,
        dip_u_s=0.1 * time_constant_s,
    )


def _north() -> Scenario:
    """Two kilograms of soybean on a strong induction hob, boiled, set at 80 degC falling."""
    return Scenario(
        name="north",
        preparation=preparation_of("soybean", 2.0),
        hob=Hob(5000.0, 0.86, 1.0),
        kitchen=KITCHEN,
        heating=Heating(simmer_fraction=0.4, stirring=Stirring(0.7, 45.0, 0.5)),
        target=Target(80.0, "falling", maker_error_k=-0.2),
        pours=(Pour(0.05, 0.9, 21.0, duration_s=30.0, stirred_s=10.0),),
        chilling=Chilling(blocks=8),
        outfit=_outfit(7.0, 0.002),
    )


def _south() -> Scenario:
    """A good kilogram of yellow pea on gas, its starch settled, set at 78 degC in two pours."""
    return Scenario(
        name="south",
        preparation=preparation_of("yellow pea", 1.2),
        hob=Hob(6000.0, 0.48, 6.0),
        kitchen=KITCHEN,
        heating=Heating(hold_s=720.0, simmer_fraction=0.35, stirring=Stirring(0.8, 40.0, 0.6)),
        target=Target(78.0, "falling", maker_error_k=-0.3, reaction_s=8.0),
        pours=(
            Pour(0.02, 0.35, 22.0, duration_s=20.0, stirred_s=10.0),
            Pour(0.01, 0.2, 22.0, duration_s=15.0, stirred_s=8.0, wait_s=150.0),
        ),
        forming=Forming(recovery_fraction=0.7, curd_water_fraction=0.89),
        chilling=Chilling(blocks=4),
        outfit=_outfit(9.0, 0.002),
    )


def _small() -> Scenario:
    """Half a kilogram of soybean on a slow electric plate, boiled, set at 80 degC falling."""
    return Scenario(
        name="small",
        preparation=preparation_of("soybean", 0.5),
        hob=Hob(1800.0, 0.7, 110.0),
        kitchen=KITCHEN,
        heating=Heating(simmer_fraction=0.3, stirring=Stirring(0.6, 60.0, 0.4)),
        target=Target(80.0, "falling"),
        pours=(Pour(0.012, 0.25, 20.5, duration_s=15.0, stirred_s=8.0),),
        chilling=Chilling(blocks=2),
        outfit=_outfit(5.0, 0.001),
    )
