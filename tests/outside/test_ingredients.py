# SPDX-License-Identifier: MIT
"""The table of ingredients against the sums, rows and relations of its sources."""

from __future__ import annotations

import tomllib
from importlib.resources import files

import pytest

from api.process.ingredient_rows import Ingredient, Product, Row
from api.process.ingredient_table import ingredient_table
from api.process.thermal import specific_heat

ROWS = [
    pytest.param(row, id=f"{ingredient.name} {row.code}")
    for ingredient in ingredient_table().ingredients.values()
    for row in ingredient.rows
]


def ingredient(name: str) -> Ingredient:
    return ingredient_table().ingredients[name]


@pytest.mark.parametrize("row", ROWS)
def test_each_row_adds_up_to_a_hundred(row: Row) -> None:
    """Both tables print figures that add up to 100.00 within their rounding (seen)."""
    total = 100 * sum(fraction for _, fraction in row.composition.fractions())

    assert total == pytest.approx(100.0, abs=0.0101)


def test_each_product_adds_up_to_a_hundred() -> None:
    """USDA carbohydrate is by difference and holds the fibre (seen)."""
    for product in ingredient_table().products:
        total = 100 * sum(fraction for _, fraction in product.composition.fractions())
        assert total == pytest.approx(100.0, abs=0.0101), product.name


# Water, protein, fat, net carbohydrate, fibre, ash [g/100 g]: USDA SR28 (seen), net by
# subtraction; Indian Food Composition Tables 2017 (seen).
PRINTED = {
    ("soybean", "NDB 16108"): (8.54, 36.49, 19.94, 20.86, 9.3, 4.87),
    ("soybean", "B025"): (5.47, 37.80, 19.42, 10.16, 22.63, 4.52),
    ("yellow pea", "B017"): (9.33, 20.43, 1.89, 48.93, 17.01, 2.41),
    ("yellow pea", "NDB 16085"): (8.62, 23.82, 1.16, 38.24, 25.5, 2.66),
    ("sesame", "H009"): (4.51, 19.17, 43.10, 10.29, 17.16, 5.78),
    ("pumpkin seed", "NDB 12014"): (5.23, 30.23, 49.05, 4.71, 6.0, 4.78),
    ("lupin", "NDB 16076"): (10.44, 36.17, 9.74, 21.47, 18.9, 3.28),
    ("sesame kernel", "NDB 12201"): (3.75, 20.45, 61.21, 0.13, 11.6, 2.86),
}


@pytest.mark.parametrize(("name", "code"), PRINTED)
def test_rows_are_those_of_their_tables(name: str, code: str) -> None:
    row = next(r for r in ingredient(name).rows if r.code == code)

    found = tuple(100 * fraction for _, fraction in row.composition.fractions())

    assert found == pytest.approx(PRINTED[name, code], abs=1e-9)


def test_the_two_tables_agree_on_the_protein_of_soybean() -> None:
    """36.49 lies between the Indian 35.58 and 37.80: two independent tables (seen)."""
    usda, white, brown = (row.composition.protein_fraction for row in ingredient("soybean").rows)

    assert brown < usda < white


@pytest.mark.parametrize(
    ("name", "factor"),
    # Jones factors as the tables list them (seen): soybean 5.71, peanut 5.46, almond 5.18, oilseeds
    # 5.30, pulses 6.25.
    [("soybean", 5.71), ("peanut", 5.46), ("almond", 5.18), ("sunflower seed", 5.30),
     ("lentil", 6.25), ("hemp seed", 5.30)],
)  # fmt: skip
def test_nitrogen_factors_are_kept_beside_the_protein(name: str, factor: float) -> None:
    assert factor in [row.nitrogen_factor for row in ingredient(name).rows]


def test_the_usda_row_of_soybean_states_no_nitrogen_factor() -> None:
    # Blank in the file (seen).
    assert ingredient("soybean").rows[0].nitrogen_factor is None


@pytest.mark.parametrize(
    ("name", "specific_heat_j_per_kg_k"),
    # Choi and Okos at 20 degC with carbohydrate net of fibre: computed elsewhere, three decimals.
    [("tofu, regular", 3830), ("tofu, firm", 3790), ("soymilk", 3888)],
)
def test_fibre_is_counted_once(name: str, specific_heat_j_per_kg_k: float) -> None:
    product: Product = next(p for p in ingredient_table().products if p.name == name)

    assert specific_heat(product.composition, 20.0) == pytest.approx(
        specific_heat_j_per_kg_k, abs=0.6
    )


def test_every_figure_names_a_listed_source_and_every_source_is_used() -> None:
    text = files("api.process").joinpath("data/ingredients.toml").read_text(encoding="utf-8")
    data = tomllib.loads(text)

    def cited(node: object) -> set[str]:
        if isinstance(node, dict):
            own = {v for k, v in node.items() if k.endswith("source") and isinstance(v, str)}
            return own.union(*(cited(v) for v in node.values()))
        return set().union(*(cited(v) for v in node)) if isinstance(node, list) else set()

    sources = data.pop("source")
    assert cited(data) == set(sources)
