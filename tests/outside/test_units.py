# SPDX-License-Identifier: MIT
"""Units at the edges against their definitions, and there and back again."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.units import CANONICAL, convert, difference_to_kelvin, kind_of, to_canonical

UNITS = [
    "Cel", "degC", "K", "degF", "kg", "g", "mg", "lb", "oz", "s", "min", "h", "ms", "l", "ml",
    "m3", "W", "kW", "J", "kJ", "Pa", "hPa", "kPa", "mbar", "m", "ft", "cm", "mm", "m2", "cm2",
    "in2",
]  # fmt: skip


@pytest.mark.parametrize(
    ("value", "unit", "to", "expected"),
    [
        # International yard and pound agreement of 1959: exact.
        (1.0, "lb", "kg", 0.45359237),
        (1.0, "oz", "g", 28.349523125),
        (16.0, "oz", "lb", 1.0),
        (1.0, "ft", "m", 0.3048),
        (1.0, "in2", "cm2", 6.4516),
        # Fahrenheit's scale, 9/5 and 32: exact by definition.
        (32.0, "degF", "degC", 0.0),
        (212.0, "degF", "degC", 100.0),
        (-40.0, "degF", "degC", -40.0),
        (180.0, "degF", "degC", 740.0 / 9.0),
        # Kelvin and Celsius: exact by definition.
        (0.01, "degC", "K", 273.16),
        (0.0, "K", "degC", -273.15),
        # SI prefixes, minute, hour, litre, bar: definitions (SI brochure, 9th edition).
        (1.5, "h", "s", 5400.0),
        (1.0, "l", "m3", 0.001),
        (1013.25, "hPa", "Pa", 101_325.0),
        (1.0, "mbar", "hPa", 1.0),
        (108.0, "cm2", "m2", 0.0108),
        (2.5, "kW", "W", 2500.0),
    ],
)
def test_conversions_are_those_of_the_definitions(
    value: float, unit: str, to: str, expected: float
) -> None:
    assert convert(value, unit, to) == pytest.approx(expected, rel=1e-12, abs=1e-10)


@given(st.sampled_from(UNITS), st.floats(-1e6, 1e6))
def test_there_and_back_again_is_the_same(unit: str, value: float) -> None:
    kind = kind_of(unit)
    assert kind is not None
    canonical = CANONICAL[kind]

    there = to_canonical(value, unit, kind)

    scale = max(abs(value), 500.0 if kind == "temperature" else 0.0)
    assert math.isclose(
        convert(there, canonical, unit), value, rel_tol=1e-9, abs_tol=1e-9 * scale + 1e-300
    )


@given(st.floats(-200, 200), st.floats(-200, 200), st.sampled_from(["degC", "K", "degF"]))
def test_a_difference_is_the_difference_of_the_temperatures(a: float, b: float, unit: str) -> None:
    apart_k = to_canonical(a, unit, "temperature") - to_canonical(b, unit, "temperature")

    assert difference_to_kelvin(a - b, unit) == pytest.approx(apart_k, abs=1e-9)
