# SPDX-License-Identifier: MIT
"""The readings of one batch as the detector takes them, and what it is told beforehand.

Imports the records, the corrections and the gatherer of readings.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from api.analysis.gather import Gatherer, since_silence
from api.checking import boiling_point
from api.holds import targets_of
from api.process.curves import Curve, Floats
from api.process.marks import PLACES, Detector
from api.process.marks_settings import MarkSettings, Proposal
from api.process.pour_search import Lag
from api.reading_curves import curve_of
from api.records.batches import Batch
from collector.store.protocol import Stretch
from collector.units import kind_of

_KINDS = {"milk": "temperature", "block_core": "temperature"}
# So much before what was read last is read again: a detector leaves out what it knows [ms].
_AGAIN_MS = 5_000
_EARLIEST_MS = 0


@dataclass(frozen=True, slots=True)
class Window:
    """A series at a place for a time.

    Attributes:
        place: "milk", "under_pot" …
        series: Its name.
        from_ms: [ms since 1970 UTC]
        to_ms: [ms since 1970 UTC], not included.
        start_ms: Where the batch's own instrument counts back to its last silence, the batch's
            start; None for one that was bound from a time [ms since 1970 UTC].
    """

    place: str
    series: str
    from_ms: int
    to_ms: int
    start_ms: int | None = None


def windows_of(gatherer: Gatherer, batch: Batch) -> tuple[Window, ...]:
    """Return which series speaks for each place and when; of two at once, the one bound later.

    Args:
        gatherer: Over what is recorded now.
        batch: The batch.
    """
    found: list[Window] = []
    for place in PLACES:
        here: list[Window] = []
        for binding in batch.bindings:
            if binding.place != place:
                continue
            from_ms, to_ms = gatherer.window(batch, binding)
            own = batch.started_ms if binding.from_ms is None else None
            here.append(Window(place, binding.series, max(from_ms, _EARLIEST_MS), to_ms, own))
        here.sort(key=lambda one: one.from_ms)
        for n, one in enumerate(here):
            to_ms = min([one.to_ms, *(later.from_ms for later in here[n + 1 :])])
            if to_ms > one.from_ms:
                found.append(Window(place, one.series, one.from_ms, to_ms, one.start_ms))
    return tuple(found)


def settings_of(
    gatherer: Gatherer, batch: Batch, windows: tuple[Window, ...], now_ms: int
) -> MarkSettings:
    """Return what the detector is told of a batch beforehand.

    Args:
        gatherer: With the corrections.
        batch: The batch.
        windows: From `windows_of`.
        now_ms: The corrections are those of this time [ms since 1970 UTC].
    """
    targets = targets_of(batch.recipe, batch.body.get("target"))
    target = next((one for one in targets if one.kind in ("addition", "")), None)
    return MarkSettings(
        boiling=boiling_point(gatherer.kitchen.config),
        target_degc=target.value_degc if target else None,
        approach=_approach(target.approach if target else None),
        lags=_lags(gatherer, windows, now_ms),
        resolutions=_resolutions(gatherer, windows),
    )


def _approach(said: str | None) -> Literal["rising", "falling"] | None:
    if said == "rising":
        return "rising"
    return "falling" if said == "falling" else None


def _lags(gatherer: Gatherer, windows: tuple[Window, ...], now_ms: int) -> dict[str, Lag]:
    found: dict[str, Lag] = {}
    for one in windows:
        if _KINDS.get(one.place) != "temperature":
            continue
        known = gatherer.corrections.at(one.series, "Cel", min(now_ms, one.to_ms - 1))
        if known.time_constant_s is not None:
            found[one.place] = Lag(known.time_constant_s, known.u_time_constant_s)
    return found


def _resolutions(gatherer: Gatherer, windows: tuple[Window, ...]) -> dict[str, float]:
    """Return the display steps that the maker stated; others the detector finds itself."""
    found: dict[str, float] = {}
    for one in windows:
        stated = gatherer.corrections.known(one.series).get("display_step_canonical")
        if stated:
            found[one.place] = float(stated)
    return found


@dataclass(slots=True)
class Feed:
    """A detector over one batch's places, given what has arrived since the last time.

    Attributes:
        windows: Which series speak for which place.
        settings: What the detector was told.
        numbers: Of the proposals that were recorded from what it said.
    """

    windows: tuple[Window, ...]
    settings: MarkSettings
    numbers: set[int] = field(default_factory=set)
    _detector: Detector = field(init=False)
    _read_ms: dict[Window, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._detector = Detector(self.settings)

    @property
    def series(self) -> set[str]:
        """The series that it listens to."""
        return {one.series for one in self.windows}

    def take(self, gatherer: Gatherer, earliest_ms: Mapping[str, int] | None) -> list[Proposal]:
        """Give the detector what is new, and return what it says for the first time.

        Args:
            gatherer: With corrections and clock steps.
            earliest_ms: The earliest time of a reading of each series that has arrived since the
                last call [ms since 1970 UTC]; None if that isn't known: then all is read again.
        """
        given: dict[str, tuple[Floats, Floats]] = {}
        for one in self.windows:
            if earliest_ms is not None and one.series not in earliest_ms and one in self._read_ms:
                continue
            curve = self._read(gatherer, one, (earliest_ms or {}).get(one.series))
            if curve is None or not len(curve):
                continue
            before = given.get(one.place, (np.empty(0), np.empty(0)))
            given[one.place] = (
                np.concatenate([before[0], curve.time_s]),
                np.concatenate([before[1], curve.value]),
            )
        return self._detector.take(given) if given else []

    def _read(self, gatherer: Gatherer, one: Window, earliest_ms: int | None) -> Curve | None:
        from_ms = one.from_ms
        if earliest_ms is not None and one in self._read_ms:
            from_ms = max(from_ms, min(earliest_ms, self._read_ms[one]) - _AGAIN_MS)
        moved_ms = max((abs(step.step_ms) for step in gatherer.steps), default=0)
        stretch: Stretch = gatherer.kitchen.readings.stretch(
            one.series, from_ms - moved_ms, min(one.to_ms + moved_ms, 2**62)
        )
        self._read_ms.setdefault(one, one.from_ms)
        if len(stretch.time_ms) == 0:
            return None
        if kind_of(stretch.unit) != _KINDS.get(one.place, "mass"):
            return None
        curve, _ = curve_of(stretch, gatherer.corrections, steps=gatherer.steps)
        curve = curve.between(one.from_ms / 1000.0, one.to_ms / 1000.0)
        if one.start_ms is not None:
            curve = since_silence(curve, one.start_ms / 1000.0)
        if len(curve):
            self._read_ms[one] = max(self._read_ms[one], int(curve.time_s[-1] * 1000.0))
        return curve
