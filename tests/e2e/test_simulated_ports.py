# SPDX-License-Identifier: MIT
"""Virtual scales and probes over real pseudo-terminals, and the kitchen that they stand in."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

import pytest
import serial

from collector.errors import InstrumentLostError, ProcessError
from collector.frames.lines import LineDecoder
from collector.instruments.simulated.pty_door import PtyLine
from collector.instruments.simulated.scenario import fern_lane
from collector.instruments.simulated.virtual import (
    LiveKitchen,
    LivePot,
    PtyProbe,
    PtyScale,
    Said,
)
from collector.readings import Quality

pytestmark = pytest.mark.e2e

NOW_MS = 1_767_254_400_000
SCALE = LineDecoder("small/under-pot", pattern="status-mode-weight-unit")
POLLED = LineDecoder("small/under-pot", pattern="reply-state-weight-unit")
PROBE = LineDecoder("small/milk", pattern="number-unit")


class Until(Protocol):
    """Waits for a fact."""

    def __call__(self, fact: Callable[[], object], what: str, deadline_s: float = 20.0) -> None:
        """Wait."""


@pytest.fixture
def pot() -> LivePot:
    return LivePot(fern_lane("small"), 3, NOW_MS)


def said(value: float | None, place: str = "under_pot") -> Said:
    return Said(place, f"small/{place}", NOW_MS, value, "kg", 0.001)


def test_a_live_kitchen_speaks_over_serial_lines(tmp_path: Path, pot: LivePot) -> None:
    kitchen = LiveKitchen([pot], speed=20.0)
    kitchen.connect("small", "under_pot", PtyScale(tmp_path / "scale"))
    kitchen.connect("small", "milk", PtyProbe(tmp_path / "probe"))
    with (
        serial.Serial(str(tmp_path / "scale"), timeout=10.0, exclusive=True) as scale,
        serial.Serial(str(tmp_path / "probe"), timeout=10.0, exclusive=True) as probe,
        kitchen,
    ):
        weights = [scale.read_until(b"\r\n") for _ in range(30)]
        temperatures = [probe.read_until(b"\r\n") for _ in range(30)]

    assert all(re.fullmatch(rb"(ST|US),GS,\+ {3}3\.\d{3}kg\r\n", line) for line in weights)
    for line, decoder, true in [(weights[-1], SCALE, 3.376), (temperatures[-1], PROBE, 18.0)]:
        (reading,) = decoder.decode(line, channel="port", arrival_ms=NOW_MS)
        assert reading.quality is not Quality.BAD
        assert reading.value == pytest.approx(true, abs=0.5)
    assert not (tmp_path / "scale").exists()


def test_a_polled_scale_answers_each_question_once(tmp_path: Path) -> None:
    scale = PtyScale(tmp_path / "scale", polled=True)
    with serial.Serial(str(tmp_path / "scale"), timeout=10.0) as line:
        line.write(b"S\r\n")
        line.flush()
        answers = []
        for value in (None, 0.1):
            while not (asked := line.in_waiting):
                scale.pump()
            assert asked
            answers.append(line.read_until(b"\r\n"))
            scale.say(said(0.1))
            if value is None:
                line.write(b"S\r\n")
                line.flush()
    scale.close()

    assert answers[0] == b"S I\r\n"
    (reading,) = POLLED.decode(answers[1], channel="port", arrival_ms=NOW_MS)
    assert (reading.value, reading.quality) == (0.1, Quality.GOOD)


def test_overload_is_a_line_without_a_value(tmp_path: Path) -> None:
    scale = PtyScale(tmp_path / "scale", net=True)
    with serial.Serial(str(tmp_path / "scale"), timeout=10.0) as line:
        scale.say(said(None))
        heard = line.read_until(b"\r\n")
    scale.close()

    (reading,) = SCALE.decode(heard, channel="port", arrival_ms=NOW_MS)
    assert (reading.value, reading.quality) == (None, Quality.BAD)
    assert "overload" in reading.reason


def test_a_line_that_nobody_reads_loses_whole_lines_only(tmp_path: Path) -> None:
    line = PtyLine(tmp_path / "line")
    sent = [line.write_line(f"{number:06d} some text\r\n".encode()) for number in range(4000)]
    with serial.Serial() as reader:
        reader.port, reader.timeout = str(tmp_path / "line"), 0.0
        line.pull_out()
        line.plug_in()
        reader.open()
        assert line.write_line(b"fresh\r\n")
        reader.timeout = 10.0
        heard = reader.read_until(b"\r\n")
    line.pull_out()

    assert not all(sent)
    assert heard == b"fresh\r\n"
    assert not line.write_line(b"gone\r\n")


def test_a_port_in_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(InstrumentLostError, match="No such file"):
        PtyLine(tmp_path / "nowhere" / "line")


class Quiet:
    """A door that nothing passes."""

    def say(self, said: Said) -> None:
        """Forget it."""

    def pump(self) -> None:
        """Do nothing."""

    def close(self) -> None:
        """Do nothing."""


def test_a_kitchen_refuses_what_it_cannot_do(pot: LivePot) -> None:
    with pytest.raises(ProcessError, match="not above 0"):
        LiveKitchen([pot], speed=0.0)
    with pytest.raises(ProcessError, match="one name"):
        LiveKitchen([pot, pot])
    kitchen = LiveKitchen([pot])
    with pytest.raises(ProcessError, match="no pot 'west'"):
        kitchen.connect("west", "milk", Quiet())
    with pytest.raises(ProcessError, match="no instrument at 'spoon'"):
        kitchen.connect("small", "spoon", Quiet())


def test_a_kitchen_that_fails_says_so_when_it_is_stopped(pot: LivePot, until: Until) -> None:
    class Broken(Quiet):
        def say(self, said: Said) -> None:
            raise RuntimeError(f"nobody hears {said.series}")

    kitchen = LiveKitchen([pot, LivePot(fern_lane("south"), 1, NOW_MS)], speed=10.0)
    kitchen.connect("small", "milk", Broken())
    kitchen.start()
    until(lambda: kitchen.failure, "the kitchen failed")

    with pytest.raises(RuntimeError, match="nobody hears small/milk"):
        kitchen.stop()
