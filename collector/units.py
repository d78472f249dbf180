# SPDX-License-Identifier: MIT
"""Units at the edges: what people and instruments write, into degC, kg, s, W, J and back.

The ground: pint, no I/O. pint costs a quarter of a second to import, so it is imported at the
first conversion that needs it; the units that probes and scales send are converted without it.
"""

from __future__ import annotations

import functools
from typing import Any

from collector.errors import UnitError

# SenML symbols (RFC 8428 section 12.1, RFC 8798) and what the trade writes -> pint's name.
_PINT_NAMES: dict[str, str] = {
    "Cel": "degC", "degC": "degC", "°C": "degC", "C": "degC", "celsius": "degC",
    "K": "kelvin", "degF": "degF", "°F": "degF", "F": "degF", "fahrenheit": "degF",
    "kg": "kilogram", "g": "gram", "mg": "milligram", "lb": "pound", "oz": "ounce",
    "s": "second", "min": "minute", "h": "hour", "ms": "millisecond",
    "l": "litre", "L": "litre", "ml": "millilitre", "mL": "millilitre", "m3": "meter**3",
    "W": "watt", "kW": "kilowatt", "J": "joule", "kJ": "kilojoule",
    "Pa": "pascal", "hPa": "hectopascal", "kPa": "kilopascal", "mbar": "millibar",
    "m": "meter", "ft": "foot", "cm": "centimeter", "mm": "millimeter",
    "m2": "meter**2", "cm2": "centimeter**2", "in2": "inch**2",
}  # fmt: skip

# The canonical unit of each kind, as the API and the calculations write it.
CANONICAL: dict[str, str] = {
    "temperature": "degC",
    "mass": "kg",
    "duration": "s",
    "power": "W",
    "energy": "J",
    "pressure": "Pa",
    "length": "m",
    "volume": "m3",
    "area": "m2",
}

_KINDS: dict[str, str] = {
    **dict.fromkeys(
        ["Cel", "degC", "°C", "C", "celsius", "K", "degF", "°F", "F", "fahrenheit"], "temperature"
    ),
    **dict.fromkeys(["kg", "g", "mg", "lb", "oz"], "mass"),
    **dict.fromkeys(["s", "min", "h", "ms"], "duration"),
    **dict.fromkeys(["l", "L", "ml", "mL", "m3"], "volume"),
    **dict.fromkeys(["W", "kW"], "power"),
    **dict.fromkeys(["J", "kJ"], "energy"),
    **dict.fromkeys(["Pa", "hPa", "kPa", "mbar"], "pressure"),
    **dict.fromkeys(["m", "ft", "cm", "mm"], "length"),
    **dict.fromkeys(["m2", "cm2", "in2"], "area"),
}

# Scale and offset of what instruments send by the second: canonical = value * scale + offset.
_FAST: dict[str, tuple[float, float]] = {
    "Cel": (1.0, 0.0), "degC": (1.0, 0.0), "°C": (1.0, 0.0), "C": (1.0, 0.0),
    "kg": (1.0, 0.0), "g": (1e-3, 0.0), "s": (1.0, 0.0),
}  # fmt: skip


@functools.cache
def _registry() -> Any:
    import pint

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=False)


def kind_of(unit: str) -> str | None:
    """Return the kind of quantity that `unit` measures, or None if the unit isn't known."""
    return _KINDS.get(unit)


def convert(value: float, unit: str, to: str) -> float:
    """Return `value` in another unit of the same kind.

    Args:
        value: The number [unit].
        unit: A SenML symbol or a unit of the trade.
        to: Likewise.

    Returns:
        The number in `to`.

    Raises:
        UnitError: A unit isn't known, or the two are of different kinds.

    Example:
        >>> convert(180.0, "degF", "degC")
        82.22
    """
    known = _KINDS.get(unit)
    if known is None:
        raise UnitError(
            f"The unit {unit!r} is not known.",
            do=f"Use one of {', '.join(sorted(_KINDS))}.",
        )
    if _KINDS.get(to) != known:
        raise UnitError(
            f"{unit!r} is a {known}, and {to!r} is not.",
            do=f"Give a {_KINDS.get(to, 'known unit')}.",
        )
    if unit == to:
        return value
    if unit in _FAST and to in _FAST:
        scale, offset = _FAST[unit]
        to_scale, to_offset = _FAST[to]
        return (value * scale + offset - to_offset) / to_scale
    registry = _registry()
    quantity = registry.Quantity(value, _PINT_NAMES[unit]).to(_PINT_NAMES[to])
    return float(quantity.magnitude)


def to_canonical(value: float, unit: str, kind: str) -> float:
    """Return `value` in the canonical unit of `kind`.

    Args:
        value: The number [unit].
        unit: A SenML symbol or a unit of the trade.
        kind: "temperature", "mass", "duration" …

    Returns:
        The number [degC, kg, s, W, J, Pa, m, m3 or m2].

    Raises:
        UnitError: The unit isn't known or isn't of that kind.
    """
    if _KINDS.get(unit) != kind:
        known = ", ".join(sorted(u for u, k in _KINDS.items() if k == kind))
        raise UnitError(f"{unit!r} is not a unit of {kind}.", do=f"Use one of {known}.")
    return convert(value, unit, CANONICAL[kind])


def difference_to_kelvin(value: float, unit: str) -> float:
    """Return a temperature difference in kelvin.

    Args:
        value: The difference [unit].
        unit: degC, K, degF or one of their other spellings.

    Returns:
        The difference [K].

    Raises:
        UnitError: The unit is not a temperature's.

    Example:
        >>> difference_to_kelvin(9.0, "degF")
        5.0
    """
    if _KINDS.get(unit) != "temperature":
        raise UnitError(f"{unit!r} is not a unit of temperature.", do="Use degC, K or degF.")
    return value * 5.0 / 9.0 if _PINT_NAMES[unit] == "degF" else value
