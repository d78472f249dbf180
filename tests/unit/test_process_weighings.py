# SPDX-License-Identifier: MIT
"""Weighings put together, and the steps that a batch goes through."""

from __future__ import annotations

import pytest

from api.process.balance import mass_balance
from api.process.quantities import Quantity
from api.process.streams import Process, Step, process_without_recipe
from api.process.weighings import (
    Combining,
    Weighing,
    combine_weighings,
    default_weighing_u_kg,
)
from collector.errors import ProcessError


def test_steps_out_of_order_or_unknown_are_refused_with_advice() -> None:
    with pytest.raises(ProcessError, match="Keep the order soak"):
        Process((Step.STRAIN, Step.GRIND))
    with pytest.raises(ProcessError, match="Heat stands before nothing"):
        Process((Step.GRIND, Step.HEAT))
    with pytest.raises(ProcessError, match="'steam' is not a valid Step"):
        Process(("steam",))  # type: ignore[arg-type]
    with pytest.raises(ProcessError, match="curd can't be ruled out"):
        Process(excluded=frozenset({"curd"}))


def test_without_a_recipe_settling_is_believed_only_where_it_shows() -> None:
    assert Step.SETTLE not in process_without_recipe({"mash", "milk"}, {"addition"}).steps
    assert Step.SETTLE in process_without_recipe({"starch"}, set()).steps
    assert Step.SETTLE in process_without_recipe(set(), {"settle"}).steps
    assert Step.SETTLE in process_without_recipe({"raw_milk", "milk"}, set()).steps
    self_set = process_without_recipe(set(), set(), self_set=True)
    assert self_set.zero_streams >= {"coagulant", "coagulant_water"}


def test_parts_are_summed_and_repeats_are_averaged_by_their_weight() -> None:
    milk = combine_weighings(
        [
            Weighing("a", "milk", 2.0, 0.010),
            Weighing("b", "milk", 1.000, 0.010),
            Weighing("c", "milk", 1.010, 0.005, combining=Combining.AGAIN),
        ]
    )

    assert milk.names == ("milk",)
    assert milk.mass_kg[0] == pytest.approx(2.0 + (1.0 * 1 + 1.010 * 4) / 5)
    assert milk.covariance_kg2[0, 0] == pytest.approx(0.01**2 + 1 / (1 / 0.01**2 + 1 / 0.005**2))
    assert milk.ids == (("a", "b", "c"),)
    assert milk.disagreements == ()


def test_a_repeat_that_is_far_off_is_told() -> None:
    milk = combine_weighings(
        [
            Weighing("a", "milk", 1.0, 0.002),
            Weighing("b", "milk", 1.1, 0.002, combining=Combining.AGAIN),
        ]
    )

    assert "100 g apart" in milk.disagreements[0]


@pytest.mark.parametrize("mass", [-0.001, float("nan"), float("inf")])
def test_what_is_no_mass_is_refused(mass: float) -> None:
    with pytest.raises(ProcessError, match="weighing w1 of pulp"):
        Weighing("w1", "pulp", mass)


def test_contradictory_weighings_are_refused_with_advice() -> None:
    with pytest.raises(ProcessError, match="Record it as a part"):
        combine_weighings([Weighing("a", "milk", 1.0, combining=Combining.AGAIN)])
    with pytest.raises(ProcessError, match="same id"):
        combine_weighings([Weighing("a", "milk", 1.0), Weighing("a", "curd", 1.0)])
    with pytest.raises(ProcessError, match="no stream 'soymilk'"):
        mass_balance(Process(), [Weighing("a", "soymilk", 1.0)])
    with pytest.raises(ProcessError, match="not one a scale can have"):
        Weighing("a", "milk", 1.0, 0.0)
    with pytest.raises(ProcessError, match="tare"):
        Weighing("a", "milk", 1.0, tare="pot", u_tare_kg=-1.0)


def test_the_uncertainty_of_a_typed_weighing_grows_with_the_load() -> None:
    loads_kg = [0.0, 0.010, 0.4, 1.0, 4.9, 5.1, 14.0, 20.0, 59.0, 61.0, 200.0]

    u_kg = [default_weighing_u_kg(mass) for mass in loads_kg]

    assert u_kg == sorted(u_kg)
    assert 0.0005 < u_kg[0] < 0.001
    assert u_kg[-1] < 0.01 * loads_kg[-1]


def test_a_process_without_steps_only_says_that_all_are_the_same() -> None:
    balance = mass_balance(Process(()), [Weighing("a", "milk", 2.0, 0.01)])

    dry = next(s for s in balance.streams if s.stream == "dry")
    assert isinstance(dry.reconciled, Quantity)
    assert dry.reconciled.value == pytest.approx(2.0)
