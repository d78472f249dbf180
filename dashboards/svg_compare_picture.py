# SPDX-License-Identifier: MIT
"""What a picture of several batches shows, and the same in words for who can't see it.

Pure presentation: imports only what is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dashboards import formats
from dashboards.formats import Units


@dataclass(frozen=True, slots=True)
class Line:
    """The curve of one batch.

    Attributes:
        letter: "A" …
        name: What the batch is called.
        points: Place on the axis [min, h or min/kg] and value [degC], in order.
        marks: Place on the axis and the word of each mark.
    """

    letter: str
    name: str
    points: Sequence[tuple[float, float]]
    marks: Sequence[tuple[float, str]]


@dataclass(frozen=True, slots=True)
class Overlay:
    """What is to be drawn.

    Attributes:
        lines: In the order of their letters, at least one.
        band: Place, lowest and highest of the good batches [degC], in order; may be empty.
        band_name: What the band is, in words.
        x_from: Where the axis begins [x_name].
        x_to: Where it ends, above `x_from` [x_name].
        x_name: The axis in words, with its unit.
        units: The reader's.
        width: [px]
        plot_height: Of the plot alone [px].
        key: Sets the ids inside apart from those of other pictures of the page.
    """

    lines: Sequence[Line]
    band: Sequence[tuple[float, float, float]]
    band_name: str
    x_from: float
    x_to: float
    x_name: str
    units: Units
    width: float = 960.0
    plot_height: float = 330.0
    key: str = "wide"


def described(picture: Overlay) -> str:
    """Return the picture in words: each curve from where to where, its highest, its marks."""
    words = [f"Across: {picture.x_name}, {picture.x_from:g} to {picture.x_to:g}."]
    for line in picture.lines:
        points = [p for p in line.points if picture.x_from <= p[0] <= picture.x_to]
        if not points:
            words.append(f"{line.letter}, {line.name}: no reading in this stretch.")
            continue
        first, last = points[0][1], points[-1][1]
        place, highest = max(points, key=lambda point: point[1])
        begin, end, most = (
            formats.temperature(value, picture.units) for value in (first, last, highest)
        )
        words.append(
            f"{line.letter}, {line.name}: from {begin} to {end}, highest {most} at {place:.1f}."
        )
    if picture.band:
        words.append(f"Behind them {picture.band_name}.")
    return " ".join(words)
