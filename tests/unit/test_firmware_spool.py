"""The firmware example's spool: what it dates, what it holds back, and the numbers it writes."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.frames.crc import crc8_one_wire
from collector.frames.onewire import decode_scratchpad
from collector.frames.senml import parse_pack

_EXAMPLE = Path(__file__).parents[2] / "firmware_notes" / "one_wire_probe_mqtt"
_NOW_MS = 1_772_356_530_000


@pytest.fixture(scope="module")
def example() -> Iterator[ModuleType]:
    """Import the example as a board would, with the desk's stand-ins, and forget it afterwards."""
    before, path = set(sys.modules), list(sys.path)
    sys.path[:0] = [str(_EXAMPLE), str(_EXAMPLE / "desk")]
    try:
        yield importlib.import_module("main")
    finally:
        sys.path[:] = path
        for name in set(sys.modules) - before:
            if name in ("main", "clock", "publisher", "machine", "onewire"):
                del sys.modules[name]


@pytest.fixture
def clock(example: ModuleType, monkeypatch: pytest.MonkeyPatch) -> dict[str, int | None]:
    """Give the example a clock that stands still: `ticks` and `wall`."""
    state: dict[str, int | None] = {"ticks": 1_000, "wall": None}
    monkeypatch.setattr(example, "ticks_ms", lambda: state["ticks"])
    monkeypatch.setattr(example, "wall_ms", lambda: state["wall"])
    return state


def test_a_board_without_a_clock_and_without_a_time_server_sends_ages(
    example: ModuleType, clock: dict[str, int | None]
) -> None:
    spool = example.Spool("north/milk", 10)
    spool.add(1_000, None, '"v":82.1875')
    clock["ticks"] = 3_250
    (reading,) = parse_pack(spool.pack(True).encode(), now_ms=_NOW_MS)
    assert (reading.time_ms, reading.value) == (_NOW_MS - 2_250, 82.1875)


def test_an_age_grows_while_a_pack_waits_to_be_sent_again(
    example: ModuleType, clock: dict[str, int | None]
) -> None:
    spool = example.Spool("north/milk", 10)
    spool.add(1_000, None, '"v":82.1875')
    spool.pack(True)
    clock["ticks"] = 11_000
    (reading,) = parse_pack(spool.pack(True).encode(), now_ms=_NOW_MS)
    assert reading.time_ms == _NOW_MS - 10_000


def test_a_board_with_a_time_server_sends_nothing_undated_and_dates_it_afterwards(
    example: ModuleType, clock: dict[str, int | None]
) -> None:
    spool = example.Spool("north/milk", 10)
    spool.add(1_000, None, '"v":82.1875')
    assert spool.pack(False) is None
    clock["ticks"], clock["wall"] = 61_000, _NOW_MS
    spool.add(61_000, _NOW_MS, '"v":82.2500')
    first, second = parse_pack(spool.pack(False).encode(), now_ms=_NOW_MS)
    assert (first.time_ms, second.time_ms) == (_NOW_MS - 60_000, _NOW_MS)
    assert (first.sequence, second.sequence) == (1, 2)


def test_a_dated_pack_is_the_same_however_late_it_is_sent_again(
    example: ModuleType, clock: dict[str, int | None]
) -> None:
    spool = example.Spool("north/milk", 10)
    clock["wall"] = _NOW_MS
    spool.add(1_000, _NOW_MS, '"v":82.1875')
    first = spool.pack(True)
    spool.add(3_000, _NOW_MS + 2_000, '"v":82.2500')
    clock["ticks"], clock["wall"] = 90_000, _NOW_MS + 89_000
    assert spool.pack(True) == first
    spool.confirmed()
    (reading,) = parse_pack(spool.pack(True).encode(), now_ms=_NOW_MS)
    assert reading.sequence == 2


@given(number=st.integers(-(10**15), 10**15), digits=st.integers(1, 6))
def test_numbers_are_written_to_the_digit(example: ModuleType, number: int, digits: int) -> None:
    assert Decimal(example.decimal(number, digits)) == Decimal(number).scaleb(-digits)


class _Wire:
    """A wire with one probe that has finished its conversion."""

    def __init__(self, pad: bytes) -> None:
        self._pad = pad

    def reset(self) -> bool:
        return True

    def writebyte(self, byte: int) -> None:
        """Take a command; there is nothing to do for it."""

    def readinto(self, pad: bytearray) -> None:
        pad[:] = self._pad

    def crc8(self, data: bytes) -> int:
        return crc8_one_wire(bytes(data))


@given(register=st.integers(0, 0xFFFF), resolution=st.integers(0, 3))
def test_the_board_and_the_collector_read_the_same_nine_bytes_alike(
    example: ModuleType, register: int, resolution: int
) -> None:
    raw = register.to_bytes(2, "little") + bytes([75, 70, resolution << 5 | 0x1F, 0xFF, 12, 16])
    pad = raw + bytes([crc8_one_wire(raw)])
    probe: Any = example.Probe(4)
    probe._wire = _Wire(pad)  # noqa: SLF001 - the pin of a board can't be had here
    said = probe.read()
    assert said.startswith('"v":')
    assert float(said[4:]) == decode_scratchpad(pad).temperature_degc
