# SPDX-License-Identifier: MIT
"""Which weighings could be the wrong one: sets that no balance can tell apart.

Pure: no I/O; numpy and what is pure only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from api.process.gross_errors import (
    Hypothesis,
    HypothesisTest,
    global_limit,
    judge,
    single_limit,
    single_values,
)
from api.process.quantities import NotShown
from api.process.reconciliation import Reconciliation
from api.process.weighings import WeighedStreams

_TARE = "tare "


@dataclass(frozen=True, slots=True)
class SuspectSet:
    """Weighings each of which alone would explain the imbalance, and equally well.

    Attributes:
        streams: The streams; no balance can tell which of them it is.
        errors_kg: By how much each would be too high, negative if too low [kg].
        also: Other explanations that can't be told apart from these: a shared tare, a loss.
        z: Statistic that they share [-].
        statistic_without: The global statistic with one of them left out [-].
    """

    streams: tuple[str, ...]
    errors_kg: tuple[float, ...]
    also: tuple[str, ...]
    z: float
    statistic_without: float


@dataclass(frozen=True, slots=True)
class StreamTest:
    """The measurement test of one weighed stream.

    Attributes:
        stream: Which.
        z: Standard normal if nothing is wrong [-]; NaN if no other weighing checks it.
        is_beyond: It lies beyond the limit.
    """

    stream: str
    z: float
    is_beyond: bool


@dataclass(frozen=True, slots=True)
class BalanceTest:
    """Are the weighings consistent with each other?

    Attributes:
        statistic: Chi-square if nothing is wrong [-].
        degrees: Independent checks [-].
        limit: The statistic stays below it in 95 of 100 sound batches [-].
        passed: It does here.
        suspects: If it doesn't, or if one stands out by its own test: sets of weighings, the
            likeliest first.
        other_causes: Explanations that are not the weighing of one stream.
        measurements: The test of each weighed stream.
        measurement_limit: Limit of these tests, so that all of 95 in 100 sound batches pass [-].
        summary: All this in a sentence.
    """

    statistic: float
    degrees: int
    limit: float
    passed: bool
    suspects: tuple[SuspectSet, ...]
    other_causes: tuple[str, ...]
    measurements: tuple[StreamTest, ...]
    measurement_limit: float
    summary: str


def consistency_test(
    result: Reconciliation, names: Sequence[str], weighed: WeighedStreams
) -> BalanceTest | NotShown:
    """Return whether the weighings agree, and if not, which sets could hold the wrong one.

    A set is listed if the rest of the weighings agree once one of its members is left out; its
    members change every balance in proportion, so that none can be named alone. Where all together
    pass, one that stands out by the sharper measurement test is listed all the same.

    Args:
        result: Reconciled flows [kg].
        names: Names of the measured flows, the weighed streams first.
        weighed: The weighed streams with their shared tares.

    Returns:
        The test; its statistics [-], errors [kg].

    Source:
        Global test Ripps 1965; sets that can't be told apart Bagajewicz and Jiang 1998, Comput.
        Chem. Eng. 22:1789 (both from memory).
    """
    if result.degrees == 0:
        return NotShown(
            "No redundant weighing: each balance lacks at least one stream. Weigh every stream "
            "of one step, such as mash, pulp and milk, and the weighings check each other."
        )
    tests = judge(result, (*single_values(names), *_tares(names, weighed)))
    limit = global_limit(result.degrees)
    passed = result.statistic <= limit
    of_streams = tests[: len(weighed.names)]
    seen = sum(test.class_index >= 0 for test in of_streams)
    single = single_limit(max(seen, 1))
    suspects, others = _suspects(
        [t for t in tests if (t.z > single if passed else t.explains)], tests, weighed
    )
    return BalanceTest(
        statistic=result.statistic,
        degrees=result.degrees,
        limit=limit,
        passed=passed,
        suspects=suspects,
        other_causes=others,
        measurements=tuple(StreamTest(t.label, t.z, t.z > single) for t in of_streams),
        measurement_limit=single,
        summary=_summary(passed, suspects, others),
    )


def _tares(names: Sequence[str], weighed: WeighedStreams) -> list[Hypothesis]:
    """Return the hypotheses that a tare is wrong which several streams share."""
    hypotheses = []
    for tare, uses in weighed.tares:
        if np.count_nonzero(uses) > 1:
            direction = np.zeros(len(names))
            direction[: len(uses)] = uses
            hypotheses.append(Hypothesis(_TARE + tare, direction))
    return hypotheses


def _suspects(
    explaining: Sequence[HypothesisTest],
    tests: Sequence[HypothesisTest],
    weighed: WeighedStreams,
) -> tuple[tuple[SuspectSet, ...], tuple[str, ...]]:
    sets: list[SuspectSet] = []
    others: list[str] = []
    best_first = sorted(explaining, key=lambda t: t.statistic_without)
    for class_index in dict.fromkeys(t.class_index for t in best_first):
        members = [t for t in tests if t.class_index == class_index]
        streams = [t for t in members if t.label in weighed.names]
        also = tuple(t.label for t in members if t.label not in weighed.names)
        if not streams:
            others += also
            continue
        sets.append(
            SuspectSet(
                streams=tuple(t.label for t in streams),
                errors_kg=tuple(t.size for t in streams),
                also=also,
                z=members[0].z,
                statistic_without=members[0].statistic_without,
            )
        )
    return tuple(sets), tuple(others)


def _summary(passed: bool, suspects: Sequence[SuspectSet], others: Sequence[str]) -> str:
    if passed and not suspects:
        return "The weighings agree within their uncertainty."
    if passed:
        named = "; else ".join(" or ".join((*s.streams, *s.also)) for s in suspects)
        return f"Together the weighings agree, but one stands out. Wrong could be: {named}."
    if not suspects and not others:
        return (
            "The weighings don't agree, and no single one explains it: more than one is wrong, or "
            "something was not weighed."
        )
    parts = [" or ".join((*s.streams, *s.also)) for s in suspects] + list(others)
    return f"The weighings don't agree. Wrong could be: {'; else '.join(parts)}."
