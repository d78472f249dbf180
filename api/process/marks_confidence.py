# SPDX-License-Identifier: MIT
"""How sure each kind of proposal is: the share that was right in batches whose truth was known.

Pure: standard library only.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

# Right and all, plus a half and one (Jeffreys), over two hundred simulated batches, half of them
# with ranges wider than kitchens have (computed). So few are wrong that the evidence within a kind
# tells nothing more; only a plateau near the boil is doubted for itself.
_RIGHT: Mapping[str, float] = MappingProxyType(
    {
        "heat": 0.98,
        "boil": 0.96,
        "simmer": 0.83,
        "target": 0.96,
        "addition": 0.98,
        "ladle": 0.985,
        "press": 0.98,
        "chill": 0.98,
        "end": 0.98,
    }
)


def confidence(kind: str) -> float:
    """Return the share of proposals of a kind that are right.

    Args:
        kind: Of the mark.

    Returns:
        Above 0 and below 1 [-].

    Raises:
        KeyError: There is no such kind.

    Source:
        Counted on simulated batches of known truth (computed); `tests/bench/marks_found.py` prints
        how it holds on others.

    Example:
        >>> confidence("simmer") < confidence("ladle") < 1.0
        True
    """
    return _RIGHT[kind]
