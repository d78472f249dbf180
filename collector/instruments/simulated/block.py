# SPDX-License-Identifier: MIT
"""The curd after the pot: whey pressed out of it, and the block that cools in air and water.

Pure: standard library only. Must not import `api`, and shares nothing with `api.process`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

CURD_DENSITY_KG_M3 = 1030.0
# Pressed curd, about 83 % water, by the component lines of Choi & Okos 1986 (computed).
CURD_HEAT_J_KG_K = 3800.0
CURD_CONDUCTIVITY_W_M_K = 0.56
WATER_HEAT_J_KG_K = 4190.0
STEP_S = 1.0


@dataclass(frozen=True, slots=True)
class Drain:
    """How press whey runs off: most of it at once, the rest slowly.

    Attributes:
        total_kg: What would run off in the end [kg].
        fast_fraction: Share that runs off fast [-].
        fast_s: Time constant of that share [s].
        slow_s: Time constant of the rest [s].
    """

    total_kg: float
    fast_fraction: float = 0.6
    fast_s: float = 60.0
    slow_s: float = 900.0

    def run_off_kg(self, time_s: float) -> float:
        """Return what has run off after a time under the weight [kg]."""
        if time_s <= 0.0:
            return 0.0
        left = self.fast_fraction * math.exp(-time_s / self.fast_s)
        left += (1.0 - self.fast_fraction) * math.exp(-time_s / self.slow_s)
        return self.total_kg * (1.0 - left)


@dataclass(frozen=True, slots=True)
class Medium:
    """What the block lies in.

    Attributes:
        name: "room", "water" or "fridge".
        temperature_degc: Its temperature, at the start where it warms up [degC].
        film_w_m2_k: Heat transfer to it [W/(m2 K)].
        water_kg: Mass of a bath that the block warms; 0 for a medium that stays [kg].
        swing_k: Half the swing of a fridge's temperature [K].
        swing_s: Period of that swing [s].
    """

    name: str
    temperature_degc: float
    film_w_m2_k: float
    water_kg: float = 0.0
    swing_k: float = 0.0
    swing_s: float = 1200.0


@dataclass(slots=True)
class Block:
    """Curd as two nodes, a core and a shell, each with half of the mass.

    Attributes:
        mass_kg: [kg].
        core_degc: Where a block probe sits [degC].
        shell_degc: [degC].
        medium: What it lies in.
        bath_degc: Temperature of the medium now [degC].
        time_in_s: Since it was put there [s].
        bath_loss_w_k: From a bath to the room [W/K].
        room_degc: [degC].
    """

    mass_kg: float
    core_degc: float
    shell_degc: float
    medium: Medium
    room_degc: float
    bath_degc: float = 0.0
    time_in_s: float = 0.0
    bath_loss_w_k: float = 1.0

    def __post_init__(self) -> None:
        self.put_in(self.medium)

    def put_in(self, medium: Medium) -> None:
        """Lay the block into another medium."""
        self.medium = medium
        self.bath_degc = medium.temperature_degc
        self.time_in_s = 0.0

    @property
    def mean_degc(self) -> float:
        """Core and shell together [degC]."""
        return (self.core_degc + self.shell_degc) / 2.0

    @property
    def conductances_w_k(self) -> tuple[float, float]:
        """Core to shell, and shell to medium, of a block twice as wide as high [W/K]."""
        width_m = (2.0 * self.mass_kg / CURD_DENSITY_KG_M3) ** (1.0 / 3.0)
        surface_m2 = 4.0 * width_m**2
        inner = CURD_CONDUCTIVITY_W_M_K * surface_m2 / (width_m / 4.0)
        return inner, self.medium.film_w_m2_k * surface_m2

    def add(self, mass_kg: float, temperature_degc: float) -> None:
        """Lay more curd on, mixed into both nodes [kg, degC]."""
        if mass_kg <= 0.0:
            return
        share = mass_kg / (self.mass_kg + mass_kg)
        self.core_degc += share * (temperature_degc - self.core_degc)
        self.shell_degc += share * (temperature_degc - self.shell_degc)
        self.mass_kg += mass_kg

    def step(self, duration_s: float) -> None:
        """Go on in time, in equal midpoint steps of at most `STEP_S`.

        Args:
            duration_s: At least 0 [s].
        """
        count = max(1, math.ceil(duration_s / STEP_S - 1e-9))
        step_s = duration_s / count
        for _ in range(count):
            here = (self.core_degc, self.shell_degc, self.bath_degc)
            half = [t + step_s / 2.0 * r for t, r in zip(here, self._rates(here), strict=True)]
            rates = self._rates((half[0], half[1], half[2]))
            self.core_degc += step_s * rates[0]
            self.shell_degc += step_s * rates[1]
            self.bath_degc += step_s * rates[2]
            self.time_in_s += step_s
            self._swing()

    def _rates(self, degc: tuple[float, float, float]) -> tuple[float, float, float]:
        core, shell, bath = degc
        inner, outer = self.conductances_w_k
        half_j_k = self.mass_kg * CURD_HEAT_J_KG_K / 2.0
        out_w = outer * (shell - bath)
        in_w = inner * (core - shell)
        bath_rate = 0.0
        if self.medium.water_kg > 0.0:
            loss_w = self.bath_loss_w_k * (bath - self.room_degc)
            bath_rate = (out_w - loss_w) / (self.medium.water_kg * WATER_HEAT_J_KG_K)
        return -in_w / half_j_k, (in_w - out_w) / half_j_k, bath_rate

    def _swing(self) -> None:
        medium = self.medium
        if medium.swing_k > 0.0:
            phase = 2.0 * math.pi * self.time_in_s / medium.swing_s
            self.bath_degc = medium.temperature_degc + medium.swing_k * math.sin(phase)
