"""What a port's events become, without a port."""

from __future__ import annotations

import errno
from pathlib import Path

import pytest

from collector.frames.lines import LineDecoder
from collector.instruments.port_fault import fault_of, holders
from collector.instruments.port_reader import Heard, LineSettings, Lost, Opened, Quiet, Refused
from collector.instruments.serial_line import LineRules, SerialInstrument
from collector.readings import Quality, Reading

PORT = "/dev/serial/by-id/usb-scale"
DECODER = LineDecoder("north/scale", "kg", pattern="number-unit")


class StillClock:
    """A clock that stands still."""

    def now_ms(self) -> int:
        """Return the same time always."""
        return 1_700_000_000_000


class Line:
    """A serial instrument whose events the test makes."""

    def __init__(self, *, ignore_first_s: float = 0.0, decoder: LineDecoder = DECODER) -> None:
        self.now_s = 100.0
        self.instrument = SerialInstrument(
            LineSettings(PORT),
            LineRules("north/scale", decoder, ignore_first_s=ignore_first_s),
            StillClock(),
            steady_s=lambda: self.now_s,
        )
        self.instrument.met(Opened(self.now_s))

    def hear(self, data: bytes, after_s: float = 0.0) -> list[Reading]:
        """Let bytes come."""
        self.now_s += after_s
        return self.instrument.met(Heard(data, 1_700_000_000_000, self.now_s))


def values(readings: list[Reading]) -> list[float | None]:
    return [reading.value for reading in readings]


def test_what_comes_first_after_opening_counts_from_the_first_line_end_on() -> None:
    line = Line()
    assert line.hear(b"40 kg\r\n12.3") == []
    assert values(line.hear(b"45 kg\r\n")) == [12.345]


def test_after_a_silence_the_first_line_counts() -> None:
    line = Line()
    assert line.instrument.met(Quiet()) == []
    assert values(line.hear(b"12.345 kg\r\n")) == [12.345]


def test_the_late_rest_of_a_line_is_not_taken_for_a_line_of_its_own() -> None:
    line = Line()
    line.instrument.met(Quiet())
    assert line.hear(b"12.3") == []
    (cut_off,) = line.instrument.met(Quiet())
    assert cut_off.quality is Quality.BAD
    assert cut_off.frame == b"12.3"
    assert line.hear(b"40 kg\r\n") == []
    assert values(line.hear(b"12.350 kg\r\n")) == [12.35]


def test_the_late_rest_of_the_beginning_after_opening_is_no_line_either() -> None:
    line = Line()
    assert line.hear(b"12.3") == []
    assert line.instrument.met(Quiet()) == []
    assert line.hear(b"40 kg\r\n") == []
    assert values(line.hear(b"12.350 kg\r\n")) == [12.35]


def test_what_a_board_says_while_it_starts_is_left_out_where_configured() -> None:
    line = Line(ignore_first_s=2.0)
    assert line.hear(b"boot\r\n85.0 kg\r\n", after_s=1.0) == []
    assert line.hear(b"rest\r\n1.5 kg\r\n", after_s=1.5)[-1].value == 1.5


def test_a_line_that_was_cut_off_by_pulling_the_plug_is_kept_as_bad() -> None:
    line = Line()
    line.instrument.met(Quiet())
    line.hear(b"1.000 kg\r\n2.00")
    (cut_off,) = line.instrument.met(Lost(OSError(5, "Input/output error")))
    assert cut_off.frame == b"2.00"
    assert cut_off.reason == "the line was cut off when the port was lost"
    line.instrument.met(Opened(line.now_s))
    assert line.hear(b"0 kg\r\n3.000 kg\r\n")[0].value == 3.0


class BrokenDecoder:
    """A decoder with a fault of its own."""

    def decode(self, data: bytes, *, channel: str, arrival_ms: int) -> list[Reading]:
        """Fail."""
        raise ZeroDivisionError("division by zero")


def test_a_decoder_that_fails_costs_no_frame() -> None:
    instrument = SerialInstrument(
        LineSettings(PORT), LineRules("north/scale", BrokenDecoder()), StillClock()
    )
    instrument.met(Opened(0.0))
    instrument.met(Quiet())
    (bad,) = instrument.met(Heard(b"1.0 kg\r\n", 1_700_000_000_000, 1.0))
    assert bad.quality is Quality.BAD
    assert bad.frame == b"1.0 kg"
    assert "division by zero" in bad.reason


def test_each_reason_for_not_opening_is_said_once_and_the_opening_once(
    caplog: pytest.LogCaptureFixture,
) -> None:
    caplog.set_level("INFO")
    instrument = SerialInstrument(
        LineSettings(PORT), LineRules("north/scale", DECODER), StillClock()
    )
    for _ in range(20):
        instrument.met(Refused(FileNotFoundError(errno.ENOENT, "No such file", PORT)))
    for _ in range(20):
        instrument.met(Refused(BlockingIOError(errno.EAGAIN, "busy", PORT)))
    instrument.met(Opened(1.0))
    assert [record.message for record in caplog.records] == [
        "port can not be opened",
        "port can not be opened",
        "port opened again",
    ]


@pytest.mark.parametrize(
    ("number", "what", "do"),
    [
        (errno.ENOENT, "not plugged in", "Plug it in"),
        (errno.EACCES, "may not be opened by this user", "group"),
        (errno.EAGAIN, "in use by another program", "Stop what holds it"),
        (errno.EIO, "can't be opened", "Check the cable"),
    ],
)
def test_a_port_that_cannot_be_opened_is_explained(number: int, what: str, do: str) -> None:
    told = fault_of(OSError(number, "text"), "/dev/none")
    assert what in told.what
    assert do in told.do
    assert str(told).startswith("/dev/none: ")


def test_who_holds_a_port_is_found_among_the_processes(tmp_path: Path) -> None:
    device = tmp_path / "ttyUSB0"
    device.touch()
    by_id = tmp_path / "usb-scale"
    by_id.symlink_to(device)
    for pid, target in (("41", device), ("42", tmp_path / "other")):
        (tmp_path / "proc" / pid / "fd").mkdir(parents=True)
        (tmp_path / "proc" / pid / "comm").write_text("terminal\n")
        (tmp_path / "proc" / pid / "fd" / "3").symlink_to(target)
    assert holders(str(by_id), tmp_path / "proc") == ["terminal (41)"]
