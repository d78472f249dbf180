# SPDX-License-Identifier: MIT
"""Yields and recoveries against a published balance, national tables, and a second library."""

from __future__ import annotations

import pytest
from uncertainties import ufloat

from api.process.component_balance import component_balance
from api.process.ingredient_table import ingredient_table
from api.process.quantities import Quantity, Result
from api.process.recovery_table import recovery_table
from api.process.yields import moisture_by_difference, on_factor, ratio, yield_per_dry

SOY = recovery_table()["soybean"].fractions


def exact(value: float, unit: str = "kg") -> Quantity:
    return Quantity(value, unit, 0.0, "given")


def value(result: Result) -> float:
    assert isinstance(result, Quantity)
    return result.value


def test_the_published_balance_of_soy_closes_as_printed() -> None:
    # Wang and Cavins 1989, Cereal Chem. 66:359: closures 96 and 95.7 %, milk to tofu 90 %; seen.
    solids, protein = SOY["solids"], SOY["protein"]

    assert solids["block"] + solids["pulp"] + solids["whey"] == pytest.approx(0.96)
    assert protein["block"] + protein["pulp"] + protein["whey"] == pytest.approx(0.957)
    assert protein["block"] / protein["milk"] == pytest.approx(0.90, abs=0.005)
    assert solids["block"] / solids["milk"] == pytest.approx(0.825, abs=0.001)  # computed


@pytest.mark.parametrize(
    ("product", "predicted_percent"),
    # 1 kg of USDA beans at the published recovery, pressed to the moisture of each class: predicted
    # protein computed; the product's own from USDA SR28 (seen), within 5 %.
    [("tofu, soft", 6.94), ("tofu, regular", 8.42), ("tofu, firm", 9.30)],
)
def test_the_recovery_of_one_source_predicts_the_protein_of_another(
    product: str, predicted_percent: float
) -> None:
    table = next(p for p in ingredient_table().products if p.name == product).composition
    solids = component_balance("solids", {"soybean": exact(1.0)}, {}, {})
    solids_kg = value(solids.in_stream["block"])
    block = exact(solids_kg / (1.0 - table.water_fraction))

    protein = component_balance("protein", {"soybean": exact(1.0)}, {"block": block}, {})

    assert 100 * value(protein.in_block_fraction) == pytest.approx(predicted_percent, abs=0.005)
    assert value(protein.in_block_fraction) == pytest.approx(table.protein_fraction, rel=0.05)


def test_a_thousand_grams_of_beans_are_shared_out_as_worked_by_hand() -> None:
    # USDA 16108 with the published recoveries [g]: computed.
    expected = {
        "solids": (914.6, 576.2, 274.4, 475.6),
        "protein": (364.9, 288.3, 73.0, 259.1),
        "fat": (199.4, 163.5, 21.9, 163.5),
    }

    for component, (in_dry, milk, pulp, block) in expected.items():
        found = component_balance(component, {"soybean": exact(1.0)}, {}, {})
        masses = [found.in_dry, *(found.in_stream[s] for s in ("milk", "pulp", "block"))]
        grams = [1000 * value(mass) for mass in masses]
        assert grams == pytest.approx([in_dry, milk, pulp, block], abs=0.06)


def test_moisture_by_difference_gives_back_the_moisture_pressed_to() -> None:
    # 3,078 g at 84.55 %, USDA 16427 (seen) and the published recovery: computed.
    found = moisture_by_difference(exact(1.0), exact(0.9146, "-"), exact(0.52, "-"), exact(3.078))

    assert value(found) == pytest.approx(0.8455, abs=0.0001)


def test_a_second_published_yield_is_the_upper_limit_of_what_is_plausible() -> None:
    # 306 g at 22 % solids from 100 g of beans: Cienc. Tecnol. Aliment. 31(4), 2011; seen.
    solids = value(
        ratio((exact(0.306), exact(0.22, "-")), (exact(0.1), exact(0.9146, "-")), "-", "")
    )

    assert solids == pytest.approx(0.736, abs=0.001)


def test_another_nitrogen_factor_makes_a_recovery_nine_and_a_half_per_cent_higher() -> None:
    # 6.25 / 5.71 = 1.0946: exact.
    assert value(on_factor(exact(0.3649, "-"), 5.71, 6.25)) / 0.3649 == pytest.approx(
        1.0946, abs=5e-5
    )


def test_uncertainties_are_those_of_a_second_library() -> None:
    # 22.400(20) kg at 0.180(3) solids over 65.000(30) kg at 0.0850(10): 0.730, u 0.015; computed.
    masses = [(22.4, 0.020), (0.180, 0.003), (65.0, 0.030), (0.0850, 0.0010)]
    a, b, c, d = (ufloat(*pair) for pair in masses)
    expected = a * b / (c * d)  # uncertainties
    p, q, r, s = (Quantity(v, "kg", u, "given") for v, u in masses)

    found = ratio((p, q), (r, s), "-", "recovery")

    assert isinstance(found, Quantity)
    assert found.value == pytest.approx(expected.nominal_value, rel=1e-12)
    assert found.u == pytest.approx(expected.std_dev, rel=1e-9)
    assert (round(found.value, 3), round(found.u, 3)) == (0.730, 0.015)


def test_a_yield_is_as_worked_in_the_budget() -> None:
    # 22.400 u 0.020 over 10.000 u 0.0058 kg: 2.2400 u 0.0024; computed.
    found = yield_per_dry(
        Quantity(22.4, "kg", 0.020, "given"), Quantity(10.0, "kg", 0.0058, "given")
    )

    assert isinstance(found, Quantity)
    assert (round(found.value, 4), round(found.u, 4)) == (2.24, 0.0024)
