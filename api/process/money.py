# SPDX-License-Identifier: MIT
"""Money: decimal, exact until it is shown, with an uncertainty and a currency.

Pure: imports only the ground and what is pure.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal, InvalidOperation

from api.process.quantities import NotShown, Quantity
from collector.errors import ProcessError

# Exact by definition (international pound of 1959).
_KG_IN: dict[str, Decimal] = {
    "kg": Decimal(1),
    "g": Decimal("0.001"),
    "mg": Decimal("0.000001"),
    "lb": Decimal("0.45359237"),
    "oz": Decimal("0.028349523125"),
}


@dataclass(frozen=True, slots=True)
class Price:
    """What a mass of an ingredient costs.

    Attributes:
        per_kg: Amount for a kilogram [currency/kg].
        currency: Its code, as the maker writes it.
        source: Where the price comes from: a lot, a shop, a date.
    """

    per_kg: Decimal
    currency: str
    source: str = ""


@dataclass(frozen=True, slots=True)
class Money:
    """An amount with its standard uncertainty.

    Attributes:
        amount: Unrounded [currency].
        currency: Its code.
        u: Standard uncertainty [currency].
        method: How it was computed.
        sources: What it was computed from.
    """

    amount: Decimal
    currency: str
    u: float
    method: str
    sources: tuple[str, ...] = ()


MoneyResult = Money | NotShown


def decimal_of(text: str | int | Decimal, what: str = "amount") -> Decimal:
    """Return a decimal number as it was typed; a comma is taken for the point.

    Args:
        text: The number.
        what: What it is, for the message.

    Returns:
        The number [unit as typed].

    Raises:
        ProcessError: It is no finite number, or below 0.

    Source:
        Definition.
    """
    try:
        value = Decimal(str(text).strip().replace(",", "."))
    except InvalidOperation as error:
        raise ProcessError(
            f"{text!r} is not a number.", where=what, do="Write it like 12.90."
        ) from error
    if not value.is_finite() or value < 0:
        raise ProcessError(
            f"{text!r} is not an amount of at least 0.", where=what, do="Write it like 12.90."
        )
    return value


def price_per_kg(
    amount: str | Decimal, currency: str, quantity: str | Decimal, unit: str, source: str = ""
) -> Price:
    """Return a price for a kilogram from the price of any mass.

    Args:
        amount: What it costs [currency].
        currency: The currency's code.
        quantity: How much of it [unit].
        unit: kg, g, mg, lb or oz.
        source: Where the price comes from.

    Returns:
        The price [currency/kg].

    Raises:
        ProcessError: A number makes no sense, or the unit is not one of mass.

    Source:
        1 lb = 0.45359237 kg exactly (definition, 1959).

    Example:
        >>> round(price_per_kg("12.92", "USD", "1", "lb").per_kg, 4)
        Decimal('28.4837')
    """
    if unit not in _KG_IN:
        raise ProcessError(
            f"{unit!r} is not a unit of mass.", where="price", do=f"Use {', '.join(_KG_IN)}."
        )
    mass_kg = decimal_of(quantity, "price") * _KG_IN[unit]
    if mass_kg == 0:
        raise ProcessError(
            f"A price for 0 {unit} is none.", where="price", do="Say what mass it is for."
        )
    return Price(decimal_of(amount, "price") / mass_kg, currency, source)


def cost_of(used: Quantity, price: Price) -> Money:
    """Return what a mass of an ingredient cost.

    Args:
        used: Mass used [kg].
        price: Its price [currency/kg].

    Returns:
        The cost [currency].

    Source:
        c = m p (definition).
    """
    amount = Decimal(repr(used.value)) * price.per_kg
    sources = (*used.sources, *((price.source,) if price.source else ()))
    return Money(amount, price.currency, float(price.per_kg) * used.u, "mass times price", sources)


def total(parts: Sequence[Money]) -> MoneyResult:
    """Return several costs together.

    Args:
        parts: Costs in one currency.

    Returns:
        Their sum [currency], or why there is none.

    Source:
        Definition; independent uncertainties in quadrature, JCGM 100:2008, 5.1 (from memory).
    """
    currencies = {part.currency for part in parts}
    if len(currencies) != 1:
        return NotShown(
            "Nothing has a price." if not parts else
            f"The prices are in {', '.join(sorted(currencies))}; state a rate for one of them."
        )  # fmt: skip
    sources = tuple(dict.fromkeys(source for part in parts for source in part.sources))
    amount = sum((part.amount for part in parts), Decimal(0))
    return Money(amount, currencies.pop(), math.hypot(*(p.u for p in parts)), "sum", sources)


def in_currency(cost: Money, currency: str, rate: str | Decimal, date: str) -> Money:
    """Return a cost in another currency at a rate that the maker states with its date.

    Args:
        cost: The cost [its currency].
        currency: The other currency's code.
        rate: What one unit of the first is worth [currency per currency].
        date: Of what day the rate is.

    Returns:
        The cost [currency].

    Raises:
        ProcessError: The rate is no number above 0, or has no date.

    Source:
        Definition.
    """
    factor = decimal_of(rate, "rate")
    if factor == 0 or not date.strip():
        raise ProcessError(
            f"A rate of {factor} of {date or 'no day'} can't be used.",
            where=f"{cost.currency} to {currency}",
            do="State a rate above 0 and the day it is of.",
        )
    stated = f"rate {cost.currency} to {currency} {factor} of {date.strip()}, as stated"
    return Money(
        cost.amount * factor, currency, cost.u * float(factor), cost.method,
        (*cost.sources, stated),
    )  # fmt: skip


def shown(cost: Money, places: int = 2) -> str:
    """Return an amount as it is shown: rounded half to even, with its currency.

    Args:
        cost: The amount [currency].
        places: Digits after the point [-].

    Returns:
        Such as "11.08 USD".

    Source:
        Definition.

    Example:
        >>> shown(Money(Decimal("2.5"), "EUR", 0.0, "given"), 0)
        '2 EUR'
    """
    step = Decimal(1).scaleb(-places)
    return f"{cost.amount.quantize(step, rounding=ROUND_HALF_EVEN)} {cost.currency}"
