"""What nutrition says of shares that are missing, wrong or estimated, and of a broken table."""

from __future__ import annotations

import pytest

from api.process.energy_table import energy_table, parse_energy_table
from api.process.nutrition import Nutrient, nutrition_of
from api.process.quantities import NotShown, Quantity
from collector.errors import ProcessError

EU = energy_table()["EU"]


def share(value: float, u: float = 0.0) -> Quantity:
    return Quantity(value, "-", u, "given")


def test_a_missing_share_leaves_out_what_needs_it_and_says_why() -> None:
    found = nutrition_of(share(0.15), NotShown("no analysis"), share(0.05), EU)

    assert isinstance(found.fat.value, Quantity)
    for figure in (found.protein, found.carbohydrate, found.energy_kj, found.energy_kcal):
        assert figure == Nutrient(NotShown("no analysis"), None)


def test_an_estimate_says_that_it_is_none_for_a_label() -> None:
    found = nutrition_of(share(0.15), share(0.08), share(0.05), EU)

    assert found.is_estimate
    assert found.notes[0] == "computed, an estimate: not for a label"
    measured = nutrition_of(share(0.15), share(0.08), share(0.05), EU, is_estimate=False)
    assert not any("label" in note for note in measured.notes)


def test_protein_and_fat_beyond_the_solids_give_no_carbohydrate_and_no_energy() -> None:
    found = nutrition_of(share(0.10), share(0.08), share(0.05), EU)

    assert isinstance(found.carbohydrate.value, NotShown)
    assert isinstance(found.energy_kj.value, NotShown)
    assert "more than the solids" in found.energy_kj.value.why


def test_an_interval_never_reaches_below_nothing() -> None:
    found = nutrition_of(share(0.135), share(0.08, 0.002), share(0.05), EU)

    assert found.carbohydrate.interval is not None
    assert found.carbohydrate.interval[0] == 0.0


@pytest.mark.parametrize(
    "text",
    [
        "not toml",
        "[set.X]\nname = 'x'",
        "[source]\na = 'b'\n[set.X]\nname='x'\nkcal_per_g={protein=4}\nsource='a'\nstatus='seen'",
        "[source]\na = 'b'\n[set.X]\nname='x'\nkcal_per_g={protein=4,fat=9,carbohydrate=4}\n"
        "source='a'\nstatus='heard'",
        "set = 3",
    ],
)
def test_a_broken_table_is_refused_with_what_to_do(text: str) -> None:
    with pytest.raises(ProcessError, match="can't be read") as caught:
        parse_energy_table(text)

    assert "listed source" in caught.value.do
