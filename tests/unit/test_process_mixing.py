# SPDX-License-Identifier: MIT
from __future__ import annotations

from dataclasses import replace

import pytest

from api.process.composition import SOYMILK
from api.process.mixing import Part, mixture, slurry_mass_for
from api.process.pour_plan import Pour, plan_pour
from api.process.quantities import NotShown, Quantity
from api.process.thermal import MILK_SPECIFIC_HEAT
from collector.errors import ProcessError


def known(value: float, unit: str, u: float = 0.0) -> Quantity:
    return Quantity(value, unit, u, "given", ("given",))


def milk(mass_kg: float = 3.0, temperature: Quantity | None = None) -> Part:
    degc = temperature or known(82.0, "degC")
    return Part("milk", known(mass_kg, "kg"), degc, MILK_SPECIFIC_HEAT)


POUR = Pour(
    known(3.0, "kg"),
    known(21.11, "degC"),
    milk_temperature=known(82.22, "degC", 0.3),
    slurry_mass=known(0.475, "kg"),
)


def test_a_wrong_unit_is_refused() -> None:
    with pytest.raises(ProcessError, match=r"3 g was given where kg belongs"):
        Part("milk", known(3.0, "g"), known(82.0, "degC"), MILK_SPECIFIC_HEAT)


def test_a_mass_below_nothing_or_not_a_number_is_refused() -> None:
    with pytest.raises(ProcessError, match="at least 0"):
        milk(-1.0)
    with pytest.raises(ProcessError, match="finite"):
        milk(float("nan"))


def test_nothing_cannot_be_mixed() -> None:
    with pytest.raises(ProcessError, match="at least one part"):
        mixture([])
    with pytest.raises(ProcessError):
        mixture([milk(0.0)])


def test_a_part_of_no_mass_changes_nothing() -> None:
    assert mixture([milk(), milk(0.0, known(20.0, "degC", 5.0))]) == mixture([milk()])


def test_parts_that_share_a_temperature_share_its_error() -> None:
    shared = known(82.0, "degC", 0.5)

    together = mixture([milk(1.0, shared), milk(1.0, shared)])
    apart = mixture([milk(1.0, shared), milk(1.0, replace(shared))])

    assert together.u == pytest.approx(0.5)
    assert apart.u == pytest.approx(0.5 / 2**0.5)


def test_a_target_that_the_slurry_cannot_reach_is_refused() -> None:
    slurry = Part("slurry", known(1, "kg"), known(20.0, "degC"), MILK_SPECIFIC_HEAT)

    for target_degc in (85.0, 20.0, 10.0):
        with pytest.raises(ProcessError, match="between the slurry"):
            slurry_mass_for(target_degc, slurry, [milk()])


def test_the_plan_answers_both_ways() -> None:
    plan = plan_pour(73.39, POUR)

    assert isinstance(plan.mixture, Quantity)
    assert plan.mixture.value == pytest.approx(73.39, abs=0.01)
    assert isinstance(plan.slurry_mass, Quantity)
    assert plan.slurry_mass.value == pytest.approx(0.475, abs=0.001)
    assert isinstance(plan.milk_temperature, Quantity)
    assert plan.milk_temperature.value == pytest.approx(82.22, abs=0.01)


def test_a_wall_that_nobody_weighed_widens_the_plan() -> None:
    without = plan_pour(75.0, POUR)
    with_wall = plan_pour(75.0, replace(POUR, pot_mass=known(1.2, "kg", 0.1)))

    assert isinstance(without.mixture, Quantity)
    assert isinstance(with_wall.mixture, Quantity)
    # The wall holds 5 % of the milk's heat: the mixture stays warmer by about that of the drop.
    difference = with_wall.mixture.value - without.mixture.value
    assert 0.3 < difference < 2 * without.mixture.u
    assert any("wall" in source for source in without.mixture.sources)
    assert not any("left out" in source for source in with_wall.mixture.sources)


def test_a_known_composition_narrows_the_plan() -> None:
    known_milk = replace(POUR, pot_mass=known(1.0, "kg"), milk_composition=SOYMILK)
    unknown_milk = replace(known_milk, milk_composition=None)

    narrow, wide = (
        plan_pour(75.0, known_milk).slurry_mass,
        plan_pour(75.0, unknown_milk).slurry_mass,
    )

    assert isinstance(narrow, Quantity)
    assert isinstance(wide, Quantity)
    assert narrow.u < wide.u


def test_a_plan_says_what_is_missing() -> None:
    plan = plan_pour(75.0, replace(POUR, slurry_mass=None, milk_temperature=None))

    assert isinstance(plan.milk_temperature, NotShown)
    assert "weigh it" in plan.milk_temperature.why
    assert isinstance(plan.slurry_mass, NotShown)
    assert isinstance(plan.mixture, NotShown)


def test_a_plan_for_milk_that_is_too_cold_already_says_so() -> None:
    plan = plan_pour(90.0, POUR)

    assert isinstance(plan.slurry_mass, NotShown)
    assert "heat or cool the milk" in plan.slurry_mass.why
