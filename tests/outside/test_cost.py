# SPDX-License-Identifier: MIT
"""The cost of a block against sums worked by hand and a second library."""

from __future__ import annotations

from decimal import Decimal

import pytest
from uncertainties import ufloat

from api.process.cost import block_cost
from api.process.money import Money, cost_of, price_per_kg, shown
from api.process.quantities import NotShown, Quantity


def grams(value: float, u: float = 0.0) -> Quantity:
    return Quantity(value / 1000, "kg", u / 1000, "weighed")


@pytest.mark.parametrize(
    ("block_g", "dry_for_350_g", "cost_of_350_g", "dry_for_400_g", "cost_of_400_g", "cost_of_kg"),
    # 12.92 a pound, 226.796 g used, block of 204 g and of 7.2 oz: worked by hand, computed.
    [
        (204.0, 389.1, 11.083, 444.7, 12.667, 31.667),
        (7.2 * 28.349523125, 388.9, 11.077, 444.4, 12.659, 31.649),
    ],
)
def test_the_cost_of_a_block_is_as_worked_by_hand(
    block_g: float, dry_for_350_g: float, cost_of_350_g: float,
    dry_for_400_g: float, cost_of_400_g: float, cost_of_kg: float,
) -> None:  # fmt: skip
    price = price_per_kg("12.92", "USD", "1", "lb")
    used = grams(226.796)
    cost = cost_of(used, price)

    assert float(price.per_kg) == pytest.approx(28.4837, abs=5e-5)
    assert float(cost.amount) == pytest.approx(6.46, abs=0.0005)
    for nominal_kg, dry_g, amount in (
        (0.350, dry_for_350_g, cost_of_350_g),
        (0.400, dry_for_400_g, cost_of_400_g),
    ):
        found = block_cost(cost, used, grams(block_g), nominal_kg, NotShown("no analysis"))
        assert isinstance(found.dry_for_nominal, Quantity)
        assert 1000 * found.dry_for_nominal.value == pytest.approx(dry_g, abs=0.05)
        assert isinstance(found.nominal, Money)
        assert float(found.nominal.amount) == pytest.approx(amount, abs=0.0005)
        assert isinstance(found.per_100_g, Money)
        assert 10 * float(found.per_100_g.amount) == pytest.approx(cost_of_kg, abs=0.0005)
        assert shown(found.nominal) == f"{amount:.2f} USD"


def test_uncertainties_are_those_of_a_second_library() -> None:
    used, block, protein = ufloat(0.2268, 0.0012), ufloat(0.204, 0.0015), ufloat(0.13, 0.01)
    cost = 28.4837 * used
    dry, wet = grams(226.8, 1.2), grams(204.0, 1.5)

    found = block_cost(
        cost_of(dry, price_per_kg("28.4837", "USD", "1", "kg")),
        dry, wet, 0.350, Quantity(0.13, "-", 0.01, "laboratory"),
    )  # fmt: skip

    for money, expected in (
        (found.nominal, 0.35 * cost / block),  # uncertainties, computed
        (found.per_100_g, 0.1 * cost / block),
        (found.per_100_g_protein, 0.1 * cost / (block * protein)),
    ):
        assert isinstance(money, Money)
        assert float(money.amount) == pytest.approx(expected.nominal_value, rel=1e-9)
        assert money.u == pytest.approx(expected.std_dev, rel=1e-6)
    assert isinstance(found.dry_for_nominal, Quantity)
    expected = 0.35 * used / block
    assert found.dry_for_nominal.u == pytest.approx(expected.std_dev, rel=1e-6)


def test_a_pound_is_exact() -> None:
    # 1 lb = 0.45359237 kg, 16 oz in it: definition.
    assert price_per_kg("0.45359237", "EUR", "1", "lb").per_kg == Decimal(1)
    assert price_per_kg("0.45359237", "EUR", "16", "oz").per_kg == Decimal(1)
