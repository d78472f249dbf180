# SPDX-License-Identifier: MIT
"""Heat capacity, density and conductivity of milk, curd and whey from what they are made of.

The component equations of Choi and Okos (1986), as reprinted in the refrigeration handbook of
ASHRAE, with their mixing rules. Pure: no I/O; imports only the ground and what is pure.
"""

from __future__ import annotations

import math

from api.process.components import (
    Component,
    component_conductivity,
    component_density,
    component_enthalpy_difference,
    component_specific_heat,
)
from api.process.composition import Composition
from api.process.quantities import Quantity

# The component equations are stated to hold within about 6 % (Fricke and Becker 2001, p. 312,
# second hand); for liquid water they lie within 0.5 % of IAPWS between 10 and 100 degC and 1 %
# low at 0 degC (computed). Both are taken as half-widths of a rectangle, common to all solids.
_SOLIDS_ERROR_FRACTION = 0.06
_WATER_ERROR_FRACTION = 0.005

# Milk of 8-12 % solids whose composition nobody stated: the equations give 3.84-4.00 (computed).
MILK_SPECIFIC_HEAT = Quantity(
    value=3920.0,
    unit="J/(kg K)",
    u=80.0,
    method="usual heat capacity of milk with 8-12 % solids",
    sources=("Choi and Okos 1986", "assumed: solids of the milk not stated"),
)


def specific_heat(composition: Composition, temperature_degc: float) -> float:
    """Return the specific heat of a food: the mass-weighted mean of its components.

    Args:
        composition: What it is made of.
        temperature_degc: Temperature [degC].

    Returns:
        Specific heat at constant pressure [J/(kg K)].

    Raises:
        ProcessError: The temperature lies outside -40 … 150 degC.

    Source:
        Choi and Okos 1986, c = sum x_i c_i; valid -40 … 150 degC, without change of phase.

    Example:
        >>> from api.process.composition import SOYMILK
        >>> specific_heat(SOYMILK, 80.0)
        3920.8
    """
    return math.fsum(
        fraction * component_specific_heat(component, temperature_degc)
        for component, fraction in composition.fractions()
        if fraction
    )


def specific_heat_with_u(composition: Composition, temperature_degc: float) -> Quantity:
    """Return the specific heat of a food with the standard uncertainty of the equations.

    The uncertainty of the composition itself is not in it.

    Args:
        composition: What it is made of.
        temperature_degc: Temperature [degC].

    Returns:
        Specific heat at constant pressure with u [J/(kg K)].

    Raises:
        ProcessError: The temperature lies outside -40 … 150 degC.

    Source:
        Choi and Okos 1986; error of the component equations about 6 % for solids (Fricke and
        Becker 2001, second hand) and 0.5 % for water (computed against IAPWS), rectangular.
    """
    value = specific_heat(composition, temperature_degc)
    water = composition.water_fraction * component_specific_heat(Component.WATER, temperature_degc)
    half_widths = _WATER_ERROR_FRACTION * water, _SOLIDS_ERROR_FRACTION * (value - water)
    return Quantity(
        value=value,
        unit="J/(kg K)",
        u=math.hypot(*half_widths) / math.sqrt(3.0),
        method="component equations, mass-weighted",
        sources=("Choi and Okos 1986",),
    )


def density(composition: Composition, temperature_degc: float) -> float:
    """Return the density of a food without pores.

    Args:
        composition: What it is made of.
        temperature_degc: Temperature [degC].

    Returns:
        Density [kg/m3].

    Raises:
        ProcessError: The temperature lies outside -40 … 150 degC.

    Source:
        Choi and Okos 1986, 1/rho = sum x_i/rho_i; valid -40 … 150 degC.
    """
    volume = math.fsum(volume for _, volume in _volumes(composition, temperature_degc))
    return 1.0 / volume


def conductivity(composition: Composition, temperature_degc: float) -> float:
    """Return the thermal conductivity of a food, its components taken as lying in parallel.

    Args:
        composition: What it is made of.
        temperature_degc: Temperature [degC].

    Returns:
        Thermal conductivity [W/(m K)].

    Raises:
        ProcessError: The temperature lies outside -40 … 150 degC.

    Source:
        Choi and Okos 1986, k = sum of volume fraction times k_i; valid -40 … 150 degC.
    """
    volumes = _volumes(composition, temperature_degc)
    weighted = math.fsum(
        volume * component_conductivity(component, temperature_degc)
        for component, volume in volumes
    )
    return weighted / math.fsum(volume for _, volume in volumes)


def diffusivity(composition: Composition, temperature_degc: float) -> float:
    """Return the thermal diffusivity of a food.

    Args:
        composition: What it is made of.
        temperature_degc: Temperature [degC].

    Returns:
        Conductivity over density and specific heat [m2/s].

    Raises:
        ProcessError: The temperature lies outside -40 … 150 degC.

    Source:
        Definition, with the equations of Choi and Okos 1986; valid -40 … 150 degC.
    """
    return conductivity(composition, temperature_degc) / (
        density(composition, temperature_degc) * specific_heat(composition, temperature_degc)
    )


def enthalpy_difference(composition: Composition, from_degc: float, to_degc: float) -> float:
    """Return the heat that warms a food from one temperature to another, without phase change.

    The polynomials are integrated exactly, so no mean heat capacity is involved.

    Args:
        composition: What it is made of.
        from_degc: Start [degC].
        to_degc: End [degC]; below the start gives a negative difference.

    Returns:
        Enthalpy at the end minus enthalpy at the start [J/kg].

    Raises:
        ProcessError: A temperature lies outside -40 … 150 degC.

    Source:
        Choi and Okos 1986, integrated by component; valid -40 … 150 degC.

    Example:
        >>> from api.process.composition import SOYMILK
        >>> enthalpy_difference(SOYMILK, 20.0, 98.0) / 1000.0
        304.82
    """
    return math.fsum(
        fraction * component_enthalpy_difference(component, from_degc, to_degc)
        for component, fraction in composition.fractions()
        if fraction
    )


def _volumes(composition: Composition, temperature_degc: float) -> list[tuple[Component, float]]:
    return [
        (component, fraction / component_density(component, temperature_degc))
        for component, fraction in composition.fractions()
        if fraction
    ]
