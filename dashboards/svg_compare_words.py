# SPDX-License-Identifier: MIT
"""What a picture of several batches shows, in words, for a reader who can't see it.

Pure presentation: imports only what is.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from dashboards import formats

if TYPE_CHECKING:
    from dashboards.svg_compare import Overlay


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
