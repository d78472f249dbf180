from __future__ import annotations

from collector.instruments.back_off import BackOff


def test_waiting_times_double_from_the_first_to_the_last() -> None:
    back_off = BackOff(0.5, 10.0, chance=lambda: 0.5)
    assert [back_off.next_s() for _ in range(7)] == [0.5, 1.0, 2.0, 4.0, 8.0, 10.0, 10.0]


def test_waiting_times_vary_by_a_quarter_within_the_bounds() -> None:
    low = BackOff(0.5, 10.0, chance=lambda: 0.0)
    high = BackOff(0.5, 10.0, chance=lambda: 1.0)
    assert [low.next_s() for _ in range(7)] == [0.5, 0.75, 1.5, 3.0, 6.0, 7.5, 7.5]
    assert [high.next_s() for _ in range(7)] == [0.625, 1.25, 2.5, 5.0, 10.0, 10.0, 10.0]


def test_after_a_success_the_first_waiting_time_comes_again() -> None:
    back_off = BackOff(chance=lambda: 0.5)
    for _ in range(5):
        back_off.next_s()
    back_off.reset()
    assert back_off.next_s() == 0.5
