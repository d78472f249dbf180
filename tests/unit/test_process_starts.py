"""Where to begin with an ingredient: always with its origin, never lent from another."""

from __future__ import annotations

import pytest

from api.process.coagulant import dose
from api.process.dose_units import DoseUnit, coagulant_per_dry
from api.process.ingredient_table import ingredient_table
from api.process.quantities import Quantity
from api.process.starts import NO_RANGE, parse_start_table, start_table, starts_of
from collector.errors import ProcessError


@pytest.mark.parametrize("name", list(ingredient_table().ingredients))
def test_every_start_names_its_source_or_says_that_nothing_is_known(name: str) -> None:
    for start in starts_of(name).starts:
        assert bool(start.source) == (start.status is not None)
        assert start.source or start.text == NO_RANGE
        if start.span is not None and start.value is not None:
            assert start.span[0] <= start.value <= start.span[1]


def test_the_range_of_soy_is_shown_for_soy_alone() -> None:
    soy = {one.field: one for one in starts_of("soybean").starts}
    other = {one.field: one for one in starts_of("mung bean", "gypsum").starts}

    assert soy["dose"].span == (2.0, 4.0)
    assert other["dose"].text == NO_RANGE


def test_a_dose_belongs_to_its_own_coagulant() -> None:
    fava = {one.field: one for one in starts_of("fava bean", "magnesium chloride").starts}

    assert fava["dose"].value is None
    assert starts_of("fava bean").starts[3].value == 0.4


def test_the_least_boil_of_a_cook_through_caution_is_where_to_begin() -> None:
    boil = starts_of("kidney bean").starts[1]

    assert boil.value == 30.0
    assert "lectin" in boil.text


def test_an_unknown_ingredient_gets_only_what_is_common_with_any() -> None:
    found = starts_of("acorn")

    assert (found.coagulant, found.self_set) == ("", False)
    assert [one.field for one in found.starts if one.value is not None] == ["water", "stand"]


@pytest.mark.parametrize(
    "text",
    [
        "no toml at all [",
        '[source]\na = "x"\n[[ingredient]]\nname = "moon dust"\n',
        '[source]\n[[ingredient]]\nname = "soybean"\n[[ingredient.start]]\nfield = "water"\n'
        'text = "t"\nsource = "b"\nstatus = "seen"\n',
        '[source]\na = "x"\n[[ingredient]]\nname = "soybean"\n[[ingredient.start]]\n'
        'field = "salt"\ntext = "t"\nsource = "a"\nstatus = "seen"\n',
    ],
)
def test_a_table_with_an_unknown_word_is_refused(text: str) -> None:
    with pytest.raises(ProcessError):
        parse_start_table(text)


def test_the_packaged_table_cites_all_of_its_sources() -> None:
    assert start_table().ingredients["soybean"]["starts"]["water"].source.startswith("Wang")


@pytest.mark.parametrize("unit", list(DoseUnit))
def test_a_dose_comes_back_as_it_was_stated(unit: DoseUnit) -> None:
    ratio = coagulant_per_dry("liquid nigari", 1.7, unit, milk_per_dry=6.5, strength_fraction=0.3)

    found = dose(
        "liquid nigari",
        Quantity(ratio, "kg", 0.0, "given"),
        dry=Quantity(1.0, "kg", 0.0, "given"),
        milk=Quantity(6.5, "kg", 0.0, "given"),
        strength=Quantity(0.3, "-", 0.0, "given"),
    )

    stated = {
        DoseUnit.OF_DRY: found.of_dry,
        DoseUnit.OF_MILK: found.of_milk,
        DoseUnit.CONCENTRATION: found.concentration,
    }[unit]
    assert isinstance(stated, Quantity)
    assert stated.value == pytest.approx(1.7, rel=1e-12)


@pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), float("inf")])
def test_a_dose_of_nothing_is_refused(value: float) -> None:
    with pytest.raises(ProcessError):
        coagulant_per_dry("gypsum", value, DoseUnit.OF_DRY)
