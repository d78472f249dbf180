# SPDX-License-Identifier: MIT
"""The plan of a simulated batch: what the maker means to do, with what, and how well.

Pure: standard library only. Must not import `api`, and shares nothing with `api.process`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from collector.instruments.simulated.outfit import Outfit, Trouble
from collector.instruments.simulated.vessel import Hob, Kitchen, Mixing, Pot, pot_for


@dataclass(frozen=True, slots=True)
class Preparation:
    """From the dry ingredient to the milk.

    Attributes:
        ingredient: Its name.
        dry_kg: [kg].
        dry_water_fraction: Water in it [-].
        soak_ratio: Soak water to dry mass; 0 where it isn't soaked [-].
        uptake_ratio: Water taken up to dry mass [-].
        leached_fraction: Share of the solids that goes with the drained water [-].
        water_ratio: Grinding and rinse water to dry mass [-].
        pulp_solids_fraction: Share of the solids that stays in the pulp [-].
        pulp_water_fraction: Water in the pulp [-].
        starch_fraction: Mass of the settled starch to raw milk; 0 for no settling [-].
        starch_solids_fraction: Solids in the starch [-].
        residue_fraction: What stays behind at each node, to its inflow [-].
        soak_s: Duration of the soak [s].
    """

    ingredient: str = "soybean"
    dry_kg: float = 1.0
    dry_water_fraction: float = 0.0854
    soak_ratio: float = 3.0
    uptake_ratio: float = 1.2
    leached_fraction: float = 0.02
    water_ratio: float = 6.0
    pulp_solids_fraction: float = 0.30
    pulp_water_fraction: float = 0.81
    starch_fraction: float = 0.0
    starch_solids_fraction: float = 0.4
    residue_fraction: float = 0.001
    soak_s: float = 10 * 3600.0


@dataclass(frozen=True, slots=True)
class Stirring:
    """How the maker stirs while the milk is on the heat.

    Attributes:
        fraction: How well, 0 still, 1 stirred well [-].
        period_s: Every so often; 0 for all the time [s].
        duty_fraction: Share of each period that it lasts [-].
    """

    fraction: float = 1.0
    period_s: float = 0.0
    duty_fraction: float = 1.0

    def at(self, time_s: float) -> float:
        """Return how well the milk is stirred at a time [-]."""
        if self.period_s <= 0.0:
            return self.fraction
        return self.fraction if time_s % self.period_s < self.duty_fraction * self.period_s else 0.0


@dataclass(frozen=True, slots=True)
class Heating:
    """Heat, and a hold if one is wanted.

    Attributes:
        to_degc: How hot; None to the boil [degC].
        hold_s: How long it is kept there [s].
        simmer_fraction: Setting of the hob during the hold [-].
        stirring: While it is heated, held and cooled.
        milk_degc: The milk at the beginning [degC].
        lead_s: Time in the pot before the hob is switched on [s].
        covered_fraction: The lid is on until this share of the way to the goal [-].
        taken_off: The pot is taken off the hob when that is switched off.
    """

    to_degc: float | None = None
    hold_s: float = 600.0
    simmer_fraction: float = 0.35
    stirring: Stirring = Stirring(0.6, 60.0, 0.5)
    milk_degc: float = 18.0
    lead_s: float = 60.0
    covered_fraction: float = 0.0
    taken_off: bool = False


@dataclass(frozen=True, slots=True)
class Target:
    """The milk temperature at which the coagulant goes in.

    Attributes:
        value_degc: [degC].
        approach: "rising" or "falling".
        maker_error_k: How far off the maker is in judging it [K].
        reaction_s: How long the maker takes to begin [s].
    """

    value_degc: float = 80.0
    approach: Literal["rising", "falling"] = "falling"
    maker_error_k: float = 0.0
    reaction_s: float = 5.0


@dataclass(frozen=True, slots=True)
class Pour:
    """One addition of coagulant in water.

    Attributes:
        coagulant_kg: [kg].
        water_kg: [kg].
        temperature_degc: Of the slurry [degC].
        duration_s: How long it takes to pour [s].
        stirred_s: How long it is stirred afterwards [s].
        wait_s: Between the end of stirring of the pour before and this one [s].
    """

    coagulant_kg: float
    water_kg: float
    temperature_degc: float = 20.0
    duration_s: float = 20.0
    stirred_s: float = 15.0
    wait_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Standing:
    """From the last pour to the ladle.

    Attributes:
        cover_after_s: Until the lid is on, from the end of stirring [s].
        set_after_s: Until the first curd, from the end of the last pour [s].
        hold_s: Covered, until the lid comes off [s].
        lid: False where it stands uncovered.
        set_degc: Self-set milks set above this temperature [degC].
    """

    cover_after_s: float = 20.0
    set_after_s: float = 90.0
    hold_s: float = 900.0
    lid: bool = True
    set_degc: float = 85.0


@dataclass(frozen=True, slots=True)
class Forming:
    """Ladling and pressing.

    Attributes:
        whey_first_fraction: Share of the pot that is drawn as whey before the curd [-].
        scoops: Number of ladles of curd [-].
        ladle_s: Duration of ladling [s].
        recovery_fraction: Share of the solids in the pot that is in the curd [-].
        curd_water_fraction: Water in the curd that goes into the press [-].
        residue_fraction: What stays in pot and tray, to the inflow [-].
        settle_s: Between ladle and press [s].
        press_s: Duration of pressing [s].
        run_off_fraction: Press whey in the end, to the curd [-].
        fast_fraction: Share of it that runs off fast [-].
        fast_s: Its time constant [s].
        slow_s: Of the rest [s].
        whey_solids_fraction: Solids in the press whey [-].
    """

    whey_first_fraction: float = 0.25
    scoops: int = 14
    ladle_s: float = 240.0
    recovery_fraction: float = 0.82
    curd_water_fraction: float = 0.88
    residue_fraction: float = 0.001
    settle_s: float = 30.0
    press_s: float = 1500.0
    run_off_fraction: float = 0.32
    fast_fraction: float = 0.6
    fast_s: float = 60.0
    slow_s: float = 800.0
    whey_solids_fraction: float = 0.025


@dataclass(frozen=True, slots=True)
class Chilling:
    """A water bath, then a fridge.

    Attributes:
        bath_s: Duration in the water; 0 for none [s].
        bath_degc: Water at the beginning, and fresh water at each change [degC].
        bath_ratio: Mass of water to block [-].
        changes: How often the water is changed [-].
        fridge_degc: [degC].
        fridge_film_w_m2_k: Heat transfer in the fridge [W/(m2 K)].
        until_degc: The batch ends when the core is so cold [degC].
        longest_s: Or after so long [s].
        wait_s: Between unmoulding and chilling [s].
        blocks: How many equal blocks the curd is cut into; the probe is in one of them [-].
    """

    bath_s: float = 2400.0
    bath_degc: float = 12.0
    bath_ratio: float = 6.0
    changes: int = 1
    fridge_degc: float = 3.0
    fridge_film_w_m2_k: float = 9.0
    until_degc: float = 5.0
    longest_s: float = 8 * 3600.0
    wait_s: float = 60.0
    blocks: int = 1


@dataclass(frozen=True, slots=True)
class Scenario:
    """A whole batch as it is meant to go.

    Attributes:
        name: Name of the pot, first part of the series' names.
        preparation: From dry to milk.
        pot: The pot; made to measure where None.
        hob: The hob.
        kitchen: The air.
        mixing: How fast the milk mixes.
        heating: Heat and its hold.
        target: Where the coagulant goes in; without pours it is only passed.
        pours: The additions in order; none for a self-set milk.
        standing: Cover, set and hold.
        forming: Ladle and press.
        chilling: Bath and fridge; None ends the batch with the press.
        outfit: The instruments.
        troubles: What goes wrong with them.
    """

    name: str = "north"
    preparation: Preparation = Preparation()
    pot: Pot | None = None
    hob: Hob = field(default_factory=lambda: Hob(3000.0))
    kitchen: Kitchen = field(default_factory=Kitchen)
    mixing: Mixing = field(default_factory=Mixing)
    heating: Heating = Heating()
    target: Target = Target()
    pours: tuple[Pour, ...] = (Pour(0.025, 0.5),)
    standing: Standing = Standing()
    forming: Forming = Forming()
    chilling: Chilling | None = Chilling()
    outfit: Outfit = field(default_factory=Outfit)
    troubles: tuple[Trouble, ...] = ()

    @property
    def vessel(self) -> Pot:
        """The pot, made to measure if none was given."""
        preparation = self.preparation
        milk_kg = preparation.dry_kg * (preparation.water_ratio + preparation.uptake_ratio)
        return self.pot or pot_for(milk_kg)
