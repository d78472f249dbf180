from __future__ import annotations

import pytest

from api.process.hold_spec import Basis, HoldResult, HoldSpec
from api.process.quantities import NotShown, Verdict
from api.watch.holding import HoldWatch

SPEC = HoldSpec("boil", 600.0, low_degc=96.0)


def running(credited_s: float, reached_s: float | None = None) -> HoldResult:
    return HoldResult(
        "boil",
        "",
        Verdict.RUNNING,
        Basis.QUALITY,
        held_s=credited_s,
        longest_unbroken_s=credited_s,
        reached_s=reached_s,
    )


def test_it_is_judged_at_the_first_reading() -> None:
    assert HoldWatch(0, SPEC).due(1000.0)


def test_a_hold_that_fills_without_a_break_is_told_at_the_reading_that_fills_it() -> None:
    """However the readings fall, no later than the first one at which its time is up."""
    hold = HoldWatch(0, SPEC)
    looks = 0
    for second in range(1000, 2000):
        if hold.due(float(second)):
            credited_s = min(max(second - 1100.0, 0.0), 600.0)
            hold.take(running(credited_s, 1700.0 if second >= 1700 else None), float(second))
            looks += 1
        if hold.reached_s is not None:
            break

    assert (second, hold.reached_s) == (1700, 1700.0)
    assert looks < 10


@pytest.mark.parametrize("verdict", [Verdict.NOT_MET, Verdict.NOT_SHOWN])
def test_a_time_that_was_reached_counts_only_while_the_verdict_stands(verdict: Verdict) -> None:
    hold = HoldWatch(0, SPEC)

    hold.take(HoldResult("boil", "", verdict, Basis.QUALITY, reached_s=1700.0), 1800.0)

    assert hold.reached_s is None


def test_a_hold_that_can_t_be_judged_is_tried_again() -> None:
    hold = HoldWatch(0, SPEC)

    hold.take(NotShown("no probe"), 1000.0)

    assert not hold.due(1001.0)
    assert hold.due(1100.0)


def test_changed_marks_open_it_again() -> None:
    hold = HoldWatch(0, SPEC)
    hold.take(running(600.0, 1700.0), 1700.0)
    assert not hold.due(1701.0)

    hold.reopen()

    assert hold.reached_s is None
    assert hold.due(1701.0)
