# SPDX-License-Identifier: MIT
"""The component equations of Choi and Okos: water, protein, fat, carbohydrate, fibre, ash.

Pure: no I/O; imports only the ground.
"""

from __future__ import annotations

import enum

from collector.errors import ProcessError

LOWEST_DEGC = -40.0
HIGHEST_DEGC = 150.0


class Component(enum.StrEnum):
    """What a food is made of, as the component equations divide it."""

    WATER = "water"
    PROTEIN = "protein"
    FAT = "fat"
    CARBOHYDRATE = "carbohydrate net of fibre"
    FIBRE = "fibre"
    ASH = "ash"


_Line = tuple[float, float, float]

# a + b T + c T^2 with T in degC. Specific heat [J/(kg K)]; water below 0 degC is undercooled.
_SPECIFIC_HEAT: dict[Component, _Line] = {
    Component.WATER: (4176.2, -9.0864e-2, 5.4731e-3),
    Component.PROTEIN: (2008.2, 1.2089, -1.3129e-3),
    Component.FAT: (1984.2, 1.4733, -4.8008e-3),
    Component.CARBOHYDRATE: (1548.8, 1.9625, -5.9399e-3),
    Component.FIBRE: (1845.9, 1.8306, -4.6509e-3),
    Component.ASH: (1092.6, 1.8896, -3.6817e-3),
}
_UNDERCOOLED_WATER: _Line = (4081.7, -5.3062, 9.9516e-1)

# Density [kg/m3].
_DENSITY: dict[Component, _Line] = {
    Component.WATER: (997.18, 3.1439e-3, -3.7574e-3),
    Component.PROTEIN: (1329.9, -0.5184, 0.0),
    Component.FAT: (925.59, -0.41757, 0.0),
    Component.CARBOHYDRATE: (1599.1, -0.31046, 0.0),
    Component.FIBRE: (1311.5, -0.36589, 0.0),
    Component.ASH: (2423.8, -0.28063, 0.0),
}

# Thermal conductivity [W/(m K)].
_CONDUCTIVITY: dict[Component, _Line] = {
    Component.WATER: (0.57109, 1.7625e-3, -6.7036e-6),
    Component.PROTEIN: (0.17881, 1.1958e-3, -2.7178e-6),
    Component.FAT: (0.18071, -2.7604e-4, -1.7749e-7),
    Component.CARBOHYDRATE: (0.20141, 1.3874e-3, -4.3312e-6),
    Component.FIBRE: (0.18331, 1.2497e-3, -3.1683e-6),
    Component.ASH: (0.32962, 1.4011e-3, -2.9069e-6),
}


def _check_range(temperature_degc: float) -> None:
    if not LOWEST_DEGC <= temperature_degc <= HIGHEST_DEGC:
        raise ProcessError(
            f"The component equations don't hold at {temperature_degc:g} degC.",
            where="thermal properties",
            do=f"Give a temperature between {LOWEST_DEGC:g} and {HIGHEST_DEGC:g} degC.",
        )


def _at(line: _Line, temperature_degc: float) -> float:
    a, b, c = line
    return a + temperature_degc * (b + temperature_degc * c)


def _integral(line: _Line, from_degc: float, to_degc: float) -> float:
    a, b, c = line
    low, high = from_degc, to_degc
    return a * (high - low) + b * (high * high - low * low) / 2 + c * (high**3 - low**3) / 3


def component_specific_heat(component: Component, temperature_degc: float) -> float:
    """Return the specific heat of one component.

    Args:
        component: Which one; water below 0 degC is taken as undercooled, not as ice.
        temperature_degc: Temperature [degC].

    Returns:
        Specific heat at constant pressure [J/(kg K)].

    Raises:
        ProcessError: The temperature lies outside -40 … 150 degC.

    Source:
        Choi and Okos 1986 (second hand, several transcriptions agree); valid -40 … 150 degC.
    """
    _check_range(temperature_degc)
    if component is Component.WATER and temperature_degc < 0.0:
        return _at(_UNDERCOOLED_WATER, temperature_degc)
    return _at(_SPECIFIC_HEAT[component], temperature_degc)


def component_density(component: Component, temperature_degc: float) -> float:
    """Return the density of one component.

    Args:
        component: Which one.
        temperature_degc: Temperature [degC].

    Returns:
        Density [kg/m3].

    Raises:
        ProcessError: The temperature lies outside -40 … 150 degC.

    Source:
        Choi and Okos 1986 (second hand, two transcriptions agree); valid -40 … 150 degC. Water
        lies within 0.3 % of IAPWS up to 100 degC (computed).
    """
    _check_range(temperature_degc)
    return _at(_DENSITY[component], temperature_degc)


def component_conductivity(component: Component, temperature_degc: float) -> float:
    """Return the thermal conductivity of one component.

    Args:
        component: Which one.
        temperature_degc: Temperature [degC].

    Returns:
        Thermal conductivity [W/(m K)].

    Raises:
        ProcessError: The temperature lies outside -40 … 150 degC.

    Source:
        Choi and Okos 1986 (second hand); valid -40 … 150 degC.
    """
    _check_range(temperature_degc)
    return _at(_CONDUCTIVITY[component], temperature_degc)


def component_enthalpy_difference(component: Component, from_degc: float, to_degc: float) -> float:
    """Return the heat that warms one component, its polynomial integrated exactly.

    Args:
        component: Which one; water below 0 degC is taken as undercooled, not as ice.
        from_degc: Start [degC].
        to_degc: End [degC]; below the start gives a negative difference.

    Returns:
        Enthalpy at the end minus enthalpy at the start [J/kg].

    Raises:
        ProcessError: A temperature lies outside -40 … 150 degC.

    Source:
        Choi and Okos 1986, integrated; valid -40 … 150 degC.
    """
    _check_range(from_degc)
    _check_range(to_degc)
    line = _SPECIFIC_HEAT[component]
    if component is not Component.WATER:
        return _integral(line, from_degc, to_degc)
    warm = _integral(line, max(from_degc, 0.0), max(to_degc, 0.0))
    return warm + _integral(_UNDERCOOLED_WATER, min(from_degc, 0.0), min(to_degc, 0.0))
