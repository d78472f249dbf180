"""Serial lines over real pseudo-terminals, through to the store.

What pyserial 3.5 does here, as tried on Linux: two plain opens of one port steal bytes from each
other; `exclusive` is advisory; a read of an unplugged port raises SerialException, other calls
OSError or termios.error; a read that times out gives half a line.
"""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import serial

from collector.readings import Quality

if TYPE_CHECKING:
    from tests.e2e.conftest import Collecting, PtyLine, PtyLines, StartCollecting, Until

pytestmark = pytest.mark.e2e


def stanza(path: Path, *more: str, series: str = "north/scale") -> str:
    lines = [
        "[[serial]]",
        f'port = "{path}"',
        f'series = "{series}"',
        'unit = "kg"',
        'pattern = "number-unit"',
        "silence_s = 0.1",
        *more,
    ]
    return "\n".join(lines) + "\n"


WARMING_UP = (0.001, 0.002)


def speak(line: PtyLine, collector: Collecting, until: Until, series: str = "north/scale") -> None:
    """Say a value until it is stored: the port is open, and its first part line is over."""
    count = len(collector.values(series))

    def heard() -> bool:
        line.write(b"0.001 kg\r\n")
        return len(collector.values(series)) > count

    until(heard, f"{series} is heard")
    line.write(b"0.002 kg\r\n")
    until(lambda: collector.values(series)[-1] == 0.002, "all that was said is stored")


def said(collector: Collecting) -> list[float | None]:
    """Return what is stored of the scale, without the values of `speak`."""
    return [value for value in collector.values("north/scale") if value not in WARMING_UP]


def test_lines_become_readings_with_their_arrival(
    pty_line: PtyLine, collecting: StartCollecting, until: Until
) -> None:
    collector = collecting(stanza(pty_line.path))
    speak(pty_line, collector, until)
    pty_line.write(b"12.340 kg\r\n-0.02 kg\r\n")
    until(lambda: -0.02 in collector.values("north/scale"), "both lines are stored")
    readings = [r for r in collector.readings() if r.series == "north/scale"]
    assert [r.value for r in readings[-2:]] == [12.34, -0.02]
    assert readings[-1].unit == "kg"
    assert readings[-1].quality is Quality.GOOD
    times = [r.time_ms for r in readings]
    assert times == sorted(set(times))


def test_half_a_line_is_never_a_reading(
    pty_line: PtyLine, collecting: StartCollecting, until: Until
) -> None:
    collector = collecting(
        stanza(pty_line.path, "silence_s = 20.0").replace("silence_s = 0.1\n", "")
    )
    speak(pty_line, collector, until)
    for part in (b"12.3", b"4", b"0 k", b"g\r", b"\n"):
        pty_line.write(part)
        os.sched_yield()
    pty_line.write(b"7.000 kg\r\n")
    until(lambda: 7.0 in collector.values("north/scale"), "the line after it is stored")
    assert said(collector) == [12.34, 7.0]
    assert collector.bad() == []


def test_a_line_that_breaks_off_is_kept_as_bad_and_its_late_rest_is_no_reading(
    pty_line: PtyLine, collecting: StartCollecting, until: Until
) -> None:
    collector = collecting(stanza(pty_line.path))
    speak(pty_line, collector, until)
    pty_line.write(b"12.3")
    until(lambda: collector.bad(), "the half line is given up")
    (bad,) = collector.bad()
    assert bad.frame == b"12.3"
    assert "cut off" in bad.reason
    pty_line.write(b"40 kg\r\n5.000 kg\r\n")
    until(lambda: 5.0 in collector.values("north/scale"), "the next whole line is stored")
    assert said(collector) == [5.0]


def test_a_device_that_ends_its_lines_with_cr_alone_is_read_line_by_line(
    pty_line: PtyLine, collecting: StartCollecting, until: Until
) -> None:
    collector = collecting(stanza(pty_line.path))
    speak(pty_line, collector, until)
    pty_line.write(b"1.0 kg\r2.0 kg\r3.0 kg\r")
    until(lambda: 3.0 in collector.values("north/scale"), "all three are stored")
    assert said(collector) == [1.0, 2.0, 3.0]


def test_a_terminator_of_its_own_is_taken(
    pty_line: PtyLine, collecting: StartCollecting, until: Until
) -> None:
    collector = collecting(stanza(pty_line.path, 'terminator = ";"'))

    def heard() -> bool:
        pty_line.write(b"4.5 kg;")
        return 4.5 in collector.values("north/scale")

    until(heard, "a line is stored")


def test_garbage_of_a_wrong_baud_rate_is_kept_as_bad_frames_once_a_second_and_told(
    pty_line: PtyLine,
    collecting: StartCollecting,
    until: Until,
    caplog: pytest.LogCaptureFixture,
) -> None:
    caplog.set_level("INFO")
    collector = collecting(stanza(pty_line.path, "patience_s = 0.5"))
    speak(pty_line, collector, until)
    garbage = bytes(range(0x80, 0x100)) + b"\x00" * 16

    def told() -> bool:
        pty_line.write(garbage)
        return any(record.message.startswith("no valid line for") for record in caplog.records)

    until(told, "the log tells bytes without a valid line from silence")
    assert not any("is silent" in record.message for record in caplog.records)
    until(lambda: collector.bad(), "the garbage is kept")
    bad = collector.bad()
    assert all(r.value is None and r.frame for r in bad)
    assert collector.store.frame_count(bad[0].series) >= len(bad)
    speak(pty_line, collector, until)
    until(
        lambda: any(record.message == "valid lines again" for record in caplog.records),
        "the log says that the line is read again",
    )


def test_a_silent_line_is_told_from_garbage(
    pty_line: PtyLine,
    collecting: StartCollecting,
    until: Until,
    caplog: pytest.LogCaptureFixture,
) -> None:
    caplog.set_level("INFO")
    collector = collecting(stanza(pty_line.path, "patience_s = 0.5"))
    speak(pty_line, collector, until)
    until(
        lambda: any("the line is silent for 0.5 s" in record.message for record in caplog.records),
        "the log says that the line is silent",
    )
    assert not any("no valid line" in record.message for record in caplog.records)
    assert collector.bad() == []


def test_a_line_without_end_is_given_up_and_the_next_one_is_read(
    pty_line: PtyLine, collecting: StartCollecting, until: Until
) -> None:
    collector = collecting(stanza(pty_line.path))
    speak(pty_line, collector, until)
    pty_line.write(b"9" * 3000 + b"\r\n6.5 kg\r\n")
    until(lambda: 6.5 in collector.values("north/scale"), "the line after it is stored")
    (bad,) = collector.bad()
    assert bad.frame == b"9" * 256
    assert "no line end within 256 bytes" in bad.reason


def test_unplugged_while_reading_and_plugged_in_again_under_the_same_path(
    pty_line: PtyLine,
    collecting: StartCollecting,
    until: Until,
    caplog: pytest.LogCaptureFixture,
) -> None:
    caplog.set_level("INFO")
    collector = collecting(stanza(pty_line.path))
    speak(pty_line, collector, until)
    before = pty_line.device
    pty_line.write(b"3.")  # the plug is pulled in the middle of a line
    until(lambda: collector.bad(), "the half line is kept as bad")
    pty_line.unplug()
    until(lambda: "port lost" in caplog.messages, "the loss is told")
    stays_taken = os.openpty()  # so that the device comes back under another number
    try:
        pty_line.replug()
        assert pty_line.device != before
        speak(pty_line, collector, until)
        pty_line.write(b"3.500 kg\r\n")
        until(lambda: 3.5 in collector.values("north/scale"), "it is read again")
    finally:
        for end in stays_taken:
            os.close(end)
    told = [m for m in caplog.messages if m.startswith("port")]
    assert told[0] == "port opened"
    assert told[1] == "port lost"
    assert told[-1] == "port opened again"
    lost = next(record for record in caplog.records if record.message == "port lost")
    assert lost.__dict__["fields"]["readings"] >= 1


def test_a_path_that_leads_nowhere_after_unplugging_is_waited_for(
    pty_line: PtyLine, collecting: StartCollecting, until: Until
) -> None:
    collector = collecting(stanza(pty_line.path))
    speak(pty_line, collector, until)
    pty_line.unplug(dangling=True)
    pty_line.replug()
    speak(pty_line, collector, until)


def test_many_unpluggings_leave_no_file_open(
    pty_line: PtyLine, collecting: StartCollecting, until: Until
) -> None:
    collector = collecting(stanza(pty_line.path))
    speak(pty_line, collector, until)
    open_before = len(os.listdir("/proc/self/fd"))
    for _ in range(5):
        pty_line.unplug()
        pty_line.replug()
        speak(pty_line, collector, until)
    assert len(os.listdir("/proc/self/fd")) <= open_before


def test_a_port_that_is_missing_at_the_start_is_taken_once_it_is_there(
    pty_lines: PtyLines,
    collecting: StartCollecting,
    until: Until,
    caplog: pytest.LogCaptureFixture,
) -> None:
    line = pty_lines("usb-late", plugged=False)
    collector = collecting(stanza(line.path))
    until(lambda: "port can not be opened" in caplog.messages, "the missing port is told")
    record = next(r for r in caplog.records if r.message == "port can not be opened")
    assert "not plugged in" in record.__dict__["fields"]["error"]
    line.replug()
    speak(line, collector, until)
    assert caplog.messages.count("port can not be opened") == 1


HOLD = """
import serial, sys
port = serial.Serial(sys.argv[1], exclusive=True)
print("held", flush=True)
sys.stdin.read()
"""


def test_a_port_in_use_is_told_with_its_holder_and_taken_once_it_is_free(
    pty_line: PtyLine,
    collecting: StartCollecting,
    until: Until,
    caplog: pytest.LogCaptureFixture,
) -> None:
    command = [sys.executable, "-c", HOLD, str(pty_line.path)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"held\n"
        collector = collecting(stanza(pty_line.path))
        until(lambda: "port can not be opened" in caplog.messages, "the port in use is told")
        holder.communicate()  # closes its input, so that it ends
    record = next(r for r in caplog.records if r.message == "port can not be opened")
    fields = record.__dict__["fields"]
    assert fields["error"] == "The port is in use by another program."
    assert f"({holder.pid})" in fields["do"]
    speak(pty_line, collector, until)


def test_nobody_else_who_asks_for_it_alone_gets_the_port_while_we_read(
    pty_line: PtyLine, collecting: StartCollecting, until: Until
) -> None:
    collector = collecting(stanza(pty_line.path))
    speak(pty_line, collector, until)
    with pytest.raises(serial.SerialException, match="exclusively lock"):
        serial.Serial(str(pty_line.path), exclusive=True)


def test_a_polled_instrument_is_asked_again_and_again(
    pty_line: PtyLine, collecting: StartCollecting, until: Until
) -> None:
    collector = collecting(
        stanza(pty_line.path, 'mode = "polled"', 'poll = "P\\r\\n"', "poll_interval_s = 0.05")
    )
    for number in range(1, 6):
        assert pty_line.read(3) == b"P\r\n"
        pty_line.write(f"{number}.0 kg\r\n".encode())
    until(lambda: 5.0 in collector.values("north/scale"), "the answers are stored")
    answers = collector.values("north/scale")
    assert answers[-4:] == [2.0, 3.0, 4.0, 5.0]  # the first may have been a part line


def test_a_polled_instrument_that_does_not_answer_is_asked_on(
    pty_line: PtyLine, collecting: StartCollecting, until: Until
) -> None:
    collecting(
        stanza(pty_line.path, 'mode = "polled"', 'poll = "P\\r\\n"', "poll_interval_s = 0.05")
    )
    assert pty_line.read(9) == b"P\r\nP\r\nP\r\n"


def test_more_silent_ports_than_the_loop_has_threads_hold_up_nobody(
    pty_lines: PtyLines, collecting: StartCollecting, until: Until
) -> None:
    count = min(32, (os.cpu_count() or 1) + 4) + 2
    lines = [pty_lines(f"usb-{n}") for n in range(count)]
    text = "".join(stanza(line.path, series=f"pot-{n}/t") for n, line in enumerate(lines))
    collector = collecting(text)
    for n in (0, count - 1):
        speak(lines[n], collector, until, f"pot-{n}/t")


def test_stopping_releases_the_blocked_reads_of_all_ports(
    pty_lines: PtyLines, collecting: StartCollecting, until: Until
) -> None:
    lines = [pty_lines(f"usb-{n}") for n in range(3)]
    collector = collecting(
        "".join(stanza(line.path, series=f"pot-{n}/t") for n, line in enumerate(lines))
    )
    for n, line in enumerate(lines):
        speak(line, collector, until, f"pot-{n}/t")
    assert collector.stop() == 0
    names = [thread.name for thread in threading.enumerate()]
    assert not any(name == str(line.path) for name in names for line in lines)
    for line in lines:
        serial.Serial(str(line.path), exclusive=True).close()


def test_a_power_on_value_of_a_probe_is_marked_and_kept(
    pty_line: PtyLine, collecting: StartCollecting, until: Until
) -> None:
    text = stanza(pty_line.path, 'probe = "one-wire"', series="north/milk")
    collector = collecting(text.replace('"kg"', '"Cel"'))

    def heard() -> bool:
        pty_line.write(b"21.5 C\r\n")
        return 21.5 in collector.values("north/milk")

    until(heard, "a reading is stored")
    pty_line.write(b"85.0 C\r\n-127.0 C\r\n21.6 C\r\n")
    until(lambda: 21.6 in collector.values("north/milk"), "all are stored")
    milk = [r for r in collector.readings() if r.series == "north/milk"]
    assert [r.quality for r in milk[-3:]] == [Quality.SUSPECT, Quality.BAD, Quality.GOOD]
    assert "power-on" in milk[-3].reason
    assert milk[-2].value is None
    assert "not connected" in milk[-2].reason
