from __future__ import annotations

from collector.instruments.window import Window


def test_messages_are_acknowledged_in_the_order_of_their_arrival() -> None:
    window = Window()
    window.connected()
    first, second, third = (window.arrived(n) for n in (7, 8, 9))
    assert window.keep([second]) == []
    assert window.keep([third]) == []
    assert window.keep([first]) == [7, 8, 9]
    assert len(window) == 0


def test_an_acknowledgement_of_an_earlier_connection_is_dropped() -> None:
    window = Window()
    window.connected()
    old = window.arrived(1)
    window.lost()
    window.connected()
    new = window.arrived(1)  # the session was lost, and the broker counts from 1 again
    assert window.keep([old]) == []
    assert window.dropped == 1
    assert len(window) == 1
    assert window.keep([new]) == [1]


def test_nothing_is_acknowledged_while_there_is_no_connection() -> None:
    window = Window()
    window.connected()
    place = window.arrived(1)
    window.lost()
    assert window.keep([place]) == []
    assert window.dropped == 1


def test_what_the_last_connection_left_open_no_longer_counts() -> None:
    window = Window()
    window.connected()
    window.arrived(1)
    window.connected()
    assert len(window) == 0
    assert window.epoch == 2
