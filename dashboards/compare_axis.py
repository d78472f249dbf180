# SPDX-License-Identifier: MIT
"""The axis that compared curves share: its unit, its words, where a picture of it begins.

Pure presentation: imports only what is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dashboards import formats
from dashboards.svg_compare_picture import Line

Json = Mapping[str, Any]

_HOURS_FROM_S = 5 * 3600.0
_BEFORE_MIN = 5.0


@dataclass(frozen=True, slots=True)
class Axis:
    """What is laid along the picture.

    Attributes:
        unit: "min", "h" or "min/kg".
        per_unit: Seconds, or seconds for each kilogram, in one unit [s or s/kg].
        name: The axis in words.
    """

    unit: str
    per_unit: float
    name: str

    def place(self, x: float) -> float:
        """Return a place on the axis [s or s/kg] in its unit."""
        return x / self.per_unit


def axis_of(data: Json) -> Axis:
    """Return the axis of what is compared.

    Args:
        data: As the page is given it.
    """
    compared = data.get("compared") or {}
    curves = [one for one in compared.get("curves") or [] if one.get("points")]
    zeros = list(dict.fromkeys(one["zero"] for one in curves))
    zero = formats.with_degree_signs(" or ".join(zeros)) if zeros else "the heat"
    if compared.get("align") == "per_kg":
        return Axis("min/kg", 60.0, f"minutes since {zero}, for each kilogram of milk")
    last = max((one["points"][-1][0] for one in curves), default=0.0)
    if last > _HOURS_FROM_S:
        return Axis("h", 3600.0, f"hours since {zero}")
    return Axis("min", 60.0, f"minutes since {zero}")


def line_of(letter: str, name: str, curve: Json, axis: Axis) -> Line:
    """Return the curve of one batch as it is drawn; without points where there is none."""
    return Line(
        letter=letter,
        name=name,
        points=[(axis.place(x), value) for x, value in curve.get("points") or []],
        marks=[(axis.place(one["x"]), one["kind"]) for one in curve.get("marks") or []],
    )


def usual_begin(places: Sequence[float], axis: Axis, curves: Sequence[Json]) -> float:
    """Return where a picture begins of which nobody said otherwise: a little before the heat.

    A probe often lies in cold milk for an hour before; that is left out where every curve begins
    at its heat.

    Args:
        places: Of all readings [the axis' unit].
        axis: The axis.
        curves: As the interface gives them.
    """
    first = min(places)
    if any(one.get("points") and one["zero"] == "the first reading" for one in curves):
        return first
    if any(one.get("points") and one["zero"] != "the heat" for one in curves):
        heats = [m["x"] for one in curves for m in one.get("marks") or [] if m["kind"] == "heat"]
        begin = min((axis.place(x) for x in heats), default=first)
    else:
        begin = 0.0
    return max(first, begin - _BEFORE_MIN * 60.0 / axis.per_unit)
