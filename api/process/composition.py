# SPDX-License-Identifier: MIT
"""What a food is made of, with carbohydrate explicit as net of fibre.

Pure: no I/O; imports only the ground and the component equations.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from api.process.components import Component
from collector.errors import ProcessError

SUM_TOLERANCE = 0.01


@dataclass(frozen=True, slots=True)
class Composition:
    """Mass fractions of a food, with carbohydrate always net of fibre.

    Tables differ: carbohydrate "by difference" holds the fibre, "available" carbohydrate does
    not. Use the constructor that says which one you have, so that fibre is counted once.

    Attributes:
        water_fraction: [-].
        protein_fraction: [-].
        fat_fraction: [-].
        net_carbohydrate_fraction: Carbohydrate without fibre [-].
        fibre_fraction: [-].
        ash_fraction: [-].
    """

    water_fraction: float
    protein_fraction: float
    fat_fraction: float
    net_carbohydrate_fraction: float
    fibre_fraction: float
    ash_fraction: float

    def __post_init__(self) -> None:
        for component, fraction in self.fractions():
            if not 0.0 <= fraction <= 1.0:
                raise ProcessError(
                    f"The mass fraction of {component.value} is {fraction:g}.",
                    where="composition",
                    do="Give each fraction between 0 and 1 (a percentage divided by 100).",
                )
        total = math.fsum(fraction for _, fraction in self.fractions())
        if abs(total - 1.0) > SUM_TOLERANCE + 1e-12:
            raise ProcessError(
                f"The mass fractions add up to {total:.4f}, more than {SUM_TOLERANCE} from 1.",
                where="composition",
                do="Add what is missing, or check whether fibre stands both by itself and "
                "inside the carbohydrate.",
            )

    @classmethod
    def from_net_carbohydrate(
        cls,
        *,
        water_fraction: float,
        protein_fraction: float,
        fat_fraction: float,
        net_carbohydrate_fraction: float,
        fibre_fraction: float,
        ash_fraction: float,
    ) -> Composition:
        """Return a composition from a table whose carbohydrate excludes fibre.

        Args:
            water_fraction: Water [-].
            protein_fraction: Protein [-].
            fat_fraction: Fat [-].
            net_carbohydrate_fraction: Available carbohydrate, fibre excluded [-].
            fibre_fraction: Dietary fibre [-].
            ash_fraction: Ash [-].

        Returns:
            The composition, as given, not normalised [-].

        Raises:
            ProcessError: A fraction lies outside 0 … 1, or the sum outside 0.99 … 1.01.

        Source:
            Definition; tables that list available carbohydrate, such as Longvah et al. (2017).
        """
        return cls(
            water_fraction,
            protein_fraction,
            fat_fraction,
            net_carbohydrate_fraction,
            fibre_fraction,
            ash_fraction,
        )

    @classmethod
    def from_carbohydrate_by_difference(
        cls,
        *,
        water_fraction: float,
        protein_fraction: float,
        fat_fraction: float,
        carbohydrate_fraction: float,
        fibre_fraction: float,
        ash_fraction: float,
    ) -> Composition:
        """Return a composition from a table whose carbohydrate includes fibre.

        Args:
            water_fraction: Water [-].
            protein_fraction: Protein [-].
            fat_fraction: Fat [-].
            carbohydrate_fraction: Carbohydrate by difference, fibre included [-].
            fibre_fraction: Dietary fibre, 0 if the table has none [-].
            ash_fraction: Ash [-].

        Returns:
            The composition, as given, not normalised [-].

        Raises:
            ProcessError: There is more fibre than carbohydrate, a fraction lies outside 0 … 1,
                or the sum outside 0.99 … 1.01.

        Source:
            Definition; USDA National Nutrient Database, Standard Reference, release 28, whose
            carbohydrate is 100 minus water, protein, fat and ash.
        """
        if fibre_fraction > carbohydrate_fraction:
            raise ProcessError(
                f"Fibre ({fibre_fraction:g}) is more than the carbohydrate that should hold it "
                f"({carbohydrate_fraction:g}).",
                where="composition",
                do="Use from_net_carbohydrate if the table's carbohydrate excludes fibre.",
            )
        net = carbohydrate_fraction - fibre_fraction
        return cls(
            water_fraction, protein_fraction, fat_fraction, net, fibre_fraction, ash_fraction
        )

    def fractions(self) -> tuple[tuple[Component, float], ...]:
        """Return each component with its mass fraction.

        Returns:
            Pairs of component and mass fraction [-], in a fixed order.

        Source:
            Definition.
        """
        return (
            (Component.WATER, self.water_fraction),
            (Component.PROTEIN, self.protein_fraction),
            (Component.FAT, self.fat_fraction),
            (Component.CARBOHYDRATE, self.net_carbohydrate_fraction),
            (Component.FIBRE, self.fibre_fraction),
            (Component.ASH, self.ash_fraction),
        )


# Soymilk, plain, unfortified: USDA SR28, NDB 16120 (seen).
SOYMILK = Composition.from_carbohydrate_by_difference(
    water_fraction=0.8805,
    protein_fraction=0.0327,
    fat_fraction=0.0175,
    carbohydrate_fraction=0.0628,
    fibre_fraction=0.006,
    ash_fraction=0.0065,
)
WATER = Composition(1.0, 0.0, 0.0, 0.0, 0.0, 0.0)
