"""A recipe scaled to the dry mass in hand."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.process.quantities import Quantity
from api.process.scaling import Amount, Role, ratio_of, scaled
from collector.errors import ProcessError

masses = st.floats(1e-4, 1e3)


def dry(value: float, u: float = 0.0) -> Quantity:
    return Quantity(value, "kg", u, "weighed")


def test_every_mass_grows_with_the_dry_mass_and_knows_what_it_is_for() -> None:
    amounts = [
        Amount("soak_water", 3.0), Amount("water", 6.0), Amount("coagulant", 0.02),
        Amount("coagulant_water", 0.4), Amount("milk", 5.6), Amount("block", 2.2),
    ]  # fmt: skip

    found = scaled(amounts, dry(1.5, 0.002))

    assert [one.mass.value for one in found] == pytest.approx([4.5, 9.0, 0.03, 0.6, 8.4, 3.3])
    assert [one.role for one in found] == [
        Role.WATER, Role.WATER, Role.DOSE, Role.WATER, Role.EXPECTED, Role.EXPECTED,
    ]  # fmt: skip
    assert found[1].mass.u == pytest.approx(0.012)


@given(masses, masses, masses)
def test_scaling_to_the_recipe_s_own_dry_mass_gives_the_recipe(
    mass_kg: float, dry_kg: float, other_kg: float
) -> None:
    ratio = ratio_of(mass_kg, dry_kg)

    assert scaled([Amount("water", ratio)], dry(dry_kg))[0].mass.value == pytest.approx(mass_kg)
    there = scaled([Amount("water", ratio)], dry(other_kg))[0].mass.value
    assert ratio_of(there, other_kg) == pytest.approx(ratio)


@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_what_is_no_mass_is_refused(value: float) -> None:
    with pytest.raises(ProcessError, match="above 0"):
        scaled([Amount("water", 1.0)], dry(value))
    with pytest.raises(ProcessError, match="above 0"):
        scaled([Amount("water", value)], dry(1.0))
    with pytest.raises(ProcessError, match="above 0"):
        ratio_of(value, 1.0)
    with pytest.raises(ProcessError, match="above 0"):
        ratio_of(1.0, value)
