# SPDX-License-Identifier: MIT
"""What is said of the ingredients of a batch, and what is not cleared by silence."""

from __future__ import annotations

import pytest

from api.process.ingredient_rows import Status
from api.process.ingredient_table import ingredient_table, parse_ingredient_table
from api.process.ingredients import (
    UNKNOWN_COOK_THROUGH,
    Caution,
    allergens,
    cautions,
    cook_through,
    cross_contact,
    find,
    process_cautions,
    refusals,
)
from collector.errors import ProcessError


def kinds(found: tuple[Caution, ...], subject: str) -> list[str]:
    return [caution.kind for caution in found if caution.subject == subject]


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("soybean", "soybean"), ("Soya beans", "soybean"), ("Dried yellow peas", "yellow pea"),
        ("beans, kidney, red", "kidney bean"), ("chick peas", "chickpea"), ("linseed", "flaxseed"),
        ("Sesame seeds", "sesame"), ("pumpkin seeds", "pumpkin seed"),
    ],
)  # fmt: skip
def test_an_ingredient_is_found_by_any_of_its_names(written: str, name: str) -> None:
    found = find(written)

    assert found is not None
    assert found.name == name


@pytest.mark.parametrize("written", ["black soybean", "cow pea", "", "moon rock", "pea protein"])
def test_figures_are_not_lent_to_a_name_that_is_only_alike(written: str) -> None:
    assert find(written) is None


@pytest.mark.parametrize("name", ["sesame", "yellow pea", "hemp seed", "pumpkin seed", "moon rock"])
def test_silence_clears_nothing(name: str) -> None:
    texts = [caution.text for caution in cautions([name])]

    assert "no cook-through requirement is known here; ask a food-safety authority" in texts


def test_a_sourced_cook_through_is_shown_instead() -> None:
    found = cautions(["kidney bean"])

    assert "cook-through" in kinds(found, "kidney bean")
    assert UNKNOWN_COOK_THROUGH not in [caution.text for caution in found]
    assert any("30 min" in caution.text for caution in found)


def test_a_value_nobody_read_in_its_source_decides_nothing() -> None:
    rows = cook_through(["kidney bean", "soybean", "lima bean", "sesame"])

    assert [name for name, _ in rows] == ["kidney bean", "soybean", "lima bean"]
    for _, row in rows:
        assert row.may_decide == (row.is_requirement and row.status is Status.SEEN)
    kidney = rows[0][1]
    assert kidney.least_boil_s == 1800
    assert kidney.status is Status.SECOND_HAND
    assert not kidney.may_decide


def test_a_name_that_is_alike_is_feared_but_not_cleared() -> None:
    found = cautions(["kidney beans, organic"])

    assert kinds(found, "kidney beans, organic").count("unknown") == 2
    assert "cook-through" in kinds(found, "kidney beans, organic")


def test_a_blend_takes_the_union_of_hazards_and_allergens() -> None:
    blend = cautions(["soybean", "pumpkin seed", "fava bean"])

    assert "cook-through" in kinds(blend, "soybean")
    assert kinds(blend, "pumpkin seed") == ["unknown"]
    assert any("favism" in caution.text for caution in blend)
    assert [a.group for a in allergens(["soybean", "sesame", "almond", "cashew"])] == [
        "soy", "sesame", "nut",
    ]  # fmt: skip
    nuts = allergens(["almond", "cashew"])[0]
    assert nuts.ingredients == ("almond", "cashew")


@pytest.mark.parametrize(
    ("jurisdiction", "groups"),
    [("US", {"soy"}), ("EU", {"soy", "lupin"}), ("UK", {"soy", "lupin"}), ("CA", {"soy"})],
)
def test_lupin_is_an_allergen_in_europe_alone(jurisdiction: str, groups: set[str]) -> None:
    found = allergens(["soybean", "lupin"], jurisdiction)

    assert {allergen.group for allergen in found} == groups


def test_lists_are_as_long_as_they_are_called() -> None:
    lists = ingredient_table().jurisdictions

    assert len(set(lists["US"].listed.values())) == 9
    assert len(set(lists["EU"].listed.values())) == 14
    assert lists["EU"].listed == lists["UK"].listed
    # Eleven priority allergens with fish apart from other seafood.
    assert len(set(lists["CA"].listed.values())) == 11


def test_an_unknown_name_still_gives_its_allergen_away() -> None:
    assert [a.group for a in allergens(["roasted peanuts", "tahini", "pine nuts"], "US")] == [
        "peanut", "sesame", "pine_nut",
    ]  # fmt: skip
    assert allergens(["pine nuts"], "EU") == ()
    assert allergens(["hemp seed", "chickpea", "sunflower seed"]) == ()


def test_an_unknown_list_is_refused_with_advice() -> None:
    with pytest.raises(ProcessError, match="Use one of US, EU, UK, CA"):
        allergens(["soybean"], "Atlantis")


@pytest.mark.parametrize(
    "name", ["raw apricot kernel", "Apricot kernels", "bitter almonds", "Almonds (bitter)"]
)
def test_what_sets_cyanide_free_is_refused(name: str) -> None:
    assert refusals([name, "soybean"])[0].kind == "refuse"
    assert cautions(["soybean", name])[0].kind == "refuse"


@pytest.mark.parametrize("name", ["almond", "sweet almonds", "soybean", "lupin", "bitter gourd"])
def test_what_is_food_is_not_refused(name: str) -> None:
    assert refusals([name]) == ()


def test_a_pot_that_held_an_allergen_today_is_named() -> None:
    found = cross_contact([["soybean"], ["peanut", "sesame"]], ["soybean"])

    assert [caution.subject for caution in found] == ["peanuts", "sesame"]
    assert all(caution.kind == "cross-contact" for caution in found)
    assert cross_contact([["soybean"]], ["soybean", "sesame"]) == ()
    assert cross_contact([], ["soybean"]) == ()


def test_cautions_of_any_curd_name_scalds_chilling_and_the_authority() -> None:
    texts = " ".join(caution.text for caution in process_cautions())

    for word in ("scald", "Chill fast", "Food grade", "kills nothing", "food-safety authority"):
        assert word in texts


def test_every_ingredient_foams_at_a_stated_temperature() -> None:
    assert {i.foam_degc for i in ingredient_table().ingredients.values()} == {80.0}


def test_names_of_two_ingredients_never_mean_both() -> None:
    names = [
        alias
        for ingredient in ingredient_table().ingredients.values()
        for alias in (ingredient.name, *ingredient.aliases)
    ]

    for ingredient in ingredient_table().ingredients.values():
        for alias in (ingredient.name, *ingredient.aliases):
            found = find(alias)
            assert found is not None
            assert found.name == ingredient.name, alias
    assert len(names) == len(set(names))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("not = [toml", "can't be read"),
        ("[source]\n", "can't be read"),
        (
            "[source]\na = 'x'\n[default]\nfoam_degc = 80\n[[ingredient]]\nname = 'x'",
            "can't be read",
        ),
    ],
)
def test_a_broken_table_is_refused_with_advice(text: str, message: str) -> None:
    with pytest.raises(ProcessError, match=message):
        parse_ingredient_table(text)


def test_a_composition_that_does_not_add_up_is_refused() -> None:
    text = """
[source]
mine = "own analysis"
[default]
foam_degc = 80.0
[[ingredient]]
name = "bean"
aliases = []
family = "pulse"
allergens = []
[[ingredient.composition]]
source = "mine"
code = "1"
food = "bean"
status = "seen"
water_g = 10.0
protein_g = 40.0
fat_g = 20.0
net_carbohydrate_g = 20.0
ash_g = 4.0
"""
    with pytest.raises(ProcessError, match="add up"):
        parse_ingredient_table(text)
