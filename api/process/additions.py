# SPDX-License-Identifier: MIT
"""The temperatures at every addition of a batch, one after the other.

Pure: no I/O; imports only the ground and what is pure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from api.process.addition import Addition, AdditionMark, temperature_at_addition
from api.process.addition_mixture import AdditionInputs
from api.process.curves import Curve
from api.process.quantities import Quantity
from collector.errors import ProcessError


def temperatures_at_additions(
    curve: Curve, marks: Sequence[AdditionMark], inputs: Sequence[AdditionInputs]
) -> tuple[Addition, ...]:
    """Return the temperatures at every addition of a batch, in order.

    A pour starts nearer to its own mark than to the next, after the one before it has ended.

    Args:
        curve: Calibrated readings of the probe in the milk [degC].
        marks: The additions, oldest first [s since 1970 UTC].
        inputs: What was weighed and measured for each; `milk` is what was in the pot before that
            addition [kg, degC].

    Returns:
        One result for each mark [degC, s, K].

    Raises:
        ProcessError: There are not as many inputs as marks, or the marks are out of order.

    Source:
        As `temperature_at_addition`.
    """
    if len(marks) != len(inputs):
        raise ProcessError(
            f"{len(marks)} additions were marked and {len(inputs)} weighed.",
            where=curve.name,
            do="Give one set of inputs for each mark.",
        )
    times = [mark.time_s for mark in marks]
    if sorted(times) != times:
        raise ProcessError(
            "The additions are not in order of time.", where=curve.name, do="Sort the marks."
        )
    results: list[Addition] = []
    for at, mark in enumerate(marks):
        bounded = mark
        if at > 0:
            bounded = replace(bounded, earliest_s=_after_the_last(marks, at, results[-1]))
        if at + 1 < len(marks):
            bounded = _before_the_next(bounded, times[at + 1])
        results.append(temperature_at_addition(curve, bounded, inputs[at]))
    return tuple(results)


def _after_the_last(marks: Sequence[AdditionMark], at: int, last: Addition) -> float:
    """Return the earliest start of an addition that follows another [s since 1970 UTC]."""
    mark = marks[at]
    early = (marks[at - 1].time_s + mark.time_s) / 2
    if last.placed_by == "dip" and isinstance(last.pour_end, Quantity):
        early = min(last.pour_end.value, mark.time_s)
    return early if mark.earliest_s is None else max(early, mark.earliest_s)


def _before_the_next(mark: AdditionMark, next_s: float) -> AdditionMark:
    """Return a mark whose pour starts nearer to it than to the next, and ends before that."""
    late = next_s if mark.latest_s is None else min(next_s, mark.latest_s)
    return replace(mark, latest_s=late, latest_start_s=(mark.time_s + next_s) / 2)
