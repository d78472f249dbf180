# SPDX-License-Identifier: MIT
"""Chill and end: the core of the block begins to fall faster, and at last is cold.

A block in still air cools ever more slowly. Only a new medium makes it fall faster, and its core
notices that late: heat has to come out of the middle first. Pure: numpy and what is pure only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from api.process.curves import Floats
from api.process.marks_bend import bends, find_bend, probe_lags
from api.process.marks_confidence import confidence
from api.process.marks_look import line_through
from api.process.marks_series import display_step
from api.process.marks_settings import MarkSettings, Proposal
from api.process.smoothing import middle_of

LOOK_S, BIN_S = 1200.0, 10.0
CORE_LAGS_S = (30.0, 80.0, 200.0, 500.0)
NOISE_LASTS_S = 15.0
LEAST_LOG_ODDS = 8.0
LEAST_FALL_K, LEAST_FASTER_K_PER_S = 0.25, 0.12 / 60.0
LEAST_FASTER_FRACTION = 0.5
COLD_FIT_S = 400.0


@dataclass(frozen=True, slots=True)
class BlockState:
    """What is known of a block at one moment.

    Attributes:
        hottest_degc: Of its core so far [degC].
        chill_s: When the chill began [s since 1970 UTC].
        end_s: When it was cold [s since 1970 UTC].
    """

    hottest_degc: float = -math.inf
    chill_s: float | None = None
    end_s: float | None = None


@dataclass(frozen=True, slots=True)
class CoreLook:
    """The last minutes of the core, means of ten seconds.

    Attributes:
        now_s: [s since 1970 UTC].
        time_s: Before that moment [s], shape (n,), oldest first.
        value: [degC].
        noise_k: Standard deviation of each mean [K].
        resolution_k: [K].
    """

    now_s: float
    time_s: Floats
    value: Floats
    noise_k: float
    resolution_k: float


def core_look(
    time_s: Floats, value: Floats, now_s: float, resolution_k: float | None = None
) -> CoreLook | None:
    """Return the last twenty minutes of the core.

    Args:
        time_s: Times of all readings so far [s since 1970 UTC], strictly increasing.
        value: [degC].
        now_s: The moment [s since 1970 UTC].
        resolution_k: Display step, found in the readings if None [K].

    Returns:
        The look, None with fewer than four readings.

    Source:
        Means over ten seconds (definition).
    """
    first, last = np.searchsorted(time_s, (now_s - LOOK_S, now_s + 1e-6))
    time_s, value = time_s[first:last] - now_s, value[first:last]
    possible = (value > -30.0) & (value < 115.0)
    time_s, value = time_s[possible], value[possible]
    if time_s.size < 4:
        return None
    step_k = display_step(value) if resolution_k is None else resolution_k
    bins = np.floor(time_s / BIN_S).astype(np.int64)
    starts = np.flatnonzero(np.diff(bins, prepend=bins[0] - 1))
    count = np.diff(np.append(starts, bins.size))
    thin_s = np.add.reduceat(time_s, starts) / count
    thin = np.add.reduceat(value, starts) / count
    third = np.diff(thin, n=3)
    white = middle_of(np.abs(third)) / (0.6745 * math.sqrt(20.0)) if third.size > 4 else 0.05
    usual = middle_of(count)
    noise_k = max(white, step_k / math.sqrt(12.0 * usual), 0.005)
    return CoreLook(now_s, thin_s, thin, noise_k, step_k)


def step_block(
    state: BlockState, core: CoreLook | None, settings: MarkSettings
) -> tuple[BlockState, list[Proposal]]:
    """Return what is known one look later, and what is proposed.

    Args:
        state: What was known.
        core: The last minutes of the probe in the block.
        settings: What was known beforehand.

    Returns:
        The new state, and the proposals.

    Source:
        What can follow what is common practice.
    """
    if core is None or core.time_s.size < 4:
        return state, []
    state = replace(state, hottest_degc=max(state.hottest_degc, middle_of(core.value[-4:])))
    found = []
    if state.chill_s is None and state.hottest_degc > settings.cold_degc + 10.0:
        said = find_chill(core, settings)
        if said is not None:
            state = replace(state, chill_s=said.at)
            found.append(said)
    if state.end_s is None and state.hottest_degc > settings.cold_degc + 10.0:
        said = find_cold(core, settings)
        if said is not None:
            state = replace(state, end_s=said.at)
            found.append(said)
    return state, found


def find_chill(core: CoreLook, settings: MarkSettings) -> Proposal | None:
    """Return that the block was put into something colder, if it was.

    Args:
        core: The last minutes of the core.
        settings: What was known beforehand.

    Returns:
        The proposal, None if the core only goes on cooling in the same medium.

    Source:
        In one medium a body cools ever more slowly (Newton's law of cooling); only a new one
        bends its curve down.
    """
    top = int(np.argmax(core.value))
    time_s, value = core.time_s[top:], core.value[top:]
    if time_s.size < 5 or value[-1] < settings.cold_degc + 3.0:
        return None
    if _below_trend(time_s, value) < max(0.5 * LEAST_FALL_K, 2.0 * core.noise_k):
        return None
    starts = np.arange(float(time_s[0]) - 20.0, -25.0, 10.0)
    bend = find_bend(
        time_s,
        value,
        bends(starts, CORE_LAGS_S, probe_lags(settings.lag("block_core"))),
        noise=(core.noise_k, NOISE_LASTS_S),
        spreads=(1.0 / 60.0, 3.0 / 60.0),
    )
    if bend is None or bend.log_odds < LEAST_LOG_ODDS or bend.before_per_s > 0.1 / 60.0:
        return None
    faster = bend.before_per_s - bend.after_per_s
    if faster < max(LEAST_FASTER_K_PER_S, -LEAST_FASTER_FRACTION * bend.before_per_s):
        return None
    below_k = bend.level - bend.before_per_s * bend.at_s - float(np.mean(value[-2:]))
    if below_k < max(LEAST_FALL_K, 4.0 * core.noise_k, 1.2 * core.resolution_k):
        return None
    after, before = -60.0 * bend.after_per_s, -60.0 * bend.before_per_s
    why = f"The core falls by {after:.2f} K/min, and fell by {before:.2f} before."
    u_s = math.hypot(bend.u_s, 10.0)
    sure = confidence("chill")
    return Proposal("chill", core.now_s + bend.at_s, u_s, core.now_s, sure, why)


def _below_trend(time_s: Floats, value: Floats) -> float:
    """Return how far the last readings lie below the line through earlier ones, at most [K].

    A block that is left alone cools ever more slowly, and stays above all of them.
    """
    last, largest = float(np.mean(value[-2:])), 0.0
    for share in (0.3, 0.5, 0.75):
        count = max(3, int(share * time_s.size))
        slope, ahead = line_through(time_s[:count], value[:count])
        largest = max(largest, ahead - last if slope < 0.0 else float(value[count - 1]) - last)
    return largest


def find_cold(core: CoreLook, settings: MarkSettings) -> Proposal | None:
    """Return that the core has come down to what counts as cold, if it has.

    Args:
        core: The last minutes of the core.
        settings: What was known beforehand.

    Returns:
        The proposal, None while the core is warmer.

    Source:
        Least squares (definition).
    """
    near = core.time_s > -COLD_FIT_S
    if np.count_nonzero(near) < 6 or core.time_s[0] > -0.7 * COLD_FIT_S:
        return None
    slope, level = line_through(core.time_s[near], core.value[near])
    u_k = 2.0 * core.noise_k / math.sqrt(np.count_nonzero(near))
    if level > settings.cold_degc + u_k or slope > 0.0:
        return None
    over_k = level - settings.cold_degc
    at_s = min(over_k / slope * -1.0, 0.0) if slope < 0.0 else 0.0
    u_s = min(math.hypot(u_k, 0.1) / max(abs(slope), 1e-6), 7200.0)
    why = f"The core is at {level:.1f} degC."
    sure = confidence("end")
    return Proposal("end", core.now_s + at_s, u_s, core.now_s, sure, why)
