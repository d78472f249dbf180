"""How well an instrument has spoken."""

from __future__ import annotations

import math

import numpy as np

from api.process.reading_health import ReadingHealth, reading_health


def health(times: list[float], until: float, *, suspect: int = 0, bad: int = 0) -> ReadingHealth:
    quality = np.zeros(len(times), np.int8)
    quality[:suspect] = 1
    quality[suspect : suspect + bad] = 2
    arrival = np.arange(len(times)) % 2 == 0
    return reading_health(np.array(times), quality, arrival, until)


def test_a_steady_instrument_has_no_gap() -> None:
    found = health([float(s) for s in range(0, 100, 5)], 99.0)

    assert (found.readings, found.usual_interval_s, found.gaps) == (20, 5.0, 0)
    assert found.longest_gap_s == 0.0


def test_the_silence_since_the_last_reading_is_a_gap() -> None:
    found = health([0.0, 1.0, 2.0, 3.0], 103.0)

    assert (found.gaps, found.longest_gap_s) == (1, 100.0)


def test_a_slow_instrument_may_be_silent_for_three_of_its_intervals() -> None:
    times = [60.0 * n for n in range(10)]

    assert health([*times, times[-1] + 170.0], times[-1] + 171.0).gaps == 0
    assert health([*times, times[-1] + 190.0], times[-1] + 191.0).gaps == 1


def test_doubtful_readings_and_times_of_arrival_are_shares_of_all() -> None:
    found = health([float(s) for s in range(10)], 10.0, suspect=2, bad=1)

    assert (found.suspect_fraction, found.bad_fraction) == (0.2, 0.1)
    assert found.from_arrival_fraction == 0.5


def test_without_a_reading_nothing_is_said() -> None:
    found = health([], 10.0)

    assert found.readings == 0
    assert found.gaps == 0
    assert math.isnan(found.usual_interval_s)
    assert math.isnan(found.bad_fraction)
