"""The arrival clock, against clocks that the test sets."""

from __future__ import annotations

import asyncio
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.clock import RunClock, boot_id, mended_ms
from collector.store.protocol import ClockStep

START_MS = 1_700_000_000_000


class Clocks:
    """A wall clock and a steady clock; time passes when the test says so."""

    def __init__(self) -> None:
        self.wall_ms = START_MS
        self.steady_ms = 5_000_000
        self.reading_takes_ms = 0

    def wall_ns(self) -> int:
        """Tell the wall clock."""
        return self.wall_ms * 1_000_000

    def steady_ns(self) -> int:
        """Tell the steady clock."""
        now_ns = self.steady_ms * 1_000_000
        self.steady_ms += self.reading_takes_ms
        return now_ns

    def pass_ms(self, ms: int) -> None:
        """Let time pass on both."""
        self.wall_ms += ms
        self.steady_ms += ms

    def clock(self, recorded: list[ClockStep] | None = None) -> RunClock:
        """Start a run on them."""
        keep = recorded.append if recorded is not None else lambda step: None
        return RunClock(keep, wall_ns=self.wall_ns, steady_ns=self.steady_ns, boot="boot")


def test_arrival_times_are_the_wall_clock_at_the_start_and_steady_time_since() -> None:
    clocks = Clocks()
    clock = clocks.clock()
    assert clock.now_ms() == START_MS
    clocks.pass_ms(1234)
    assert clock.now_ms() == START_MS + 1234


def test_a_small_move_of_the_wall_clock_is_no_step() -> None:
    clocks = Clocks()
    clock = clocks.clock()
    clocks.wall_ms += 500
    assert clock.look() is None


def test_small_moves_that_add_up_to_more_than_half_a_second_are_a_step() -> None:
    clocks = Clocks()
    clock = clocks.clock()
    clocks.wall_ms += 300
    assert clock.look() is None
    clocks.wall_ms += 300
    step = clock.look()
    assert step is not None
    assert step.step_ms == 600


def test_a_clock_set_forward_takes_the_arrival_times_along() -> None:
    clocks = Clocks()
    clock = clocks.clock()
    clocks.pass_ms(1000)
    clocks.wall_ms += 3_600_000
    assert clock.now_ms() == START_MS + 1000  # not seen yet
    step = clock.look()
    assert step == ClockStep("boot", clock.run, START_MS + 3_601_000, 3_600_000)
    assert clock.now_ms() == clocks.wall_ms


def test_a_clock_set_back_leaves_the_arrival_times_and_their_spacing() -> None:
    clocks = Clocks()
    clock = clocks.clock()
    clocks.pass_ms(1000)
    clocks.wall_ms -= 10_000
    step = clock.look()
    assert step == ClockStep("boot", clock.run, START_MS + 1000, -10_000)
    clocks.pass_ms(500)
    assert clock.now_ms() == START_MS + 1500
    assert clock.look() is None


def test_a_clock_set_back_and_forward_again_makes_no_jump() -> None:
    clocks = Clocks()
    clock = clocks.clock()
    clocks.wall_ms -= 10_000
    clock.look()
    clocks.wall_ms += 10_000
    step = clock.look()
    assert step is not None
    assert step.step_ms == 10_000
    assert clock.now_ms() == START_MS


def test_a_look_that_was_held_up_between_the_clocks_sees_no_step() -> None:
    clocks = Clocks()
    clock = clocks.clock()
    clocks.wall_ms += 2_000
    clocks.reading_takes_ms = 51
    assert clock.look() is None
    clocks.reading_takes_ms = 0
    clocks.wall_ms += 2 * 51
    assert clock.look() is not None


def test_the_start_of_a_run_is_recorded_with_step_zero_and_later_steps_after_it() -> None:
    clocks = Clocks()
    recorded: list[ClockStep] = []
    clock = clocks.clock(recorded)
    pauses = 0

    async def pause(seconds: float) -> None:
        nonlocal pauses
        pauses += 1
        clocks.pass_ms(round(seconds * 1000))
        if pauses == 2:
            clocks.wall_ms += 700
        if pauses == 4:
            raise asyncio.CancelledError

    with pytest.raises(asyncio.CancelledError):
        asyncio.run(clock.watch(pause=pause))
    assert recorded == [
        ClockStep("boot", clock.run, START_MS, 0),
        ClockStep("boot", clock.run, START_MS + 2700, 700),
    ]


def test_a_step_that_cannot_be_recorded_is_recorded_once_it_can() -> None:
    clocks = Clocks()
    recorded: list[ClockStep] = []
    tries = 0

    def record(step: ClockStep) -> None:
        nonlocal tries
        tries += 1
        if tries < 3:
            raise OSError("disk full")
        recorded.append(step)

    clock = RunClock(record, wall_ns=clocks.wall_ns, steady_ns=clocks.steady_ns, boot="boot")

    async def pause(seconds: float) -> None:
        if recorded:
            raise asyncio.CancelledError

    with pytest.raises(asyncio.CancelledError):
        asyncio.run(clock.watch(pause=pause))
    assert [step.step_ms for step in recorded] == [0]
    assert tries == 3


def test_two_runs_have_different_names() -> None:
    assert Clocks().clock().run != Clocks().clock().run


def test_a_machine_without_boot_ids_counts_each_run_as_its_own_boot(tmp_path: Path) -> None:
    missing = tmp_path / "boot_id"
    assert boot_id(missing) != boot_id(missing)
    missing.write_text("3f2b6c1e-0000-4000-8000-000000000001\n")
    assert boot_id(missing) == "3f2b6c1e-0000-4000-8000-000000000001"


def test_the_machines_own_clocks_give_the_wall_clock_and_never_go_back() -> None:
    clock = RunClock(lambda step: None)
    times = [clock.now_ms() for _ in range(1000)]
    assert times == sorted(times)
    assert clock.look() is None


MOVES = st.lists(
    st.tuples(st.integers(0, 5000), st.sampled_from([0, 0, 0, 501, 4000, -501, -9000, 60_000])),
    max_size=30,
)


@given(MOVES)
def test_mended_times_are_what_the_last_setting_of_the_wall_clock_would_have_shown(
    moves: list[tuple[int, int]],
) -> None:
    clocks = Clocks()
    clock = clocks.clock()
    arrivals: list[int] = []
    true_steady_ms: list[int] = []
    steps: list[ClockStep] = [ClockStep("boot", clock.run, START_MS, 0)]
    for passes_ms, moves_ms in moves:
        clocks.pass_ms(passes_ms)
        arrivals.append(clock.now_ms())
        true_steady_ms.append(clocks.steady_ms)
        clocks.wall_ms += moves_ms
        step = clock.look()
        if step is not None:
            steps.append(step)
        arrivals.append(clock.now_ms())
        true_steady_ms.append(clocks.steady_ms)
    assert arrivals == sorted(arrivals)
    last_offset_ms = clocks.wall_ms - clocks.steady_ms
    wanted = np.array(true_steady_ms, dtype=np.int64) + last_offset_ms
    assert mended_ms(np.array(arrivals, dtype=np.int64), steps).tolist() == wanted.tolist()
