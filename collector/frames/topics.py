# SPDX-License-Identifier: MIT
"""Topic filters of MQTT. Pure; imports nothing.

Source: MQTT Version 5.0, OASIS Standard, 2019, section 4.7 (topic names and filters; from memory).
"""

from __future__ import annotations


def overlap(one: str, other: str) -> bool:
    """Return whether some topic fits both filters.

    Args:
        one: A topic filter.
        other: Another.

    Returns:
        True if a message can fit both.

    Example:
        >>> overlap("kitchen/#", "kitchen/+/milk"), overlap("a/+", "a/b/c")
        (True, False)
    """
    ours, theirs = one.split("/"), other.split("/")
    for first, wild in ((ours[0], theirs[0]), (theirs[0], ours[0])):
        if first.startswith("$") and wild in ("+", "#"):
            return False  # a wildcard in the first place leaves out the broker's own topics
    for mine, its in zip(ours, theirs, strict=False):
        if "#" in (mine, its):
            return True
        if mine != its and "+" not in (mine, its):
            return False
    longer = ours if len(ours) > len(theirs) else theirs
    shorter = min(len(ours), len(theirs))
    return len(longer) == shorter or longer[shorter:] == ["#"]
