"""Files played again, with time in the test's hand."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from collector.errors import FrameError
from collector.instruments.protocol import Delivery
from collector.instruments.replay import ReplayFile, ReplayInstrument, readings_of
from collector.readings import Quality, Reading, TimeSource

NOW_MS = 1_800_000_000_000


class StillClock:
    """A clock that stands still."""

    def now_ms(self) -> int:
        """Return the same time always."""
        return NOW_MS


def csv_file(folder: Path, text: str) -> Path:
    path = folder / "week.csv"
    path.write_text(text)
    return path


def played(file: ReplayFile) -> tuple[list[list[Reading]], list[float]]:
    """Play a file, committing at once; return the deliveries and the pauses that were made."""
    pauses: list[float] = []
    now_s = 0.0

    async def pause(seconds: float) -> None:
        nonlocal now_s
        now_s += seconds
        if seconds:
            pauses.append(seconds)

    async def main() -> list[list[Reading]]:
        instrument = ReplayInstrument(file, StillClock(), pause=pause, steady_s=lambda: now_s)
        found: list[Delivery] = []
        async for delivery in instrument.deliveries():
            found.append(delivery)
            instrument.committed([delivery.receipt])
        return [list(each.readings) for each in found]

    return asyncio.run(main()), pauses


def test_rows_become_readings_with_their_own_times(tmp_path: Path) -> None:
    path = csv_file(
        tmp_path,
        "time,series,value,unit,quality,reason\n"
        "2026-03-01T09:00:00Z,north/milk,81.5,Cel,,\n"
        "2026-03-01T10:00:01+01:00,north/milk,81.6,°C,suspect,not stable\n"
        "2026-03-01T09:00:02Z,north/milk,,Cel,bad,probe not connected\n",
    )
    first, second, third = readings_of(ReplayFile(path), StillClock())
    assert first == Reading(
        "north/milk", 81.5, "Cel", 1_772_355_600_000, TimeSource.INSTRUMENT, NOW_MS
    )
    assert (second.time_ms, second.unit) == (1_772_355_601_000, "Cel")
    assert (second.quality, second.reason) == (Quality.SUSPECT, "not stable")
    assert (third.value, third.quality) == (None, Quality.BAD)


def test_a_file_is_played_at_the_pace_of_its_times(tmp_path: Path) -> None:
    path = csv_file(tmp_path, "time_ms,value\n1000,1\n2000,2\n2000,3\n6000,4\n")
    deliveries, pauses = played(ReplayFile(path, series="a", speed=2.0))
    assert [[reading.value for reading in each] for each in deliveries] == [[1], [2, 3], [4]]
    assert pauses == [0.5, 2.0]


def test_a_row_that_cannot_be_read_is_a_bad_reading_with_its_line_and_the_rest_goes_on(
    tmp_path: Path,
) -> None:
    path = csv_file(
        tmp_path,
        "time_ms,value,quality\n1000,1,\n2000,two,\n9e9,3,\n4000,4,fine\n5000,,\n6000,6,\n7000\n",
    )
    readings = list(readings_of(ReplayFile(path, series="a"), StillClock()))
    assert [reading.value for reading in readings] == [1, None, None, None, None, 6, None]
    assert readings[1].quality is Quality.BAD
    assert readings[1].reason.startswith("line 3: 'two' is not a number")
    assert readings[1].frame == b"2000,two,"
    assert readings[3].reason.startswith("line 5: the quality 'fine' is not known")
    assert readings[4].reason == "line 6: no value"


def test_a_time_beyond_all_calendars_is_a_bad_reading(tmp_path: Path) -> None:
    path = csv_file(tmp_path, f"time_ms,value\n{10**30},1\n")
    (bad,) = readings_of(ReplayFile(path, series="a"), StillClock())
    assert bad.reason == f"line 2: the time {10**30} ms is outside the years 1970 to 9999"


def test_a_file_without_a_header_is_refused_with_what_is_wanted(tmp_path: Path) -> None:
    path = csv_file(tmp_path, "2026-03-01T09:00:00Z,81.5\n")
    with pytest.raises(FrameError, match=r"It must name the columns: time or time_ms, value"):
        list(readings_of(ReplayFile(path), StillClock()))


def test_a_senml_pack_is_played_in_the_order_of_time(tmp_path: Path) -> None:
    path = tmp_path / "pack.json"
    path.write_text(
        '[{"bn":"north/","bt":1772355600,"bu":"Cel"},'
        '{"n":"milk","v":82,"t":5},{"n":"milk","v":81,"t":0}]'
    )
    deliveries, pauses = played(ReplayFile(path, speed=10.0))
    assert [each[0].value for each in deliveries] == [81, 82]
    assert deliveries[1][0].time_ms == 1_772_355_605_000
    assert pauses == [pytest.approx(0.5)]


def test_playing_waits_for_the_store_and_loses_nothing(tmp_path: Path) -> None:
    rows = "".join(f"0,{n}\n" for n in range(20_000))
    path = csv_file(tmp_path, f"time_ms,value\n{rows}")

    async def main() -> tuple[int, int]:
        instrument = ReplayInstrument(ReplayFile(path, series="a"), StillClock())
        receipts: list[object] = []
        counts: list[int] = []

        async def take() -> None:
            async for delivery in instrument.deliveries():
                receipts.append(delivery.receipt)
                counts.append(len(delivery.readings))

        task = asyncio.create_task(take())
        most = 0
        while not task.done():
            await asyncio.sleep(0)
            most = max(most, len(receipts))
            instrument.committed(receipts[:1])
            del receipts[:1]
        return most, sum(counts)

    most, total = asyncio.run(main())
    assert total == 20_000
    assert most <= 8
