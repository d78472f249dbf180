# SPDX-License-Identifier: MIT
"""Tasting scores on stated scales, averaged over tasters, attribute by attribute.

Pure: imports only the ground and what is pure.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from api.process.quantities import NotShown, Quantity, Result
from collector.errors import ProcessError

# A score is written in whole steps; where only one taster says anything, another is taken to
# differ by up to one step either way (common practice).
_STEP = 1.0


@dataclass(frozen=True, slots=True)
class Scale:
    """The scale of a score.

    Attributes:
        low: Its lower end [points].
        high: Its upper end [points].
        low_words: What the lower end means.
        high_words: What the upper end means.
    """

    low: float
    high: float
    low_words: str = ""
    high_words: str = ""

    def __post_init__(self) -> None:
        if not (math.isfinite(self.low) and math.isfinite(self.high) and self.low < self.high):
            raise ProcessError(
                f"A scale from {self.low:g} to {self.high:g} is none.",
                where="tasting",
                do="Give a scale that ends above where it begins.",
            )


@dataclass(frozen=True, slots=True)
class Score:
    """What one taster said of one attribute.

    Attributes:
        attribute: "firmness", "liking" …
        value: The score [points].
        scale: On which scale.
        taster: Who, "" if nobody said.
        source: The record it stands in.
    """

    attribute: str
    value: float
    scale: Scale
    taster: str = ""
    source: str = ""

    def __post_init__(self) -> None:
        if not self.scale.low <= self.value <= self.scale.high:
            raise ProcessError(
                f"A score of {self.value:g} lies outside its scale from {self.scale.low:g} to "
                f"{self.scale.high:g}.",
                where=f"tasting, {self.attribute}",
                do="Give a score on the scale, or state the scale that was used.",
            )


@dataclass(frozen=True, slots=True)
class AttributeScore:
    """An attribute as all tasters together found it.

    Attributes:
        attribute: "firmness" …
        scale: On which scale; None where the tasters used several.
        mean: Mean score [points], or why it isn't shown.
        count: How many scores.
    """

    attribute: str
    scale: Scale | None
    mean: Result
    count: int


def mean_scores(scores: Sequence[Score]) -> tuple[AttributeScore, ...]:
    """Return the mean score of each attribute, on the one scale that was used for it.

    Scores on several scales are never averaged. u is that of the mean, s / sqrt n, with the step
    of the scale; of one taster alone it is a step either way, rectangular.

    Args:
        scores: What the tasters said [points].

    Returns:
        Attributes in the order in which they were first scored [points].

    Source:
        Standard deviation of the mean, JCGM 100:2008, 4.2.3; step / sqrt 12, F.2.2.1 (from
        memory); one step for a taster alone: common practice.

    Example:
        >>> scale = Scale(1, 9, "soft", "hard")
        >>> found = mean_scores([Score("firmness", v, scale) for v in (5, 6, 7)])
        >>> found[0].mean.value, round(found[0].mean.u, 2)
        (6.0, 0.6)
    """
    by_attribute: dict[str, list[Score]] = {}
    for score in scores:
        by_attribute.setdefault(score.attribute, []).append(score)
    return tuple(_mean(name, found) for name, found in by_attribute.items())


def _mean(attribute: str, scores: Sequence[Score]) -> AttributeScore:
    ranges = {(score.scale.low, score.scale.high) for score in scores}
    n = len(scores)
    if len(ranges) > 1:
        used = ", ".join(f"{low:g} to {high:g}" for low, high in sorted(ranges))
        why = f"The scores of {attribute} are on several scales ({used})."
        return AttributeScore(attribute, None, NotShown(why), n)
    mean = math.fsum(score.value for score in scores) / n
    sources = tuple(score.source for score in scores if score.source)
    if n == 1:
        u = _STEP / math.sqrt(3.0)
        sources = (*sources, "assumed: another taster within one step")
    else:
        spread = math.sqrt(math.fsum((s.value - mean) ** 2 for s in scores) / (n - 1))
        u = math.hypot(spread, _STEP / math.sqrt(12.0)) / math.sqrt(n)
    found = Quantity(mean, "points", u, f"mean of {n} score{'s' if n > 1 else ''}", sources)
    return AttributeScore(attribute, scores[0].scale, found, n)
