# SPDX-License-Identifier: MIT
"""What the instruments of a simulated batch said, worked out from its trace.

Imports numpy. Must not import `api`, and shares nothing with `api.process`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from collector.instruments.simulated.instruments import (
    DISCONNECTED_DEGC,
    POWER_ON_DEGC,
    Fault,
    Place,
    Probe,
    ProbeModel,
    Scale,
    ScaleModel,
)
from collector.instruments.simulated.outfit import Sampling, Trouble
from collector.instruments.simulated.truth import Floats


@dataclass(frozen=True, slots=True)
class Samples:
    """The readings of one series in the order in which they came, arrays of shape (n,).

    Attributes:
        series: Its name.
        unit: "Cel" or "kg".
        place: `milk under_pot under_press block_core chill_water`.
        time_ms: Times of the instrument [ms since 1970 UTC].
        value: As said, NaN where a scale was overloaded [unit].
        true_value: What really was at the tip or on the scale [unit].
        fault: `Fault` numbers.
        stable: False where a scale said that it moved; True for probes.
    """

    series: str
    unit: str
    place: str
    time_ms: NDArray[np.int64]
    value: Floats
    true_value: Floats
    fault: NDArray[np.int8]
    stable: NDArray[np.bool_]

    def usable(self) -> tuple[Floats, Floats]:
        """Return times [s since 1970 UTC] and values without those known to be false.

        Power-on and disconnect values and repeats are left out, a lifted probe is not; a scale's
        unstable values are kept.
        """
        known = np.isin(self.fault, (Fault.NONE, Fault.LIFTED))
        return self.time_ms[known] / 1000.0, self.value[known]


@dataclass(frozen=True, slots=True)
class Window:
    """When something is wrong.

    Attributes:
        kind: As in `Trouble`.
        start_s: [s].
        end_s: [s].
    """

    kind: str
    start_s: float
    end_s: float


def windows(
    troubles: Sequence[Trouble], place: str, events_s: Mapping[str, float]
) -> tuple[Window, ...]:
    """Return when something is wrong with the instrument at a place.

    Args:
        troubles: All of the plan's; one after an event that never came doesn't happen.
        place: Which instrument.
        events_s: When things began [s].
    """
    return tuple(
        Window(
            trouble.kind,
            events_s[trouble.after] + trouble.offset_s,
            events_s[trouble.after] + trouble.offset_s + trouble.duration_s,
        )
        for trouble in troubles
        if trouble.place == place and trouble.after in events_s
    )


def _active(wrong: Sequence[Window], time_s: float) -> set[str]:
    return {window.kind for window in wrong if window.start_s <= time_s < window.end_s}


@dataclass(slots=True)
class _Log:
    """Readings as they are written down."""

    time_s: list[float] = field(default_factory=list)
    value: list[float] = field(default_factory=list)
    true_value: list[float] = field(default_factory=list)
    fault: list[int] = field(default_factory=list)
    stable: list[bool] = field(default_factory=list)

    def add(self, time_s: float, said: tuple[float, float], fault: Fault, *, stable: bool) -> None:
        self.time_s.append(time_s)
        self.value.append(said[0])
        self.true_value.append(said[1])
        self.fault.append(int(fault))
        self.stable.append(stable)

    def samples(self, series: str, unit: str, place: str, start_ms: int) -> Samples:
        time_ms = start_ms + np.rint(np.asarray(self.time_s) * 1000.0).astype(np.int64)
        return Samples(
            series=series,
            unit=unit,
            place=place,
            time_ms=time_ms,
            value=np.asarray(self.value, dtype=np.float64),
            true_value=np.asarray(self.true_value, dtype=np.float64),
            fault=np.asarray(self.fault, dtype=np.int8),
            stable=np.asarray(self.stable, dtype=np.bool_),
        )


def times_s(
    sampling: Sampling, start_s: float, end_s: float, rng: np.random.Generator
) -> list[float]:
    """Return when an instrument is read: to the millisecond, strictly increasing [s].

    Args:
        sampling: How often.
        start_s: Not before [s].
        end_s: Before [s].
        rng: Where jitter and losses come from.
    """
    count = max(0, int((end_s - start_s) * sampling.rate_hz))
    times = start_s + (np.arange(count) + rng.random()) / sampling.rate_hz
    times = times + sampling.jitter_s * rng.standard_normal(count)
    kept = times[rng.random(count) >= sampling.loss_fraction]
    whole_ms = np.unique(np.rint(kept * 1000.0))
    return [float(ms) / 1000.0 for ms in whole_ms if start_s * 1000.0 <= ms < end_s * 1000.0]


def _due(time_s: Floats, at_s: Sequence[float]) -> Iterator[tuple[int, float, list[float]]]:
    """Yield each step that is needed: its index, its length, and the readings due within it."""
    position = 0
    for index in range(1, len(time_s)):
        if position == len(at_s):
            return
        due = []
        while position < len(at_s) and at_s[position] <= time_s[index] + 1e-9:
            due.append(at_s[position])
            position += 1
        yield index, float(time_s[index] - time_s[index - 1]), due


@dataclass(frozen=True, slots=True)
class Reads:
    """Who reads what, when, and what is wrong meanwhile.

    Attributes:
        series: Name of the series.
        place: Its place.
        at_s: When it is read [s].
        wrong: When something is wrong.
        start_ms: Time 0 of the run [ms since 1970 UTC].
        room_degc: Where a lifted probe goes [degC].
    """

    series: str
    place: str
    at_s: Sequence[float]
    wrong: Sequence[Window]
    start_ms: int
    room_degc: float


def probe_samples(
    reads: Reads,
    model: ProbeModel,
    time_s: Floats,
    places: Sequence[Place],
    rng: np.random.Generator,
) -> Samples:
    """Return what a probe said.

    Args:
        reads: When, and as what.
        model: What the probe is like.
        time_s: Ends of the steps, shape (n,) [s].
        places: What was round the probe at the end of each step, n of them; a lifted probe is put
            into the air of the room here.
        rng: Where its noise comes from.
    """
    first = places[0]
    start_degc = first.bulk_degc if first.air_degc is None else first.air_degc
    probe, log, last_s = Probe(model, rng, start_degc), _Log(), float(time_s[0])
    lifts = [window for window in reads.wrong if window.kind == "lifted"]
    for index, step_s, due in _due(time_s, reads.at_s):
        end_s, place = float(time_s[index]), places[index]
        if any(window.start_s <= end_s < window.end_s for window in lifts):
            place = replace(place, air_degc=reads.room_degc)
        probe.follow(place, step_s)
        for at_s in due:
            back_fraction = min(max((end_s - at_s) / step_s, 0.0), 1.0)
            shown = probe.indication(at_s - last_s, back_fraction)
            last_s = at_s
            said = (shown, probe.place_degc(place))
            _write(log, at_s, said, _active(reads.wrong, at_s))
    return log.samples(reads.series, "Cel", reads.place, reads.start_ms)


def _write(log: _Log, at_s: float, said: tuple[float, float], wrong: set[str]) -> None:
    if "gap" in wrong:
        return
    shown, true = said
    fault = Fault.LIFTED if "lifted" in wrong else Fault.NONE
    if "power_on" in wrong:
        shown, fault = POWER_ON_DEGC, Fault.POWER_ON
    elif "disconnected" in wrong:
        shown, fault = DISCONNECTED_DEGC, Fault.DISCONNECTED
    log.add(at_s, (shown, true), fault, stable=True)
    if "repeated" in wrong:
        log.add(at_s, (shown, true), Fault.REPEATED, stable=True)


def scale_samples(
    reads: Reads,
    model: ScaleModel,
    time_s: Floats,
    load: tuple[Floats, Floats],
    rng: np.random.Generator,
) -> Samples:
    """Return what a scale said.

    Args:
        reads: When, and as what.
        model: What the scale is like.
        time_s: Ends of the steps, shape (n,) [s].
        load: What lay on it [kg] and how much it was shaken [-], shape (n,) each.
        rng: Where its noise comes from.
    """
    scale, log = Scale(model, rng, load_kg=float(load[0][0])), _Log()
    for index, step_s, due in _due(time_s, reads.at_s):
        true_kg = float(load[0][index])
        scale.follow(true_kg, float(load[1][index]), step_s)
        for at_s in due:
            wrong = _active(reads.wrong, at_s)
            shown = scale.indication()
            if "gap" in wrong:
                continue
            shown_kg = math.nan if shown.mass_kg is None else shown.mass_kg
            log.add(at_s, (shown_kg, true_kg), Fault.NONE, stable=shown.stable)
            if "repeated" in wrong:
                log.add(at_s, (shown_kg, true_kg), Fault.REPEATED, stable=shown.stable)
    return log.samples(reads.series, "kg", reads.place, reads.start_ms)
