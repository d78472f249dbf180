# SPDX-License-Identifier: MIT
from __future__ import annotations

import pytest

from api.process.components import Component, component_specific_heat
from api.process.composition import SOYMILK, WATER, Composition
from api.process.thermal import (
    MILK_SPECIFIC_HEAT,
    density,
    diffusivity,
    enthalpy_difference,
    specific_heat,
    specific_heat_with_u,
)
from collector.errors import ProcessError


def test_a_composition_that_does_not_add_up_is_refused_with_what_to_do() -> None:
    with pytest.raises(ProcessError, match=r"add up to 1\.0200.*fibre stands both"):
        Composition(0.90, 0.05, 0.02, 0.02, 0.02, 0.01)


def test_a_rounded_table_row_within_one_per_cent_is_kept_as_it_is() -> None:
    row = Composition(0.7263, 0.1955, 0.0714, 0.0, 0.0, 0.0102)

    assert sum(fraction for _, fraction in row.fractions()) == pytest.approx(1.0034)


def test_a_percentage_in_place_of_a_fraction_is_refused() -> None:
    with pytest.raises(ProcessError, match=r"fraction of water is 88"):
        Composition(88.05, 3.27, 1.75, 5.68, 0.6, 0.65)


def test_carbohydrate_by_difference_gives_up_its_fibre() -> None:
    assert SOYMILK.net_carbohydrate_fraction == pytest.approx(0.0568)
    assert SOYMILK.fibre_fraction == pytest.approx(0.006)


def test_more_fibre_than_the_carbohydrate_that_holds_it_is_refused() -> None:
    with pytest.raises(ProcessError, match="from_net_carbohydrate"):
        Composition.from_carbohydrate_by_difference(
            water_fraction=0.9,
            protein_fraction=0.05,
            fat_fraction=0.02,
            carbohydrate_fraction=0.02,
            fibre_fraction=0.03,
            ash_fraction=0.01,
        )


@pytest.mark.parametrize("temperature_degc", [-40.1, 150.1, float("nan")])
def test_a_temperature_outside_the_equations_is_refused(temperature_degc: float) -> None:
    with pytest.raises(ProcessError, match=r"-40 and 150 degC"):
        specific_heat(SOYMILK, temperature_degc)
    with pytest.raises(ProcessError):
        enthalpy_difference(SOYMILK, 20.0, temperature_degc)


def test_enthalpy_of_the_way_there_and_back_is_nothing() -> None:
    there = enthalpy_difference(SOYMILK, 82.0, 74.0)

    assert there < 0
    assert there + enthalpy_difference(SOYMILK, 74.0, 82.0) == pytest.approx(0.0, abs=1e-9)


def test_a_food_of_one_component_is_that_component() -> None:
    assert specific_heat(WATER, 60.0) == component_specific_heat(Component.WATER, 60.0)


def test_the_milk_of_the_table_lies_within_the_usual_heat_capacity() -> None:
    milk = specific_heat_with_u(SOYMILK, 80.0)

    assert abs(milk.value - MILK_SPECIFIC_HEAT.value) < MILK_SPECIFIC_HEAT.u
    assert 0 < milk.u < MILK_SPECIFIC_HEAT.u


def test_diffusivity_is_conductivity_over_volumetric_heat() -> None:
    alpha = diffusivity(SOYMILK, 80.0)

    assert alpha == pytest.approx(1.6e-7, rel=0.02)
    assert density(SOYMILK, 80.0) < density(SOYMILK, 20.0)
