# SPDX-License-Identifier: MIT
"""Numbers as people read them: with their uncertainty, in the units that the kitchen likes.

Pure presentation: imports only the standard library. Canonical values come in (degC, kg, s), text
goes out; nothing is computed here that a record would keep.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

KG_IN_A_POUND = 0.45359237  # exact: international yard and pound agreement of 1959 (from memory)
_SPACE = " "
MINUS = "\N{MINUS SIGN}"


@dataclass(frozen=True, slots=True)
class Units:
    """How this reader likes temperatures and masses.

    Attributes:
        temperature: "degC" or "degF".
        mass: "g" (grams, kilograms from one on) or "oz" (ounces, pounds from one on).
    """

    temperature: str = "degC"
    mass: str = "g"


def units_of(chosen: Mapping[str, Any] | None) -> Units:
    """Return the reader's units; what isn't known falls back to degC and g.

    Args:
        chosen: "temperature" and "mass", as a page was asked for.

    Example:
        >>> units_of({"temperature": "degF", "mass": "stone"})
        Units(temperature='degF', mass='g')
    """
    said = chosen or {}
    temperature = said.get("temperature")
    mass = said.get("mass")
    return Units(
        "degF" if temperature == "degF" else "degC",
        "oz" if mass == "oz" else "g",
    )


def rounded(value: float, u: float) -> tuple[str, str]:
    """Return a value and its standard uncertainty, both to the second digit of the latter.

    Args:
        value: The estimate [any unit].
        u: Its standard uncertainty, above 0 [the same unit].

    Returns:
        Both as text, with a true minus sign.

    Source:
        JCGM 100:2008, 7.2.6: one or two significant digits of u usually suffice, and the estimate
        is rounded to agree (from memory).

    Example:
        >>> rounded(80.3127, 0.2149)
        ('80.31', '0.21')
        >>> rounded(2807.55, 19.3)
        ('2808', '19')
        >>> rounded(4508.5, 996.0)
        ('4500', '1000')
    """
    decimals = 1 - math.floor(math.log10(u))
    # Rounding may carry: 0.0996 is 0.10 to two digits, not 0.100.
    decimals = 1 - math.floor(math.log10(round(u, decimals)))
    return plain(value, decimals), plain(u, decimals)


def plain(value: float, decimals: int) -> str:
    """Return a number with so many decimals, with a true minus sign and no minus zero.

    Args:
        value: The number [-].
        decimals: Digits after the point; below 0 rounds to tens, hundreds … [-].

    Example:
        >>> plain(-0.04, 1), plain(3.256, 2), plain(1249.0, -2)
        ('0.0', '3.26', '1200')
    """
    shown = f"{round(value, decimals):.{max(decimals, 0)}f}"
    if float(shown) == 0.0:
        shown = shown.lstrip("-")
    return shown.replace("-", MINUS)


def temperature(value_degc: float | None, units: Units, decimals: int = 1) -> str:
    """Return a temperature with its unit, "no reading" without one.

    Args:
        value_degc: [degC]
        units: The reader's.
        decimals: Digits after the point [-].

    Example:
        >>> temperature(82.04, Units()), temperature(82.04, Units("degF"), 0)
        ('82.0 °C', '180 °F')
    """
    if value_degc is None:
        return "no reading"
    return plain(to_shown(value_degc, units), decimals) + _SPACE + degree(units)


def difference(value_k: float, units: Units, decimals: int = 1) -> str:
    """Return a temperature difference with its unit.

    Args:
        value_k: [K]
        units: The reader's.
        decimals: Digits after the point [-].

    Example:
        >>> difference(4.2, Units()), difference(5.0, Units("degF"))
        ('4.2 °C', '9.0 °F')
    """
    factor = 1.8 if units.temperature == "degF" else 1.0
    return plain(value_k * factor, decimals) + _SPACE + degree(units)


def to_shown(value_degc: float, units: Units) -> float:
    """Return a temperature as a number in the reader's unit [degC or degF]."""
    return value_degc * 1.8 + 32.0 if units.temperature == "degF" else value_degc


def degree(units: Units) -> str:
    """Return the sign of the reader's unit of temperature."""
    return "°F" if units.temperature == "degF" else "°C"


def mass(value_kg: float | None, units: Units, u_kg: float = 0.0) -> str:
    """Return a mass with its unit, without its uncertainty but rounded by it.

    Args:
        value_kg: [kg]
        units: The reader's.
        u_kg: Its standard uncertainty, 0 if it isn't known [kg].

    Example:
        >>> mass(3.56, Units(), 0.002), mass(0.012, Units(), 0.0005), mass(3.56, Units(mass="oz"))
        ('3.5600 kg', '12.00 g', '7 lb 13.6 oz')
    """
    return mass_parts(value_kg, units, u_kg)[0]


def mass_parts(value_kg: float | None, units: Units, u_kg: float = 0.0) -> tuple[str, str]:
    """Return a mass and its standard uncertainty, each with its unit; "" for one not known.

    Args:
        value_kg: [kg]
        units: The reader's.
        u_kg: [kg]
    """
    if value_kg is None:
        return "not known", ""
    if units.mass == "oz":
        return _ounces(value_kg, u_kg)
    unit, factor = ("kg", 1.0) if abs(value_kg) >= 1.0 else ("g", 1000.0)
    if u_kg > 0.0:
        shown, u_shown = rounded(value_kg * factor, u_kg * factor)
        return shown + _SPACE + unit, u_shown + _SPACE + unit
    return plain(value_kg * factor, 3 if unit == "kg" else 1) + _SPACE + unit, ""


def _ounces(value_kg: float, u_kg: float) -> tuple[str, str]:
    ounces = value_kg / KG_IN_A_POUND * 16.0
    u_oz = u_kg / KG_IN_A_POUND * 16.0
    decimals = 1
    u_text = ""
    if u_oz > 0.0:
        u_shown = rounded(ounces, u_oz)[1]
        decimals = min(max(len(u_shown.partition(".")[2]), 0), 3)
        u_text = f"{u_shown}{_SPACE}oz"
    ounces = round(ounces, decimals)
    if abs(ounces) < 16.0:
        return f"{plain(ounces, decimals)}{_SPACE}oz", u_text
    pounds = int(abs(ounces) // 16)
    sign = MINUS if ounces < 0 else ""
    rest = plain(abs(ounces) - 16 * pounds, decimals)
    space = _SPACE
    return f"{sign}{pounds}{space}lb{space}{rest}{space}oz", u_text


def quantity(result: Mapping[str, Any] | None, units: Units) -> tuple[str, str]:
    """Return a computed quantity and its standard uncertainty as text.

    Args:
        result: `{"value","unit","u",…}`, or `{"status","why"}`, or None.
        units: The reader's.

    Returns:
        Value with unit, and u with unit; the status in words and "" where there is no value.

    Example:
        >>> quantity({"value": 80.3127, "unit": "degC", "u": 0.2149}, Units())
        ('80.31 °C', '0.21 °C')
        >>> quantity({"status": "not shown", "why": "no pour"}, Units())
        ('not shown', '')
    """
    if result is None:
        return "not shown", ""
    value = result.get("value")
    if value is None:
        return str(result.get("status") or "not shown"), ""
    u = float(result.get("u") or 0.0)
    unit = str(result.get("unit") or "-")
    if unit == "kg":
        return mass_parts(float(value), units, u)
    shown, factor, offset = _shown_unit(unit, units)
    number, u_number = float(value) * factor + offset, u * abs(factor)
    space = _SPACE if shown else ""
    if u_number > 0.0:
        text, u_text = rounded(number, u_number)
        return f"{text}{space}{shown}", f"{u_text}{space}{shown}"
    return f"{number:.5g}".replace("-", MINUS) + space + shown, ""


def _shown_unit(unit: str, units: Units) -> tuple[str, float, float]:
    fahrenheit = units.temperature == "degF"
    if unit == "degC":
        return ("°F", 1.8, 32.0) if fahrenheit else ("°C", 1.0, 0.0)
    if unit == "K":
        return ("°F", 1.8, 0.0) if fahrenheit else ("°C", 1.0, 0.0)
    if unit in ("-", "1", ""):
        return "", 1.0, 0.0
    return unit, 1.0, 0.0


def share(fraction: float, decimals: int = 1) -> str:
    """Return a ratio in percent.

    Args:
        fraction: [-]
        decimals: Digits after the point [-].

    Example:
        >>> share(0.0534)
        '5.3 %'
    """
    return plain(fraction * 100.0, decimals) + _SPACE + "%"


def with_degree_signs(text: str) -> str:
    """Return a sentence of the interface with the sign of the degree.

    Example:
        >>> with_degree_signs("at least 10 min above 96 degC")
        'at least 10 min above 96 °C'
    """
    return text.replace("degC", "°C").replace("degF", "°F")


def capitalized(text: str) -> str:
    """Return a text with its first letter large and the others as they are.

    Example:
        >>> capitalized("scald and boil-over"), capitalized("Bacillus cereus")
        ('Scald and boil-over', 'Bacillus cereus')
    """
    return text[:1].upper() + text[1:]
