# SPDX-License-Identifier: MIT
"""What the maker measured by hand, from observations into the calculations' own form."""

from __future__ import annotations

import math

from api.process.quantities import Quantity
from api.records.batches import Batch, Kept
from collector.errors import UnitError
from collector.units import CANONICAL, convert

_PER_HUNDRED = ("%", "percent", "/100", "g/100g", "g/100 g")
_WHOLE = ("/", "-", "1", "kg/kg", "g/g")


def fraction_of(value: float, unit: str | None) -> float:
    """Return a share as a fraction, whether it was typed per hundred or of one.

    Args:
        value: The number [unit].
        unit: "%", "g/100 g", "/" …

    Raises:
        UnitError: The unit is not one of a share, or the share lies outside 0 … 1.
    """
    if unit not in (*_PER_HUNDRED, *_WHOLE):
        raise UnitError(
            f"{unit!r} is not a unit of a share." if unit else "A share needs its unit.",
            do=f"Use one of {', '.join((*_PER_HUNDRED, *_WHOLE))}.",
        )
    fraction = value / 100.0 if unit in _PER_HUNDRED else value
    if not 0.0 <= fraction <= 1.0:
        raise UnitError(
            f"A share of {value:g} {unit} lies outside the whole.",
            do="Give 0 to 100 %, or 0 to 1.",
        )
    return fraction


def observations_of(batch: Batch, quantity: str, of: str | None = None) -> list[Kept]:
    """Return the standing observations of a quantity that have a value, by time.

    Args:
        batch: The batch.
        quantity: "moisture", "taste" …
        of: Only those of this stream.
    """
    return [
        record
        for record in batch.observations
        if record.body["quantity"] == quantity
        and record.body.get("value") is not None
        and (of is None or record.body.get("of") == of)
    ]


def observed_share(batch: Batch, quantity: str, of: str, usual_u: float) -> Quantity | None:
    """Return the last share of a stream that the maker measured, None without one.

    Args:
        batch: The batch.
        quantity: "moisture", "protein" or "fat".
        of: The stream.
        usual_u: Relative standard uncertainty where none was stated [-].

    Raises:
        UnitError: Its unit is not one of a share.
    """
    found = observations_of(batch, quantity, of)
    if not found:
        return None
    body = found[-1].body
    value = fraction_of(body["value"], body.get("unit"))
    stated = fraction_of(body["u"], body.get("unit")) if body.get("u") else None
    sources: tuple[str, ...] = (f"observation {found[-1].id}",)
    if stated is None:
        sources = (*sources, f"assumed: {100 * usual_u:g} % standard uncertainty of an analysis")
    u = stated if stated is not None else usual_u * value
    return Quantity(value, "-", u, "own analysis", sources)


def observed_measure(batch: Batch, quantity: str, kind: str, usual_u: float) -> Quantity | None:
    """Return the last value of a quantity that the maker measured, None without one.

    Args:
        batch: The batch.
        quantity: "press_mass", "press_area" …
        kind: "mass", "area" …
        usual_u: Relative standard uncertainty where none was stated [-].

    Raises:
        UnitError: Its unit is not of that kind.
    """
    found = observations_of(batch, quantity)
    if not found:
        return None
    body = found[-1].body
    value, unit = convert(body["value"], body["unit"], CANONICAL[kind]), CANONICAL[kind]
    sources: tuple[str, ...] = (f"observation {found[-1].id}",)
    if body.get("u"):
        u = convert(body["u"], body["unit"], unit)
    else:
        u = usual_u * math.fabs(value)
        sources = (*sources, f"assumed: {100 * usual_u:g} % standard uncertainty")
    return Quantity(value, unit, u, "measured by hand", sources)
