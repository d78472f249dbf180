# SPDX-License-Identifier: MIT
"""Weighings of a batch, put together stream by stream with their covariance.

Pure: no I/O; numpy and the ground only.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from api.process.curves import Floats
from api.process.distributions import chi_square_quantile
from collector.errors import ProcessError

CONFIDENCE = 0.95

# Readability of the scales found in a kitchen (common practice): up to this mass [kg], the display
# steps by this much [kg]. Above the last line a platform scale with a thousandth of the load.
_USUAL_STEPS_KG = ((5.0, 0.001), (15.0, 0.005), (60.0, 0.02))


class Combining(enum.StrEnum):
    """How a weighing joins the one before it of the same stream."""

    PART = "part"
    AGAIN = "again"


@dataclass(frozen=True, slots=True)
class Weighing:
    """One net mass of one stream.

    Attributes:
        id: The weighing's own name, for the origin of results.
        stream: What was weighed: "mash", "pulp" …
        mass_kg: Net mass, at least 0 [kg].
        u_kg: Standard uncertainty of this weighing alone, without the tare's; None takes
            `default_weighing_u_kg` [kg].
        tare: Name of the vessel's tare, if others share it; their errors then move together.
        u_tare_kg: Standard uncertainty of that tare [kg].
        combining: A part is added to the stream; "again" repeats the part before it.
    """

    id: str
    stream: str
    mass_kg: float
    u_kg: float | None = None
    tare: str | None = None
    u_tare_kg: float = 0.0
    combining: Combining = Combining.PART

    def __post_init__(self) -> None:
        where = f"weighing {self.id} of {self.stream}"
        if not (math.isfinite(self.mass_kg) and self.mass_kg >= 0.0):
            raise ProcessError(
                f"A net mass of {self.mass_kg:g} kg is not a mass.",
                where=where,
                do="Give at least 0 kg; if the tare was larger than the gross mass, mend the tare.",
            )
        if self.u_kg is not None and not (math.isfinite(self.u_kg) and self.u_kg > 0.0):
            raise ProcessError(
                f"A standard uncertainty of {self.u_kg:g} kg is not one a scale can have.",
                where=where,
                do="Give more than 0 kg, or leave it out to take that of a kitchen scale.",
            )
        if not (math.isfinite(self.u_tare_kg) and self.u_tare_kg >= 0.0):
            raise ProcessError(
                f"A tare's standard uncertainty of {self.u_tare_kg:g} kg makes no sense.",
                where=where,
                do="Give at least 0 kg.",
            )


@dataclass(frozen=True, slots=True)
class WeighedStreams:
    """The mass of each weighed stream with the covariance of all of them.

    Attributes:
        names: Streams in the order of their first weighing.
        mass_kg: Net masses [kg], shape (n,).
        covariance_kg2: Covariance of their errors [kg2], shape (n, n).
        ids: The weighings behind each stream, shape (n,).
        tares: Each shared tare with how often it was subtracted from each stream [-].
        disagreements: A sentence for each repeated weighing that its uncertainty can't explain.
    """

    names: tuple[str, ...]
    mass_kg: Floats
    covariance_kg2: Floats
    ids: tuple[tuple[str, ...], ...]
    tares: tuple[tuple[str, Floats], ...]
    disagreements: tuple[str, ...]


def default_weighing_u_kg(mass_kg: float) -> float:
    """Return the standard uncertainty of a typed weighing that came without one.

    The scale is taken to be the usual one for that load: steps of 1 g up to 5 kg, 5 g up to
    15 kg, 20 g up to 60 kg, a thousandth of the load above. Two steps count, one for the empty
    and one for the full vessel (each step / sqrt 12), and an error of indication of twice what a
    class III instrument is allowed when new (1, 2 or 3 steps, rectangular).

    Args:
        mass_kg: Net mass [kg].

    Returns:
        Standard uncertainty [kg].

    Raises:
        ProcessError: The mass is negative or not a number.

    Source:
        Steps: common practice. Allowed errors: OIML R 76-1:2006, table 6 (seen); twice that in
        service (from memory). Step / sqrt 12: JCGM 100:2008, F.2.2.1 (from memory).

    Example:
        >>> [round(1000 * default_weighing_u_kg(mass), 2) for mass in (0.4, 10.0)]
        [0.71, 6.12]
    """
    if not (math.isfinite(mass_kg) and mass_kg >= 0.0):
        raise ProcessError(
            f"A mass of {mass_kg:g} kg has no uncertainty.",
            where="weighing",
            do="Give a mass of at least 0 kg.",
        )
    step_kg = next((step for up_to, step in _USUAL_STEPS_KG if mass_kg <= up_to), mass_kg / 1000.0)
    steps = mass_kg / step_kg
    allowed_steps = 1.0 if steps <= 500.0 else 2.0 if steps <= 2000.0 else 3.0
    return step_kg * math.hypot(math.sqrt(2.0 / 12.0), allowed_steps / math.sqrt(3.0))


def combine_weighings(weighings: Sequence[Weighing]) -> WeighedStreams:
    """Return one mass for each weighed stream: parts summed, repeats averaged by their weight.

    Repeats of one part are averaged by generalised least squares, so that a tare they share is
    counted once. Every weighing on a tare carries that tare's error with the same sign.

    Args:
        weighings: All weighings of the batch in the order they were made.

    Returns:
        Masses [kg] and covariance [kg2] by stream.

    Raises:
        ProcessError: A repeat has no part of the same stream before it, or an id occurs twice.

    Source:
        JCGM 100:2008, 5.2 (correlated inputs) (from memory); generalised least squares,
        Aitken 1935 (from memory).
    """
    runs = _runs(weighings)
    names = tuple(dict.fromkeys(runs_of[0] for runs_of in runs))
    raw_kg = np.array([w.mass_kg for w in weighings])
    raw_covariance = _raw_covariance(weighings)
    linear = np.zeros((len(names), len(weighings)))
    disagreements = []
    for stream, members in runs:
        block = raw_covariance[np.ix_(members, members)]
        solved = np.linalg.solve(block, np.ones(len(members)))
        weight = solved / solved.sum()
        linear[names.index(stream), members] = weight
        disagreements += _disagreement(stream, raw_kg[members], block, weight)
    return WeighedStreams(
        names=names,
        mass_kg=linear @ raw_kg,
        covariance_kg2=linear @ raw_covariance @ linear.T,
        ids=tuple(tuple(w.id for w in weighings if w.stream == name) for name in names),
        tares=tuple(
            (tare, linear @ np.array([float(w.tare == tare) for w in weighings]))
            for tare in dict.fromkeys(w.tare for w in weighings if w.tare is not None)
        ),
        disagreements=tuple(disagreements),
    )


def _runs(weighings: Sequence[Weighing]) -> list[tuple[str, list[int]]]:
    """Return each part with its repeats, as indices."""
    runs: list[tuple[str, list[int]]] = []
    last_run: dict[str, list[int]] = {}
    seen: set[str] = set()
    for index, weighing in enumerate(weighings):
        where = f"weighing {weighing.id} of {weighing.stream}"
        if weighing.id in seen:
            raise ProcessError(
                "Two weighings carry the same id.", where=where, do="Give each one its own."
            )
        seen.add(weighing.id)
        if weighing.combining is Combining.PART:
            last_run[weighing.stream] = [index]
            runs.append((weighing.stream, last_run[weighing.stream]))
        elif weighing.stream in last_run:
            last_run[weighing.stream].append(index)
        else:
            raise ProcessError(
                f"It repeats a weighing of {weighing.stream}, and there is none before it.",
                where=where,
                do="Record it as a part.",
            )
    return runs


def _raw_covariance(weighings: Sequence[Weighing]) -> Floats:
    u_kg = [w.u_kg if w.u_kg is not None else default_weighing_u_kg(w.mass_kg) for w in weighings]
    u_tare_kg: dict[str, float] = {}
    for weighing in weighings:
        if weighing.tare is not None:
            known = u_tare_kg.get(weighing.tare, 0.0)
            u_tare_kg[weighing.tare] = max(known, weighing.u_tare_kg)
    covariance = np.diag(np.square(np.array(u_kg, dtype=float)))
    for tare, u in u_tare_kg.items():
        uses = np.array([float(w.tare == tare) for w in weighings])
        covariance += u * u * np.outer(uses, uses)
    for index, weighing in enumerate(weighings):
        if weighing.tare is None:
            covariance[index, index] += weighing.u_tare_kg**2
    return covariance


def _disagreement(stream: str, mass_kg: Floats, covariance: Floats, weight: Floats) -> list[str]:
    degrees = len(mass_kg) - 1
    if degrees == 0:
        return []
    off = mass_kg - weight @ mass_kg
    statistic = float(off @ np.linalg.solve(covariance, off))
    limit = chi_square_quantile(CONFIDENCE, degrees)
    if statistic <= limit:
        return []
    spread_g = 1000.0 * float(np.ptp(mass_kg))
    return [
        f"The {len(mass_kg)} weighings of one part of {stream} lie {spread_g:.0f} g apart, more "
        f"than their uncertainty explains (chi-square {statistic:.1f}, limit {limit:.1f})."
    ]
