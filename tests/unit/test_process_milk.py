"""What a milk is made of, from what was measured of it."""

from __future__ import annotations

import pytest

from api.process.composition import Composition
from api.process.milk import milk_composition, solids_from_brix
from api.process.quantities import NotShown, Quantity
from api.process.thermal import MILK_SPECIFIC_HEAT, specific_heat
from collector.errors import ProcessError


def solids(value: float) -> Quantity:
    return Quantity(value, "-", 0.002, "dried")


def test_the_solids_are_shared_out_as_in_the_dry_ingredient_without_its_fibre() -> None:
    found = milk_composition({"soybean": 1.0}, solids(0.10))

    assert isinstance(found, Composition)
    assert found.water_fraction == pytest.approx(0.90)
    assert found.fibre_fraction == 0.0
    # USDA 16108: 36.49 protein to 19.94 fat to 20.86 net carbohydrate to 4.87 ash (seen).
    whole = 36.49 + 19.94 + 20.86 + 4.87
    assert found.protein_fraction == pytest.approx(0.10 * 36.49 / whole)
    assert found.ash_fraction == pytest.approx(0.10 * 4.87 / whole)


@pytest.mark.parametrize("percent", [8.0, 10.0, 12.0])
def test_its_heat_capacity_is_within_what_is_usual_for_a_milk(percent: float) -> None:
    found = milk_composition({"soybean": 1.0}, solids(percent / 100))

    assert isinstance(found, Composition)
    usual, u = MILK_SPECIFIC_HEAT.value, MILK_SPECIFIC_HEAT.u
    assert abs(specific_heat(found, 80.0) - usual) < 2.0 * u


def test_a_blend_lies_between_its_ingredients() -> None:
    fats = []
    for shares in ({"soybean": 1.0}, {"soybean": 0.5, "sesame": 0.5}, {"sesame": 1.0}):
        found = milk_composition(shares, solids(0.10))
        assert isinstance(found, Composition)
        fats.append(found.fat_fraction)

    assert fats == sorted(fats)


def test_an_ingredient_that_is_not_known_gives_no_composition() -> None:
    found = milk_composition({"moonbean": 1.0}, solids(0.10))

    assert found == NotShown("The composition of moonbean is not known here.")
    assert isinstance(milk_composition({}, solids(0.1)), NotShown)
    assert milk_composition({"soybean": 1.0}, NotShown("why")) == NotShown("why")


@pytest.mark.parametrize("value", [-0.1, 61.0, float("nan")])
def test_impossible_brix_is_refused(value: float) -> None:
    with pytest.raises(ProcessError, match="Brix"):
        solids_from_brix(Quantity(value, "g/100 g", 0.1, "refractometer"))


@pytest.mark.parametrize("value", [-0.1, 1.0, float("nan")])
def test_impossible_solids_are_refused(value: float) -> None:
    with pytest.raises(ProcessError, match="solids"):
        milk_composition({"soybean": 1.0}, solids(value))
