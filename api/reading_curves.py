# SPDX-License-Identifier: MIT
"""From stored readings to curves: mended times, canonical units, calibration, what is usable."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from api.corrections import Correction, Corrections, canonical_unit, canonical_values
from api.process.curves import Curve, Floats
from collector.clock import mended_ms
from collector.readings import Quality
from collector.store.protocol import ClockStep, Stretch


def mended_times(stretch: Stretch, steps: Sequence[ClockStep]) -> NDArray[np.int64]:
    """Return the times of a stretch, arrival times mended where the wall clock was set.

    Args:
        stretch: Readings, times in ms.
        steps: All clock steps and starts of runs, oldest first.

    Returns:
        Times [ms since 1970 UTC], shape (n,).
    """
    times = stretch.time_ms.copy()
    starts = [step for step in steps if step.step_ms == 0]
    for index, start in enumerate(starts):
        moved = [step for step in steps if step.run == start.run and step.step_ms != 0]
        if not moved:
            continue
        ended_ms = starts[index + 1].at_ms if index + 1 < len(starts) else 2**62
        in_run = (stretch.time_ms >= start.at_ms) & (stretch.time_ms < ended_ms)
        chosen = in_run & stretch.from_arrival
        times[chosen] = mended_ms(stretch.time_ms[chosen], moved)
    return times


def curve_of(
    stretch: Stretch,
    corrections: Corrections,
    *,
    steps: Sequence[ClockStep] = (),
) -> tuple[Curve, Correction]:
    """Return the usable readings of a stretch, calibrated, and the correction that was used.

    Bad and suspect readings are left out and so appear as gaps.

    Args:
        stretch: As stored.
        corrections: Of all instruments.
        steps: Clock steps to mend arrival times by.
    """
    times = mended_times(stretch, steps)
    usable = (stretch.quality == Quality.GOOD) & np.isfinite(stretch.value)
    usable &= np.concatenate(([True], np.diff(np.maximum.accumulate(times)) > 0))[: len(times)]
    middle = int(times[len(times) // 2]) if len(times) else 0
    correction = corrections.at(stretch.series, stretch.unit, middle)
    said = canonical_values(stretch.value[usable], stretch.unit)
    curve = Curve(
        time_s=times[usable] / 1000.0,
        value=correction.apply(said),
        u_calibration=correction.u,
        resolution=corrections.resolution(stretch.series, said),
        time_constant_s=correction.time_constant_s,
        u_time_constant_s=correction.u_time_constant_s,
        name=stretch.series,
    )
    return curve, correction


def calibrated(stretch: Stretch, corrections: Corrections) -> tuple[Floats, str]:
    """Return all values of a stretch in the canonical unit, calibrated, and that unit.

    Each check is applied to the readings of the time for which it is valid.
    """
    said = canonical_values(stretch.value, stretch.unit)
    values = said.copy()
    bounds = sorted(
        {c.from_ms for c in corrections.checks(stretch.series)}
        | {c.to_ms for c in corrections.checks(stretch.series) if c.to_ms is not None}
    )
    edges = [0, *np.searchsorted(stretch.time_ms, bounds).tolist(), len(said)]
    for start, end in itertools.pairwise(edges):
        if end > start:
            at_ms = int(stretch.time_ms[start])
            values[start:end] = corrections.at(stretch.series, stretch.unit, at_ms).apply(
                said[start:end]
            )
    return values, canonical_unit(stretch.unit)
