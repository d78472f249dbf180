"""Whole lines out of bytes that come in any pieces."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.frames.lines import CAP_BYTES, LineBuffer


def _synced(terminator: bytes | None = None) -> LineBuffer:
    buffer = LineBuffer(terminator)
    buffer.silence()
    return buffer


def _good(buffer: LineBuffer, *pieces: bytes) -> list[bytes]:
    lines = [line for piece in pieces for line in buffer.feed(piece)]
    assert all(line.fault == "" for line in lines)
    return [line.data for line in lines]


def test_what_comes_first_after_opening_is_left_out_up_to_its_end_and_counted() -> None:
    buffer = LineBuffer()
    assert _good(buffer, b"2.340kg\r\n", b"ST,GS,+  12.340kg\r\n") == [b"ST,GS,+  12.340kg"]
    assert (buffer.discarded_lines, buffer.discarded_bytes) == (1, 7)


def test_after_a_silence_the_first_line_is_whole() -> None:
    buffer = LineBuffer()
    assert buffer.silence() == []
    assert _good(buffer, b"S S     100.00 g\r\n") == [b"S S     100.00 g"]
    assert buffer.discarded_lines == 0


def test_a_line_that_begins_at_a_line_end_after_opening_is_whole() -> None:
    buffer = LineBuffer()
    assert _good(buffer, b"\n82.2\n") == [b"82.2"]
    assert buffer.discarded_lines == 0


def test_a_line_cut_by_a_pause_of_the_port_is_one_line() -> None:
    assert _good(_synced(), b"ST,GS,+  12.3", b"40kg", b"\r\n") == [b"ST,GS,+  12.340kg"]


@pytest.mark.parametrize("end", [b"\n", b"\r", b"\r\n", b"\r\n\r\n"])
def test_every_usual_line_end_is_taken_and_empty_lines_are_left_out(end: bytes) -> None:
    assert _good(_synced(), b"1.0" + end + b"2.0" + end) == [b"1.0", b"2.0"]


def test_a_configured_line_end_is_the_only_one_even_in_two_pieces() -> None:
    buffer = _synced(b"\r\n")
    assert _good(buffer, b"a\rb\r", b"\nc\r\n") == [b"a\rb", b"c"]


def test_an_unfinished_line_is_given_up_with_its_reason_after_a_silence() -> None:
    buffer = _synced()
    buffer.feed(b"ST,GS,+  12.3")
    (line,) = buffer.silence()
    assert line.data == b"ST,GS,+  12.3"
    assert "silence" in line.fault
    assert _good(buffer, b"40kg\r\n") == [b"40kg"]


def test_an_unfinished_beginning_after_opening_is_counted_and_not_kept() -> None:
    buffer = LineBuffer()
    buffer.feed(b"0kg")
    assert buffer.silence() == []
    assert (buffer.discarded_lines, buffer.discarded_bytes) == (1, 3)


def test_a_line_without_an_end_is_one_bad_frame_and_the_next_line_is_read() -> None:
    buffer = _synced()
    faults = [line for _ in range(40) for line in buffer.feed(b"\x00\xff" * 16)]
    assert len(faults) == 1
    assert faults[0].data == (b"\x00\xff" * 128)
    assert "baud" in faults[0].fault
    assert _good(buffer, b"\xff\n82.2\n") == [b"82.2"]
    assert buffer.discarded_bytes == 40 * 32 - CAP_BYTES + 1


def test_a_line_without_an_end_right_after_opening_is_noticed_too() -> None:
    (line,) = LineBuffer().feed(b"\xfe" * 1000)
    assert len(line.data) == CAP_BYTES
    assert line.fault


def test_a_line_of_exactly_the_cap_is_whole_and_one_byte_more_is_not() -> None:
    assert _good(_synced(), b"1" * CAP_BYTES + b"\n") == [b"1" * CAP_BYTES]
    (line,) = _synced().feed(b"1" * (CAP_BYTES + 1) + b"\n")
    assert line.fault


def test_the_rest_of_an_endless_line_is_given_up_at_a_silence() -> None:
    buffer = _synced()
    buffer.feed(b"x" * 300)
    assert buffer.silence() == []
    assert _good(buffer, b"82.2\n") == [b"82.2"]


def test_what_is_unfinished_when_a_port_is_opened_anew_joins_nothing() -> None:
    buffer = _synced()
    buffer.feed(b"ST,GS,+  12.3")
    buffer.reopened()
    assert _good(buffer, b"40kg\r\n", b"S S 1 g\r\n") == [b"S S 1 g"]
    assert buffer.discarded_bytes == 17


_LINE = (
    st.binary(min_size=1, max_size=60)
    .map(lambda raw: raw.replace(b"\r", b"_").replace(b"\n", b"_"))
    .filter(bytes.strip)
)


@given(lines=st.lists(_LINE, max_size=12), cuts=st.lists(st.integers(0, 900), max_size=20))
def test_lines_are_the_same_however_the_bytes_are_cut(lines: list[bytes], cuts: list[int]) -> None:
    stream = b"".join(line + b"\r\n" for line in lines)
    ends = [*sorted(min(cut, len(stream)) for cut in cuts), len(stream)]
    pieces, start = [], 0
    for end in ends:
        pieces.append(stream[start:end])
        start = end
    assert _good(_synced(), *pieces) == lines


@given(pieces=st.lists(st.binary(max_size=600), max_size=10))
def test_every_byte_is_given_back_left_out_or_a_line_end(pieces: list[bytes]) -> None:
    buffer = LineBuffer()
    lines = [line for piece in pieces for line in buffer.feed(piece)] + buffer.silence()
    kept = sum(len(line.data) for line in lines)
    came = sum(len(piece.replace(b"\r", b"").replace(b"\n", b"")) for piece in pieces)
    blank = came - kept - buffer.discarded_bytes
    assert 0 <= blank <= sum(piece.count(blank_byte) for piece in pieces for blank_byte in _BLANKS)


_BLANKS = [b" ", b"\t", b"\x0b", b"\x0c"]
