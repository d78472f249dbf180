# SPDX-License-Identifier: MIT
"""Where the milk of a kitchen boils: pressure, altitude, weather, solutes.

Pure: no I/O; imports only the ground and what is pure.
"""

from __future__ import annotations

import math

from api.process.quantities import Quantity
from collector.errors import ProcessError

STANDARD_PRESSURE_PA = 101_325.0
LOWEST_PRESSURE_PA = 611.213
HIGHEST_SATURATION_DEGC = 373.946
HIGHEST_PRESSURE_PA = 22.064e6

# Weather moves the pressure of a place by about 3 kPa either way; read as two standard
# uncertainties (common practice; no source read).
WEATHER_U_PA = 1_500.0
# A kitchen barometer or a phone (common practice).
BAROMETER_U_PA = 200.0
# Sugars and salts raise the boiling point of milk by about 0.1 K (0.512 K kg/mol times the
# molality of about 1.5 % sugar and 0.6 % salt; computed). It is not corrected for: anything from
# 0 to 0.2 K is taken as equally likely, and mean and spread both go into u.
SOLUTES_U_K = math.hypot(0.1, 0.1 / math.sqrt(3.0))

# IAPWS-IF97, region 4, the ten coefficients of the saturation line (reproduces the three test
# points of the release).
_N = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)

# ICAO standard atmosphere below 11 km.
_SEA_LEVEL_K = 288.15
_LAPSE_K_PER_M = 0.0065
_EXPONENT = 9.80665 / (0.0065 * 287.05287)
_LOWEST_ALTITUDE_M = -5_000.0
_HIGHEST_ALTITUDE_M = 11_000.0


def saturation_temperature(pressure_pa: float) -> float:
    """Return the temperature at which pure water boils.

    Args:
        pressure_pa: Absolute pressure [Pa].

    Returns:
        Saturation temperature [degC].

    Raises:
        ProcessError: The pressure lies outside 611.213 Pa … 22.064 MPa.

    Source:
        IAPWS-IF97, region 4, backward equation (equation 31); valid 611.213 Pa … 22.064 MPa.

    Example:
        >>> saturation_temperature(101_325.0)
        99.974
    """
    if not LOWEST_PRESSURE_PA <= pressure_pa <= HIGHEST_PRESSURE_PA:
        raise ProcessError(
            f"Water has no boiling point at {pressure_pa:g} Pa.",
            where="boiling point",
            do="Give the absolute pressure in pascal, for a kitchen between 50 000 and 110 000.",
        )
    n1, n2, n3, n4, n5, n6, n7, n8, n9, n10 = _N
    beta = (pressure_pa / 1e6) ** 0.25
    e = beta * beta + n3 * beta + n6
    f = n1 * beta * beta + n4 * beta + n7
    g = n2 * beta * beta + n5 * beta + n8
    d = 2.0 * g / (-f - math.sqrt(f * f - 4.0 * e * g))
    kelvin = (n10 + d - math.sqrt((n10 + d) ** 2 - 4.0 * (n9 + n10 * d))) / 2.0
    return float(kelvin - 273.15)


def saturation_pressure(temperature_degc: float) -> float:
    """Return the pressure at which pure water boils at a temperature.

    Args:
        temperature_degc: Temperature [degC].

    Returns:
        Saturation pressure [Pa].

    Raises:
        ProcessError: The temperature lies outside 0 … 373.946 degC.

    Source:
        IAPWS-IF97, region 4, equation 30; valid 273.15 K … 647.096 K.

    Example:
        >>> saturation_pressure(99.974) / 101_325.0
        1.0000
    """
    if not 0.0 <= temperature_degc <= HIGHEST_SATURATION_DEGC:
        raise ProcessError(
            f"Water has no vapour pressure here at {temperature_degc:g} degC.",
            where="vapour pressure",
            do="Give a temperature between 0 and 373.9 degC.",
        )
    n1, n2, n3, n4, n5, n6, n7, n8, n9, n10 = _N
    kelvin = temperature_degc + 273.15
    theta = kelvin + n9 / (kelvin - n10)
    a = theta * theta + n1 * theta + n2
    b = n3 * theta * theta + n4 * theta + n5
    c = n6 * theta * theta + n7 * theta + n8
    return float((2.0 * c / (-b + math.sqrt(b * b - 4.0 * a * c))) ** 4 * 1e6)


def standard_pressure(altitude_m: float) -> float:
    """Return the pressure of the standard atmosphere at an altitude.

    Args:
        altitude_m: Altitude above sea level [m].

    Returns:
        Pressure [Pa].

    Raises:
        ProcessError: The altitude lies outside -5 … 11 km.

    Source:
        ICAO standard atmosphere (Doc 7488), troposphere; valid -5 000 … 11 000 m.

    Example:
        >>> standard_pressure(1000.0)
        89875.
    """
    if not _LOWEST_ALTITUDE_M <= altitude_m <= _HIGHEST_ALTITUDE_M:
        raise ProcessError(
            f"There is no kitchen at {altitude_m:g} m.",
            where="altitude",
            do="Give the altitude above sea level in metres.",
        )
    share = (_SEA_LEVEL_K - _LAPSE_K_PER_M * altitude_m) / _SEA_LEVEL_K
    return float(STANDARD_PRESSURE_PA * share**_EXPONENT)


def station_pressure(sea_level_pressure_pa: float, altitude_m: float) -> float:
    """Return the pressure in the kitchen from one that a weather report gives for sea level.

    Args:
        sea_level_pressure_pa: Pressure reduced to sea level [Pa].
        altitude_m: Altitude of the kitchen above sea level [m].

    Returns:
        Pressure at the altitude [Pa].

    Raises:
        ProcessError: The altitude lies outside -5 … 11 km.

    Source:
        ICAO standard atmosphere (Doc 7488), scaled by the pressure at sea level.
    """
    return sea_level_pressure_pa * standard_pressure(altitude_m) / STANDARD_PRESSURE_PA


def boiling_point_at_pressure(
    pressure_pa: float, u_pressure_pa: float = BAROMETER_U_PA
) -> Quantity:
    """Return where milk boils at a measured pressure.

    Args:
        pressure_pa: Pressure in the kitchen, not reduced to sea level [Pa].
        u_pressure_pa: Its standard uncertainty [Pa].

    Returns:
        Boiling point of water, its u widened for the solutes of milk [degC].

    Raises:
        ProcessError: The pressure lies outside 611.213 Pa … 22.064 MPa, or u is below 0.

    Source:
        IAPWS-IF97, region 4; rise by solutes from the ebullioscopic constant of water,
        0.512 K kg/mol, taken as an uncertainty.
    """
    return _boiling_point(pressure_pa, u_pressure_pa, f"pressure {pressure_pa / 1000:.1f} kPa")


def boiling_point_at_altitude(altitude_m: float, u_altitude_m: float = 20.0) -> Quantity:
    """Return where milk boils at an altitude, whatever the weather.

    Args:
        altitude_m: Altitude above sea level [m].
        u_altitude_m: Its standard uncertainty [m].

    Returns:
        Boiling point of water; u holds the weather (1.5 kPa), the altitude and the solutes
        [degC].

    Raises:
        ProcessError: The altitude lies outside -5 … 11 km, or u is below 0.

    Source:
        ICAO standard atmosphere (Doc 7488); IAPWS-IF97, region 4; weather of ±3 kPa read as two
        standard uncertainties (common practice).
    """
    pressure_pa = standard_pressure(altitude_m)
    per_metre = pressure_pa * _EXPONENT * _LAPSE_K_PER_M / (
        _SEA_LEVEL_K - _LAPSE_K_PER_M * altitude_m
    )  # fmt: skip
    if u_altitude_m < 0:
        raise _negative_u(u_altitude_m, "m")
    u_pressure_pa = math.hypot(WEATHER_U_PA, per_metre * u_altitude_m)
    return _boiling_point(
        pressure_pa, u_pressure_pa, f"altitude {altitude_m:.0f} m", "assumed: weather within 3 kPa"
    )


def _boiling_point(pressure_pa: float, u_pressure_pa: float, *sources: str) -> Quantity:
    if u_pressure_pa < 0:
        raise _negative_u(u_pressure_pa, "Pa")
    value = saturation_temperature(pressure_pa)
    step_pa = 1e-4 * pressure_pa
    slope = (saturation_temperature(pressure_pa + step_pa) - value) / step_pa
    return Quantity(
        value=value,
        unit="degC",
        u=math.hypot(slope * u_pressure_pa, SOLUTES_U_K),
        method="saturation temperature of water",
        sources=(*sources, "IAPWS-IF97", "rise by solutes not corrected, within 0.2 K"),
    )


def _negative_u(u: float, unit: str) -> ProcessError:
    return ProcessError(
        f"A standard uncertainty of {u:g} {unit} is below 0.",
        where="boiling point",
        do="Give 0 or more.",
    )
