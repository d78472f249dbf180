# SPDX-License-Identifier: MIT
"""Yields and components: shown where something sourced says so, and only there."""

from __future__ import annotations

import pytest

from api.process.component_balance import (
    Analysis,
    component_balance,
    published_recovery,
    share_in_dry,
)
from api.process.quantities import NotShown, Quantity
from api.process.recovery_table import parse_recovery_table
from api.process.yields import (
    complement,
    moisture_by_difference,
    on_factor,
    plausibility,
    recovery,
    soak_uptake,
    water_ratio,
    yield_per_dry,
)
from collector.errors import ProcessError

NOBODY = NotShown("Nobody weighed it.")


def kg(value: float, u: float = 0.0) -> Quantity:
    return Quantity(value, "kg", u, "weighed", ("weighing 1",))


def share(value: float, u: float = 0.0) -> Quantity:
    return Quantity(value, "-", u, "analysis")


def test_soak_uptake_and_water_ratio_follow_from_the_weighings() -> None:
    uptake = soak_uptake(kg(1.25, 0.01), kg(0.6, 0.003))
    water = water_ratio(kg(1.25, 0.01), kg(0.6, 0.003), kg(4.0, 0.01))

    assert isinstance(uptake, Quantity)
    assert uptake.value == pytest.approx(1.25 / 0.6 - 1)
    assert isinstance(water, Quantity)
    assert water.value == pytest.approx((1.25 - 0.6 + 4.0) / 0.6)
    assert water.u == pytest.approx((0.01**2 * 2 + (5.25 * 0.005) ** 2) ** 0.5 / 0.6)


def test_what_was_not_weighed_is_not_shown() -> None:
    assert yield_per_dry(NOBODY, kg(1.0)) == NOBODY
    assert soak_uptake(kg(1.0), NOBODY) == NOBODY
    for given in ((NOBODY, kg(1), kg(1)), (kg(1), NOBODY, kg(1)), (kg(1), kg(1), NOBODY)):
        assert water_ratio(*given) == NOBODY
    assert complement(NOBODY, "solids") == NOBODY
    assert isinstance(yield_per_dry(kg(1.0), kg(0.0)), NotShown)
    assert isinstance(water_ratio(kg(1.0), kg(0.0), kg(1.0)), NotShown)


def test_protein_without_its_nitrogen_factor_is_not_compared() -> None:
    assert isinstance(on_factor(share(0.36), None, 6.25), NotShown)
    assert on_factor(NOBODY, 5.71, 6.25) == NOBODY
    assert isinstance(on_factor(share(0.36), 5.71, 0.0), NotShown)


def test_a_block_lighter_than_its_solids_has_no_moisture() -> None:
    found = moisture_by_difference(kg(1.0), share(0.9), share(0.52), kg(0.4))

    assert isinstance(found, NotShown)
    assert "more solids than it weighs" in found.why


def test_recoveries_beyond_belief_are_flagged() -> None:
    fine = plausibility(share(0.55), share(0.71))
    both = plausibility(share(0.80), share(1.02))

    assert fine == ()
    assert "80 % of the solids" in both[0]
    assert "102 % of the protein" in both[1]
    assert plausibility(NOBODY, NOBODY) == ()


def test_a_recovery_is_found_over_put_in() -> None:
    found = recovery(kg(3.0), share(0.16), kg(1.0), share(0.9))

    assert isinstance(found, Quantity)
    assert found.value == pytest.approx(0.48 / 0.9)


@pytest.mark.parametrize(
    "names", [["yellow pea"], ["sesame"], ["soybean", "sesame"], ["moon rock"]]
)
def test_soy_is_never_lent_to_another_ingredient_nor_to_a_blend(names: list[str]) -> None:
    found = component_balance("protein", {name: kg(0.5) for name in names}, {"block": kg(1.0)}, {})

    assert isinstance(published_recovery(names), NotShown)
    assert isinstance(found.in_block_fraction, NotShown)
    assert isinstance(found.in_stream["milk"], NotShown)


def test_the_published_recovery_of_soy_says_that_it_is_published() -> None:
    found = component_balance("protein", {"Soybeans": kg(0.5)}, {"block": kg(1.5, 0.005)}, {})

    share_in_block = found.in_block_fraction
    assert isinstance(share_in_block, Quantity)
    assert any("Wang and Cavins" in source for source in share_in_block.sources)
    assert share_in_block.u / share_in_block.value > 0.10
    fat = component_balance("fat", {"soybean": kg(0.5)}, {}, {})
    assert isinstance(fat.in_stream["whey"], NotShown)


def test_the_makers_own_analysis_goes_before_any_table() -> None:
    own = {
        "yellow pea": Analysis(solids=share(0.9, 0.002), protein=share(0.22), nitrogen_factor=6.25),
        "block": Analysis(solids=share(0.25, 0.005), protein=share(0.14), nitrogen_factor=5.71),
    }
    masses = {"block": kg(0.5)}

    solids = component_balance("solids", {"yellow pea": kg(0.6)}, masses, own)
    protein = component_balance("protein", {"yellow pea": kg(0.6)}, masses, own)

    assert isinstance(solids.recovered["block"], Quantity)
    assert solids.recovered["block"].value == pytest.approx(0.125 / 0.54)
    assert isinstance(protein.in_block_fraction, Quantity)
    assert protein.in_block_fraction.value == pytest.approx(0.14)
    assert isinstance(protein.recovered["block"], Quantity)
    assert protein.recovered["block"].value == pytest.approx(0.07 * 6.25 / 5.71 / 0.132)
    assert isinstance(solids.in_stream["pulp"], NotShown)


def test_an_analysis_without_its_factor_gives_content_but_no_recovery() -> None:
    own = {"block": Analysis(protein=share(0.14))}

    found = component_balance("protein", {"yellow pea": kg(0.6)}, {"block": kg(0.5)}, own)

    assert isinstance(found.in_block_fraction, Quantity)
    assert isinstance(found.recovered["block"], NotShown)


def test_a_table_is_uncertain_by_how_far_tables_lie_apart() -> None:
    peanut_fat = share_in_dry("peanut", "fat")
    hemp = share_in_dry("hemp seed", "protein")

    assert isinstance(peanut_fat, Quantity)
    assert peanut_fat.u == pytest.approx((0.4924 - 0.3963) / 3**0.5)
    assert isinstance(hemp, Quantity)
    assert hemp.u == pytest.approx(0.05 * 0.3156)
    assert isinstance(share_in_dry("moon rock", "solids"), NotShown)


def test_a_batch_of_nothing_has_no_components() -> None:
    assert isinstance(component_balance("solids", {}, {}, {}).in_dry, NotShown)


def test_a_broken_table_is_refused_with_advice() -> None:
    with pytest.raises(ProcessError, match="can't be read"):
        parse_recovery_table("[source]")
