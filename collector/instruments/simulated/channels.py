# SPDX-License-Identifier: MIT
"""The instruments of a live pot: what each follows, and what it says when.

Imports numpy. Must not import `api`, and shares nothing with `api.process`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from collector.instruments.simulated.instruments import (
    DISCONNECTED_DEGC,
    POWER_ON_DEGC,
    Place,
    Probe,
    Scale,
)
from collector.instruments.simulated.outfit import Sampling
from collector.instruments.simulated.run import BatchRun
from collector.instruments.simulated.samples import windows

PLACES = ("milk", "under_pot", "under_press", "block_core", "chill_water")


@dataclass(frozen=True, slots=True)
class Said:
    """What an instrument said at one moment.

    Attributes:
        place: Where it is.
        series: Name of its series.
        time_ms: [ms since 1970 UTC].
        value: [unit], None on overload.
        unit: "Cel" or "kg".
        step: Its display step [unit].
        stable: False where a scale says that it moves.
    """

    place: str
    series: str
    time_ms: int
    value: float | None
    unit: str
    step: float
    stable: bool = True


@dataclass(slots=True)
class Channel:
    """One instrument of a live pot.

    Attributes:
        place: Where it is.
        series: Name of its series.
        sampling: When it is read.
        rng: Where its times and noise come from.
        instrument: The probe or scale.
        next_s: When it is read next.
        last_s: When it was read last.
        lifted: Someone holds the probe in the air.
        silent: It is switched off.
    """

    place: str
    series: str
    sampling: Sampling
    rng: np.random.Generator
    instrument: Probe | Scale
    next_s: float = 0.0
    last_s: float = -1.0
    lifted: bool = False
    silent: bool = False
    _count: int = 0

    def _due(self, until_s: float) -> Iterable[float]:
        """Yield the moments up to a time at which the instrument is read."""
        interval_s = 1.0 / self.sampling.rate_hz
        while self.next_s <= until_s:
            at_s = self.next_s
            self._count += 1
            shift_s = self.sampling.jitter_s * float(self.rng.standard_normal())
            late_s = min(max(shift_s, -0.4 * interval_s), 0.4 * interval_s)
            self.next_s = self._count * interval_s + late_s
            if at_s > self.last_s and self.rng.random() >= self.sampling.loss_fraction:
                yield at_s

    def heard(self, run: BatchRun, step_s: float, start_ms: int) -> list[Said]:
        """Follow one step of a batch and return what was said in it.

        Args:
            run: The batch at the end of the step.
            step_s: How long the step was [s].
            start_ms: Time 0 of the run [ms since 1970 UTC].
        """
        now_s, instrument = run.time_s, self.instrument
        wrong = _wrong(run, self.place)
        if isinstance(instrument, Probe):
            around = around_probe(run, self.place)
            if self.lifted or "lifted" in wrong:
                around = replace(around, air_degc=run.scenario.kitchen.room_degc)
            instrument.follow(around, step_s)
        elif self.place == "under_press":
            instrument.follow(run.press_whey_kg, 0.0, step_s)
        else:
            shaken = max(run.pot.controls.stirring_fraction, float(run.ladling))
            instrument.follow(run.on_scale_kg, shaken, step_s)
        said = []
        for at_s in self._due(now_s):
            back_fraction = min(max((now_s - at_s) / step_s, 0.0), 1.0)
            spoken = self._spoken(at_s, start_ms, back_fraction, wrong)
            self.last_s = at_s
            if not self.silent and "gap" not in wrong:
                said.extend([spoken] * (2 if "repeated" in wrong else 1))
        return said

    def _spoken(self, at_s: float, start_ms: int, back_fraction: float, wrong: set[str]) -> Said:
        instrument = self.instrument
        time_ms = start_ms + round(at_s * 1000.0)
        if isinstance(instrument, Scale):
            shown, step = instrument.indication(), instrument.model.resolution_kg
            return Said(
                self.place, self.series, time_ms, shown.mass_kg, "kg", step, stable=shown.stable
            )
        value = instrument.indication(max(at_s - self.last_s, 0.0), back_fraction)
        if "power_on" in wrong:
            value = POWER_ON_DEGC
        elif "disconnected" in wrong:
            value = DISCONNECTED_DEGC
        return Said(self.place, self.series, time_ms, value, "Cel", instrument.model.resolution_k)


def _wrong(run: BatchRun, place: str) -> set[str]:
    """Return what is wrong with the instrument at a place now."""
    troubles = run.scenario.troubles
    if not troubles:
        return set()
    return {
        window.kind
        for window in windows(troubles, place, run.events_s)
        if window.start_s <= run.time_s < window.end_s
    }


def around_probe(run: BatchRun, place: str) -> Place:
    """Return what is round a probe at its place."""
    pot, room_degc, events = run.pot, run.scenario.kitchen.room_degc, run.events_s
    block = run.block
    if place == "milk":
        bulk_degc = pot.zone_degc(pot.bulk)
        out = "ladle" in events or pot.mass_kg <= 0.0
        return Place(
            bulk_degc=bulk_degc,
            bottom_degc=pot.zone_degc(pot.bottom),
            stirring_fraction=pot.controls.stirring_fraction,
            air_degc=room_degc if out else None,
            heated=pot.controls.power_fraction > 0.0,
        )
    if block is None or (place == "block_core" and "unmould" not in events):
        return Place(room_degc, room_degc, air_degc=room_degc)
    if place == "block_core":
        return Place(block.core_degc, block.core_degc)
    in_bath = block.medium.water_kg > 0.0
    degc = block.bath_degc if in_bath else room_degc
    return Place(degc, degc, air_degc=None if in_bath else room_degc)
