# SPDX-License-Identifier: MIT
"""Marks without hands: what temperature and mass alone show to have happened in a batch.

The detector looks at each place every few seconds of the readings' own time, and at each look only
at readings up to then: a stored batch gives the same proposals as a live one. Pure: numpy and what
is pure only.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from api.process.curves import Curve, Floats
from api.process.marks_block import BlockState, core_look, step_block
from api.process.marks_look import look_at
from api.process.marks_pot import step_pot
from api.process.marks_press import PressState, step_press
from api.process.marks_scale import mass_look
from api.process.marks_series import PlaceReadings
from api.process.marks_settings import MarkSettings, Proposal
from api.process.marks_state import PotState

PLACES = ("milk", "under_pot", "under_press", "block_core")
# How often pot and press are looked at, and how often a block [s].
LOOK_EVERY_S, BLOCK_LOOK_EVERY_S = 5.0, 15.0
# Readings that come later than this make the detector begin again; the others join the next look.
LATE_S = 30.0
# Two proposals of one kind this close are one [s], or within so many of their uncertainties.
SAME_S, SAME_SPREADS = 60.0, 3.0


@dataclass(slots=True)
class _Found:
    """How far the detector has come."""

    pot: PotState = field(default_factory=PotState)
    press: PressState = field(default_factory=PressState)
    block: BlockState = field(default_factory=BlockState)
    pot_cell: float = -math.inf
    press_cell: float = -math.inf
    block_cell: float = -math.inf
    until_s: dict[str, float] = field(default_factory=dict)


class Detector:
    """Follows the readings of one batch and says what they show.

    Example:
        >>> detector = Detector(MarkSettings())
        >>> time_s = np.arange(0.0, 400.0, 2.0)
        >>> climb = 18.0 + np.maximum(time_s - 200.0, 0.0) * 4.0 / 60.0
        >>> [said] = detector.take({"milk": (time_s, climb)})
        >>> said.kind, abs(said.at - 200.0) < 10.0, said.seen_at < 245.0
        ('heat', True, True)
    """

    def __init__(self, settings: MarkSettings) -> None:
        """Begin with a batch of which nothing was seen."""
        self._settings = settings
        self._readings = {place: PlaceReadings(place) for place in PLACES}
        self._found = _Found()
        self._said: list[Proposal] = []
        self._known: tuple[Proposal, ...] = ()  # said before it last began again

    @property
    def said(self) -> tuple[Proposal, ...]:
        """All that was proposed so far, in the order in which it could be said."""
        return tuple(self._said)

    def take(self, readings: Mapping[str, tuple[Floats, Floats]]) -> list[Proposal]:
        """Take readings in, and return what can be said for the first time.

        Args:
            readings: By place (`milk`, `under_pot`, `under_press`, `block_core`; others are left
                out): times [s since 1970 UTC] and calibrated values [degC or kg], shape (n,) each,
                in any order; a time that is known already and what is no number are left out.

        Returns:
            The proposals that these readings are the first to show. Readings older than 30 s
            against the last look make it begin again by itself; what it said before is not
            returned again, and is not taken back.

        Raises:
            ProcessError: Times and values don't belong together.
        """
        for place, (time_s, value) in readings.items():
            if place not in self._readings:
                continue
            earliest_s = self._readings[place].add(time_s, value)
            if earliest_s < self._found.until_s.get(_group(place), -math.inf) - LATE_S:
                self._found, self._known = _Found(), tuple(self._said)
        fresh = [one for one in self._looked() if not any(_same(one, x) for x in self._known)]
        fresh.sort(key=lambda one: one.seen_at)
        self._said += fresh
        return fresh

    def _looked(self) -> Iterator[Proposal]:
        yield from self._look_at_pot()
        yield from self._look_at_press()
        yield from self._look_at_block()

    def _look_at_pot(self) -> Iterator[Proposal]:
        milk, scale = self._readings["milk"], self._readings["under_pot"]
        settings, found = self._settings, self._found
        for now_s in self._moments("pot", LOOK_EVERY_S, found.pot_cell, milk, scale):
            look = look_at(milk.time_s, milk.value, now_s, settings.resolutions.get("milk"))
            mass = mass_look(
                scale.time_s, scale.value, now_s, settings.resolutions.get("under_pot")
            )
            found.pot, said = step_pot(found.pot, look, mass, settings)
            found.pot_cell = math.floor(now_s / LOOK_EVERY_S)
            yield from said

    def _look_at_press(self) -> Iterator[Proposal]:
        press, found = self._readings["under_press"], self._found
        step_kg = self._settings.resolutions.get("under_press")
        for now_s in self._moments("press", LOOK_EVERY_S, found.press_cell, press):
            mass = mass_look(press.time_s, press.value, now_s, step_kg)
            found.press, said = step_press(found.press, mass)
            found.press_cell = math.floor(now_s / LOOK_EVERY_S)
            yield from said

    def _look_at_block(self) -> Iterator[Proposal]:
        core, found = self._readings["block_core"], self._found
        step_k = self._settings.resolutions.get("block_core")
        for now_s in self._moments("block", BLOCK_LOOK_EVERY_S, found.block_cell, core):
            look = core_look(core.time_s, core.value, now_s, step_k)
            found.block, said = step_block(found.block, look, self._settings)
            found.block_cell = math.floor(now_s / BLOCK_LOOK_EVERY_S)
            yield from said

    def _moments(
        self, group: str, every_s: float, done: float, *places: PlaceReadings
    ) -> list[float]:
        """Return the first reading in each stretch of time that was not looked at yet."""
        from_s = -math.inf if math.isinf(done) else (done + 1.0) * every_s
        parts = [one.time_s[np.searchsorted(one.time_s, from_s) :] for one in places]
        times_s = np.unique(np.concatenate(parts))
        if times_s.size == 0:
            return []
        self._found.until_s[group] = float(times_s[-1])
        _, first = np.unique(np.floor(times_s / every_s), return_index=True)
        moments: list[float] = times_s[first].tolist()
        return moments


def detect(curves: Mapping[str, Curve], settings: MarkSettings) -> list[Proposal]:
    """Return what a stored batch shows, as if it had been followed live.

    Args:
        curves: Calibrated readings by place: `milk`, `block_core` [degC], `under_pot`,
            `under_press` [kg].
        settings: What was known before it began.

    Returns:
        The proposals in the order in which they could be said; `seen_at` is the reading at which
        each could first be said, and none after it was used.

    Source:
        Bends and dips by Bayes factors with autocorrelated noise (definition); what can follow
        what is common practice.
    """
    readings = {place: (curve.time_s, curve.value) for place, curve in curves.items()}
    return Detector(settings).take(readings)


def _group(place: str) -> str:
    return {"milk": "pot", "under_pot": "pot", "under_press": "press"}.get(place, "block")


def _same(one: Proposal, other: Proposal) -> bool:
    apart_s = max(SAME_S, SAME_SPREADS * max(one.u_at, other.u_at))
    return one.kind == other.kind and abs(one.at - other.at) < apart_s
