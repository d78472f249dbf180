# SPDX-License-Identifier: MIT
"""Money: exact until shown, never mixed, never without a date."""

from __future__ import annotations

from decimal import Decimal

import pytest

from api.process.cost import block_cost
from api.process.money import (
    Money,
    cost_of,
    decimal_of,
    in_currency,
    price_per_kg,
    shown,
    total,
)
from api.process.quantities import NotShown, Quantity
from collector.errors import ProcessError


def euro(amount: str, u: float = 0.0) -> Money:
    return Money(Decimal(amount), "EUR", u, "given", ("lot 7",))


def kg(value: float, u: float = 0.0) -> Quantity:
    return Quantity(value, "kg", u, "weighed", ("weighing 1",))


def test_money_stays_exact_until_it_is_shown() -> None:
    parts = [cost_of(kg(0.1), price_per_kg("0.10", "EUR", "1", "kg")) for _ in range(3)]

    found = total(parts)

    assert isinstance(found, Money)
    assert found.amount == Decimal("0.03")
    assert found.sources == ("weighing 1",)


@pytest.mark.parametrize(
    ("amount", "text"), [("0.125", "0.12"), ("0.135", "0.14"), ("11.0825", "11.08"), ("3", "3.00")]
)
def test_halves_are_rounded_to_even(amount: str, text: str) -> None:
    assert shown(euro(amount)) == f"{text} EUR"


def test_a_second_currency_carries_its_rate_and_date() -> None:
    found = in_currency(euro("6.46", 0.05), "TWD", "34.80", "2026-02-03")

    assert found.amount == Decimal("6.46") * Decimal("34.80")
    assert found.u == pytest.approx(0.05 * 34.8)
    assert found.sources[-1] == "rate EUR to TWD 34.80 of 2026-02-03, as stated"


@pytest.mark.parametrize(("rate", "date"), [("0", "2026-02-03"), ("34.8", " "), ("many", "today")])
def test_a_rate_without_number_or_date_is_refused(rate: str, date: str) -> None:
    with pytest.raises(ProcessError, match=r"rate|number"):
        in_currency(euro("1"), "TWD", rate, date)


def test_currencies_are_never_added_up() -> None:
    mixed = total([euro("1"), Money(Decimal(1), "USD", 0.0, "given")])

    assert isinstance(mixed, NotShown)
    assert "EUR, USD" in mixed.why
    assert isinstance(total([]), NotShown)


def test_independent_costs_add_in_quadrature() -> None:
    found = total([euro("3", 0.3), euro("4", 0.4)])

    assert isinstance(found, Money)
    assert found.u == pytest.approx(0.5)


def test_a_block_of_nominal_350_g_that_weighs_400_g_is_reckoned_by_its_400_g() -> None:
    found = block_cost(euro("4.00"), kg(0.2), kg(0.4), 0.350, NotShown("No analysis."))

    assert isinstance(found.per_100_g, Money)
    assert found.per_100_g.amount == Decimal("1.00")
    assert isinstance(found.nominal, Money)
    assert found.nominal.amount == Decimal("3.50")
    assert found.actual == euro("4.00")
    assert found.per_100_g_protein == NotShown("No analysis.")


def test_what_is_missing_is_not_shown() -> None:
    nothing = NotShown("Nobody weighed block.")
    without_block = block_cost(euro("4"), kg(0.2), nothing, 0.35, NotShown("No analysis."))
    without_price = block_cost(NotShown("Nothing has a price."), kg(0.2), kg(0.4), 0.35, nothing)
    empty = block_cost(euro("4"), kg(0.2), kg(0.0), 0.35, Quantity(0.1, "-", 0.0, "lab"))

    assert without_block.per_100_g == nothing
    assert without_block.dry_for_nominal == nothing
    assert without_price.nominal == NotShown("Nothing has a price.")
    assert isinstance(without_price.dry_for_nominal, Quantity)
    assert isinstance(empty.nominal, NotShown)
    assert isinstance(empty.per_100_g_protein, NotShown)
    assert isinstance(empty.dry_for_nominal, NotShown)


def test_a_comma_is_a_point() -> None:
    assert decimal_of("12,90") == Decimal("12.90")


@pytest.mark.parametrize("text", ["", "a lot", "-1", "NaN", "Infinity", "1,234.50"])
def test_what_is_no_amount_is_refused_with_advice(text: str) -> None:
    with pytest.raises(ProcessError, match=r"Write it like 12\.90"):
        decimal_of(text)


def test_prices_of_nothing_or_by_the_cup_are_refused() -> None:
    with pytest.raises(ProcessError, match="not a unit of mass"):
        price_per_kg("1", "EUR", "1", "cup")
    with pytest.raises(ProcessError, match="Say what mass"):
        price_per_kg("1", "EUR", "0", "kg")
    with pytest.raises(ProcessError, match="more than 0 kg"):
        block_cost(euro("1"), kg(0.1), kg(0.2), 0.0, kg(0.1))
