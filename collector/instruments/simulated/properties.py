# SPDX-License-Identifier: MIT
"""What water, plant milk and the air of a kitchen are like, for the simulated pots.

Pure: standard library only. Must not import `api`, and shares nothing with `api.process`: the
calculations there are checked against pots that are simulated here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from collector.errors import ProcessError

ZERO_CELSIUS_K = 273.15
STANDARD_PRESSURE_PA = 101_325.0
LIQUID_DENSITY_KG_M3 = 1000.0

# Wagner & Pruss 1993, J. Phys. Chem. Ref. Data 22, 783, equation 1 (from memory; the outside
# tests compare it with IAPWS-IF97 through another library).
_CRITICAL_K = 647.096
_CRITICAL_PA = 22.064e6
_A1, _A2, _A3 = -7.85951783, 1.84408259, -11.7866497  # of powers 1, 1.5, 3
_A4, _A5, _A6 = 22.6807411, -15.9618719, 1.80122502  # of powers 3.5, 4, 7.5


@dataclass(frozen=True, slots=True)
class HeatCapacity:
    """A specific heat capacity c = a + b T + c T^2 with T in degC.

    Attributes:
        a: [J/(kg K)].
        b: [J/(kg K2)].
        c: [J/(kg K3)].
    """

    a: float
    b: float = 0.0
    c: float = 0.0

    def at(self, temperature_degc: float) -> float:
        """Return the heat capacity at a temperature [J/(kg K)]."""
        return self.a + temperature_degc * (self.b + temperature_degc * self.c)

    def enthalpy(self, temperature_degc: float) -> float:
        """Return the specific enthalpy above 0 degC [J/kg]."""
        t = temperature_degc
        return t * (self.a + t * (self.b / 2.0 + t * self.c / 3.0))


# Quadratic fitted to the saturated liquid of IAPWS-IF97 from 0.5 to 110 degC (computed); within
# 0.1 % of it above 10 degC and 0.3 % at 0 degC.
WATER_HEAT = HeatCapacity(4208.06, -1.24548, 0.0134026)
# 40 % protein, 25 % fat, 30 % carbohydrate, 5 % ash by the component lines of Choi & Okos 1986
# (second hand; computed).
SOLIDS_HEAT = HeatCapacity(1818.6, 1.5352, -0.003691)


@dataclass(frozen=True, slots=True)
class Heats:
    """The heat capacities that a simulation runs with.

    Attributes:
        water: Of water.
        solids: Of dry plant solids and of coagulants.
    """

    water: HeatCapacity = WATER_HEAT
    solids: HeatCapacity = SOLIDS_HEAT

    def specific_enthalpy(self, solids_fraction: float, temperature_degc: float) -> float:
        """Return the enthalpy of a liquid above 0 degC [J/kg].

        Args:
            solids_fraction: Mass of solids over mass of liquid [-].
            temperature_degc: [degC].
        """
        water = self.water.enthalpy(temperature_degc)
        return water + solids_fraction * (self.solids.enthalpy(temperature_degc) - water)

    def specific_heat(self, solids_fraction: float, temperature_degc: float) -> float:
        """Return the specific heat capacity of a liquid [J/(kg K)]."""
        water = self.water.at(temperature_degc)
        return water + solids_fraction * (self.solids.at(temperature_degc) - water)

    def temperature(self, water_kg: float, solids_kg: float, enthalpy_j: float) -> float:
        """Return the temperature that a liquid of this enthalpy has [degC].

        Args:
            water_kg: Mass of water [kg].
            solids_kg: Mass of solids [kg]; the two together must be above 0.
            enthalpy_j: Total enthalpy above 0 degC [J].
        """
        water, solids = self.water, self.solids
        a = water_kg * water.a + solids_kg * solids.a
        b = (water_kg * water.b + solids_kg * solids.b) / 2.0
        c = (water_kg * water.c + solids_kg * solids.c) / 3.0
        t = enthalpy_j / a  # within 0.5 K; each step squares the relative error
        for _ in range(2):
            t -= (t * (a + t * (b + t * c)) - enthalpy_j) / (a + t * (2.0 * b + t * 3.0 * c))
        return t


def saturation_pressure_pa(temperature_degc: float) -> float:
    """Return the saturation pressure of water vapour [Pa].

    Args:
        temperature_degc: From 0 to 370 [degC].

    Source:
        Wagner & Pruss 1993, equation 1 (from memory).

    Example:
        >>> round(saturation_pressure_pa(100.0) / 1000.0, 1)
        101.4
    """
    kelvin = temperature_degc + ZERO_CELSIUS_K
    rest = 1.0 - kelvin / _CRITICAL_K
    root, cube = math.sqrt(rest), rest * rest * rest
    total = rest * (_A1 + _A2 * root + rest * rest * (_A3 + _A4 * root + _A5 * rest))
    total += _A6 * cube * cube * rest * root
    return _CRITICAL_PA * math.exp(_CRITICAL_K / kelvin * total)


def boiling_point_degc(pressure_pa: float) -> float:
    """Return the temperature at which water boils [degC].

    Args:
        pressure_pa: Absolute pressure, 20 to 400 kPa [Pa].

    Raises:
        ProcessError: The pressure isn't one of a kitchen.

    Example:
        >>> round(boiling_point_degc(84_556.0), 1)
        95.0
    """
    if not 20_000.0 <= pressure_pa <= 400_000.0:
        raise ProcessError(
            f"A pressure of {pressure_pa:.6g} Pa is not that of a kitchen.",
            where="simulated pot",
            do="Give the absolute pressure, from 20000 to 400000 Pa.",
        )
    low, high = 50.0, 150.0
    for _ in range(60):
        middle = (low + high) / 2.0
        if saturation_pressure_pa(middle) < pressure_pa:
            low = middle
        else:
            high = middle
    return (low + high) / 2.0


def latent_heat_j_kg(temperature_degc: float) -> float:
    """Return the heat that it takes to evaporate water [J/kg].

    Source:
        Quadratic fitted to IAPWS-IF97 from 0.5 to 110 degC (computed), within 0.05 %.

    Example:
        >>> round(latent_heat_j_kg(100.0) / 1000.0)
        2257
    """
    t = temperature_degc
    return 2_500_087.0 - t * (2284.08 + t * 1.51233)


def standard_pressure_pa(altitude_m: float) -> float:
    """Return the air pressure of the standard atmosphere [Pa].

    Args:
        altitude_m: Height above sea level, -400 to 11000 [m].

    Source:
        ISO 2533:1975, troposphere (from memory).

    Example:
        >>> round(standard_pressure_pa(1500.0) / 1000.0, 2)
        84.56
    """
    return STANDARD_PRESSURE_PA * float((1.0 - 0.0065 * altitude_m / 288.15) ** 5.25588)
