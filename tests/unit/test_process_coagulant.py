# SPDX-License-Identifier: MIT
"""Doses of coagulants, and what is only a hint."""

from __future__ import annotations

import math

import pytest

from api.process.coagulant import (
    Dose,
    dose,
    equivalent,
    find_substance,
    gypsum_carried_as_solid,
    gypsum_solubility,
    hints,
)
from api.process.coagulant_table import UsualRange, coagulant_table, parse_coagulant_table
from api.process.quantities import Absence, NotShown, Quantity
from collector.errors import ProcessError


def kg(value: float, u: float = 0.0) -> Quantity:
    return Quantity(value, "kg", u, "weighed", ("weighing 1",))


def of(name: str, **more: Quantity) -> Dose:
    return dose(name, kg(0.012, 0.0006), dry=kg(0.5), milk=kg(3.0, 0.005), **more)


def test_a_dose_is_given_by_dry_mass_by_milk_and_in_moles() -> None:
    found = of("gypsum")

    assert isinstance(found.of_dry, Quantity)
    assert found.of_dry.value == pytest.approx(2.4)
    assert found.of_dry.unit == "g/100 g"
    assert isinstance(found.of_milk, Quantity)
    assert found.of_milk.value == pytest.approx(0.4)
    assert isinstance(found.concentration, Quantity)
    assert found.concentration.value == pytest.approx(4.0 * 1.017 / 172.17 * 1000)
    relative = math.sqrt(0.05**2 + (0.005 / 3) ** 2 + (11 / 1017) ** 2)
    assert found.concentration.u / found.concentration.value == pytest.approx(relative)
    assert "stir it up again" in found.note


def test_a_brine_needs_its_strength() -> None:
    without = of("liquid nigari").concentration
    with_strength = of("liquid nigari", strength=Quantity(0.3, "-", 0.01, "label")).concentration

    assert isinstance(without, NotShown)
    assert "is a brine" in without.why
    assert isinstance(with_strength, Quantity)
    assert with_strength.value == pytest.approx(4.0 * 1.017 * 0.3 / 95.21 * 1000)
    nonsense = of("liquid nigari", strength=Quantity(30.0, "-", 1.0, "label")).concentration
    assert isinstance(nonsense, NotShown)


def test_an_acid_brings_no_cation() -> None:
    found = of("citric acid")

    assert isinstance(found.concentration, Quantity)
    assert found.normality == NotShown("An acid brings no divalent cation.", Absence.NOT_APPLICABLE)
    assert isinstance(equivalent(kg(0.01), "gypsum", "citric acid"), NotShown)
    assert isinstance(equivalent(kg(0.01), "nigari", "liquid nigari"), NotShown)
    assert isinstance(equivalent(kg(0.01), "nigari", "moon dust"), NotShown)


def test_what_nobody_weighed_is_not_shown_and_the_rest_is() -> None:
    found = dose("nigari", kg(0.012), dry=NotShown("Nobody weighed dry."), milk=kg(3.0))

    assert found.of_dry == NotShown("Nobody weighed dry.")
    assert isinstance(found.of_milk, Quantity)
    nothing = dose("nigari", kg(0.012), dry=kg(0.0), milk=NotShown("Nobody weighed milk."))
    assert isinstance(nothing.of_dry, NotShown)
    assert isinstance(nothing.normality, NotShown)


def test_an_unknown_coagulant_has_a_dose_but_no_moles() -> None:
    found = of("lemon juice")

    assert isinstance(found.of_milk, Quantity)
    assert isinstance(found.concentration, NotShown)
    assert "not in the table" in found.note


@pytest.mark.parametrize(
    ("written", "name"),
    [("Nigari", "magnesium chloride hexahydrate"), ("GDL", "glucono-delta-lactone"),
     ("calcium sulfate", "gypsum"), ("Epsom salt", "magnesium sulphate heptahydrate")],
)  # fmt: skip
def test_coagulants_are_found_by_their_trade_names(written: str, name: str) -> None:
    found = find_substance(written)

    assert found is not None
    assert found.name == name
    assert find_substance("flour") is None


def test_soy_ranges_are_never_lent_to_another_ingredient() -> None:
    soy = hints("gypsum", "soybeans")
    fava = hints("gypsum", "fava bean")

    assert isinstance(soy[0], UsualRange)
    assert not any(isinstance(hint, UsualRange) for hint in fava)
    assert len(fava) == 1
    assert hints("gypsum", "sesame") == ()
    assert hints("flour") == ()


def test_every_hint_names_its_source_and_every_range_is_in_order() -> None:
    table = coagulant_table()

    for usual in table.ranges.values():
        assert usual.substance in table.substances
        for low, high in (
            usual.of_milk_g_per_100_g, usual.mmol_per_l, usual.of_dry_g_per_100_g,
            usual.addition_degc, usual.stand_min,
        ):  # fmt: skip
            assert low < high
    assert all(practice.source for practice in table.practices)
    assert {p.substance for p in table.practices} <= {*table.substances, ""}


def test_ranges_by_milk_and_in_moles_agree() -> None:
    """A range in g/100 g of milk and one in mmol/L say the same within a tenth."""
    for usual in coagulant_table().ranges.values():
        molar = coagulant_table().substances[usual.substance].molar_mass_g_per_mol
        for by_milk, by_moles in zip(usual.of_milk_g_per_100_g, usual.mmol_per_l, strict=True):
            assert 10 * by_milk / molar * 1000 == pytest.approx(by_moles, rel=0.1)


def test_what_makes_no_sense_is_refused_with_advice() -> None:
    with pytest.raises(ProcessError, match="between 0 and 90"):
        gypsum_solubility(95.0)
    with pytest.raises(ProcessError, match="more than 0 kg"):
        gypsum_carried_as_solid(0.0, 0.2, 20.0)
    with pytest.raises(ProcessError, match="can't be read"):
        parse_coagulant_table("[source]")


def test_little_gypsum_in_much_water_dissolves_whole() -> None:
    assert gypsum_carried_as_solid(0.0001, 1.0, 20.0) == 0.0
