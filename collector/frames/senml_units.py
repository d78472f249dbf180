# SPDX-License-Identifier: MIT
"""The registered units of SenML, and the secondary ones with their conversion. Pure.

Source: RFC 8428 section 12.1 (seen in the author copy of July 2018), RFC 8798 sections 2 and 3
(draft of October 2019 seen; the rows marked below are from the published RFC, from memory).
"""

from __future__ import annotations

from decimal import Decimal

PRIMARY: frozenset[str] = frozenset(
    # RFC 8428
    "m kg g s A K cd mol Hz rad sr N Pa J W C V F Ohm S Wb T H Cel lm lx Bq Gy Sv kat m2 m3 l "
    "m/s m/s2 m3/s l/s W/m2 cd/m2 bit bit/s lat lon pH dB dBW Bspl count / % %RH %EL EL 1/s "
    "1/min beat/min beats S/m "
    # RFC 8798 section 2
    "B VA VAs var vars J/m kg/m3 deg".split()
)

# Secondary unit -> primary unit, numerator and denominator of the scale, offset.
_SECONDARY: dict[str, tuple[str, str, str, str]] = {
    "ms": ("s", "1", "1000", "0"),
    "min": ("s", "60", "1", "0"),
    "h": ("s", "3600", "1", "0"),
    "MHz": ("Hz", "1000000", "1", "0"),  # from memory
    "kW": ("W", "1000", "1", "0"),
    "kVA": ("VA", "1000", "1", "0"),
    "kvar": ("var", "1000", "1", "0"),
    "Ah": ("C", "3600", "1", "0"),
    "Wh": ("J", "3600", "1", "0"),
    "kWh": ("J", "3600000", "1", "0"),
    "varh": ("vars", "3600", "1", "0"),
    "kvarh": ("vars", "3600000", "1", "0"),
    "kVAh": ("VAs", "3600000", "1", "0"),
    "Wh/km": ("J/m", "36", "10", "0"),
    "KiB": ("B", "1024", "1", "0"),
    "GB": ("B", "1000000000", "1", "0"),  # from memory
    "Mbit/s": ("bit/s", "1000000", "1", "0"),  # from memory
    "B/s": ("bit/s", "8", "1", "0"),  # from memory
    "MB/s": ("bit/s", "8000000", "1", "0"),  # from memory
    "mV": ("V", "1", "1000", "0"),
    "mA": ("A", "1", "1000", "0"),
    "dBm": ("dBW", "1", "1", "-30"),
    "ug/m3": ("kg/m3", "1", "1000000000", "0"),
    "mm/h": ("m/s", "1", "3600000", "0"),
    "m/h": ("m/s", "1", "3600", "0"),  # from memory
    "ppm": ("/", "1", "1000000", "0"),
    "/100": ("/", "1", "100", "0"),
    "/1000": ("/", "1", "1000", "0"),  # from memory
    "hPa": ("Pa", "100", "1", "0"),
    "mm": ("m", "1", "1000", "0"),
    "cm": ("m", "1", "100", "0"),  # from memory
    "km": ("m", "1000", "1", "0"),
    "km/h": ("m/s", "10", "36", "0"),
}

SECONDARY: frozenset[str] = frozenset(_SECONDARY)

# SenML symbols that mean another unit in the trade's writing, spelt out so that nobody mixes them.
SPELT_OUT: dict[str, str] = {"C": "coulomb", "F": "farad"}


def to_primary(value: Decimal, unit: str) -> tuple[Decimal, str]:
    """Return a value in a secondary unit in its primary one.

    primary = value * scale + offset

    Args:
        value: The number [unit].
        unit: One of `SECONDARY`.

    Returns:
        The number and its primary unit.

    Source:
        RFC 8798 section 3 (seen).

    Example:
        >>> to_primary(Decimal(10), "dBm")
        (Decimal('-20'), 'dBW')
    """
    primary, numerator, denominator, offset = _SECONDARY[unit]
    return value * Decimal(numerator) / Decimal(denominator) + Decimal(offset), primary
