from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.errors import StoreError, StoreVersionError
from collector.readings import Quality, Reading, TimeSource, bad_reading
from collector.store.protocol import ClockStep
from collector.store.sqlite import SqliteStore

T0 = 1_790_000_000_000


@pytest.fixture
def store(tmp_path: Path) -> Iterator[SqliteStore]:
    opened = SqliteStore(tmp_path / "readings.sqlite3")
    yield opened
    opened.close()


def said(value: float, at_ms: int = T0, **more: object) -> Reading:
    fields: dict[str, object] = {
        "series": "fern/north/milk",
        "value": value,
        "unit": "Cel",
        "time_ms": at_ms,
        "time_source": TimeSource.INSTRUMENT,
        "arrival_ms": at_ms + 12,
    }
    return Reading(**{**fields, **more})  # type: ignore[arg-type]


def test_what_was_said_is_read_back_whole(store: SqliteStore) -> None:
    reading = said(81.9375, quality=Quality.SUSPECT, reason="not stable")

    done = store.append([reading])

    assert (done.stored, done.suspect, done.last_arrival) == (1, 1, 1)
    assert store.since(0, 10)[0].reading == reading
    assert store.series()[0].last == reading


def test_a_repeat_is_stored_once(store: SqliteStore) -> None:
    store.append([said(80.0), said(80.5, T0 + 1000)])

    done = store.append([said(80.0), said(81.0, T0 + 2000)])

    assert (done.stored, done.repeated) == (1, 1)
    assert store.stretch("fern/north/milk").value.tolist() == [80.0, 80.5, 81.0]


@pytest.mark.parametrize(
    ("unit", "coldest"),
    [("Cel", -273.15), ("K", 0.0), ("degF", -459.67)],  # SI brochure: absolute zero, exact
)
def test_what_is_colder_than_absolute_zero_is_kept_as_suspect(
    store: SqliteStore, unit: str, coldest: float
) -> None:
    done = store.append([said(coldest, unit=unit), said(coldest - 0.01, T0 + 1000, unit=unit)])

    assert (done.stored, done.suspect) == (2, 1)
    kept = [one.reading for one in store.since(0, 10)]
    assert [one.quality for one in kept] == [Quality.GOOD, Quality.SUSPECT]
    assert kept[1].value == coldest - 0.01 and kept[1].reason == "colder than absolute zero"


def test_another_value_at_the_same_time_is_kept_and_both_are_suspect(store: SqliteStore) -> None:
    store.append([said(80.0)])

    done = store.append([said(99.0)])
    again = store.append([said(99.0)])

    assert (done.conflicts, again.conflicts, again.repeated) == (1, 0, 1)
    stretch = store.stretch("fern/north/milk")
    assert stretch.value.tolist() == [80.0]
    assert stretch.quality.tolist() == [Quality.SUSPECT]
    other = store.conflicts("fern/north/milk", T0, T0 + 1)
    assert [(one.time_ms, one.value, one.unit) for one in other] == [(T0, 99.0, "Cel")]
    assert [a.reading.quality for a in store.since(1, 9)] == [Quality.SUSPECT]


def test_times_set_on_arrival_strictly_increase(store: SqliteStore) -> None:
    stamped = [said(v, T0, time_source=TimeSource.ARRIVAL) for v in (1.0, 1.0, 2.0)]
    earlier = said(3.0, T0 - 5000, time_source=TimeSource.ARRIVAL)

    store.append(stamped)
    store.append([earlier])

    assert store.stretch("fern/north/milk").time_ms.tolist() == [T0, T0 + 1, T0 + 2, T0 + 3]


def test_a_reading_of_the_future_does_not_drag_arrival_times_along(store: SqliteStore) -> None:
    store.append([said(1.0, T0 + 10**9)])

    store.append([said(2.0, T0, time_source=TimeSource.ARRIVAL)])

    assert store.stretch("fern/north/milk").time_ms.tolist() == [T0, T0 + 10**9]


def test_a_redelivery_without_time_or_number_is_a_possible_repeat(store: SqliteStore) -> None:
    store.append([said(80.0, time_source=TimeSource.ARRIVAL)])

    done = store.append([said(80.0, time_source=TimeSource.ARRIVAL, redelivered=True)])

    assert (done.stored, done.suspect) == (1, 1)
    assert store.since(1, 9)[0].reading.reason == "possible repeat"


def test_a_running_number_recognises_a_repeat_that_carries_no_time(store: SqliteStore) -> None:
    first = said(80.0, time_source=TimeSource.ARRIVAL, boot="b1", sequence=7)
    store.append([first])

    done = store.append(
        [
            said(80.0, T0 + 900, time_source=TimeSource.ARRIVAL, boot="b1", sequence=7),
            said(80.0, T0 + 950, time_source=TimeSource.ARRIVAL, boot="b2", sequence=7),
        ]
    )

    assert (done.stored, done.repeated) == (1, 1)


def test_a_count_without_a_boot_id_proves_no_repeat(store: SqliteStore) -> None:
    first = said(80.0, time_source=TimeSource.ARRIVAL, sequence=1)
    store.append([first])

    done = store.append([said(80.0, T0 + 5000, time_source=TimeSource.ARRIVAL, sequence=1)])

    assert (done.stored, done.repeated) == (1, 0)


def test_what_can_not_be_kept_at_all_leaves_the_store_usable(store: SqliteStore) -> None:
    with pytest.raises(OverflowError):
        store.append([said(1.0), said(2.0, 2**70)])

    assert store.append([said(3.0)]).stored == 1
    assert len(store.stretch("fern/north/milk").time_ms) == 1


def test_a_frame_that_cannot_be_read_is_kept(store: SqliteStore) -> None:
    store.append([bad_reading("ttyS9", "no number", b"\xff" * 300, T0)])

    kept = store.since(0, 1)[0].reading

    assert kept.value is None
    assert kept.frame == b"\xff" * 256
    assert kept.reason == "no number"


def test_a_flood_of_bad_frames_is_stored_once_a_second_with_a_count(store: SqliteStore) -> None:
    flood = [bad_reading("ttyS9", "no number", b"?", T0 + i) for i in range(1500)]

    done = store.append(flood)

    assert (done.stored, done.bad) == (2, 1500)
    assert store.frame_count("ttyS9") == 1500


def test_the_first_value_after_bad_frames_names_the_unit(store: SqliteStore) -> None:
    store.append([bad_reading("fern/north/milk", "no number", b"?", T0)])
    store.append([said(80.0, T0 + 1)])

    assert store.stretch("fern/north/milk").unit == "Cel"


def test_a_value_in_another_unit_is_kept_as_said_and_shown_as_suspect(store: SqliteStore) -> None:
    store.append([said(80.0), said(353.15, T0 + 1000, unit="K")])

    stretch = store.stretch("fern/north/milk")

    assert stretch.quality.tolist() == [Quality.GOOD, Quality.SUSPECT]
    assert stretch.reasons == {1: "said in K, not in Cel"}
    assert store.since(1, 1)[0].reading.unit == "K"


def test_late_readings_come_in_the_order_of_arrival(store: SqliteStore) -> None:
    store.append([said(80.0, T0 + 5000)])
    store.append([said(79.0, T0)])

    assert [a.reading.value for a in store.since(0, 9)] == [80.0, 79.0]
    assert store.stretch("fern/north/milk").value.tolist() == [79.0, 80.0]


def test_arrivals_are_trimmed_only_below_every_cursor(store: SqliteStore) -> None:
    store.append([said(float(i), T0 + i) for i in range(10)])
    store.set_cursor("watch", 4)

    dropped = store.trim_arrivals(keep=2)

    assert dropped == 4
    assert [a.arrival for a in store.since(0, 99)] == [5, 6, 7, 8, 9, 10]
    assert store.append([said(1.0, T0 + 99)]).last_arrival == 11
    assert len(store.stretch("fern/north/milk").time_ms) == 11


def test_clock_steps_are_kept(store: SqliteStore) -> None:
    step = ClockStep("boot", "run", T0, 3_600_000)

    store.record_clock_step(step)

    assert store.clock_steps() == [step]


def test_a_file_of_a_newer_version_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "readings.sqlite3"
    SqliteStore(path).close()
    with sqlite3.connect(path) as raw:
        raw.execute("PRAGMA user_version=99")
    raw.close()

    with pytest.raises(StoreVersionError, match=r"layout 99.*newer program"):
        SqliteStore(path)


def test_a_folder_that_is_not_there_is_said_with_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="--data"):
        SqliteStore(tmp_path / "no" / "readings.sqlite3")


def test_a_file_that_is_no_database_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "readings.sqlite3"
    path.write_bytes(b"shopping list\n" * 100)

    with pytest.raises(StoreError, match="readings file"):
        SqliteStore(path)


def test_two_writers_take_turns_and_lose_nothing(tmp_path: Path) -> None:
    stores = [SqliteStore(tmp_path / "readings.sqlite3") for _ in range(2)]

    def write(index: int) -> None:
        for i in range(50):
            stores[index].append([said(float(i), T0 + 2 * i + index)])

    threads = [threading.Thread(target=write, args=(i,)) for i in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert len(stores[0].stretch("fern/north/milk").time_ms) == 100
    assert stores[1].last_arrival() == 100
    for opened in stores:
        opened.close()


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 20), st.floats(-50, 150, allow_nan=False)),
        min_size=1,
        max_size=40,
    )
)
def test_nothing_is_lost_and_nothing_doubled(
    tmp_path_factory: pytest.TempPathFactory, pairs: list[tuple[int, float]]
) -> None:
    store = SqliteStore(tmp_path_factory.mktemp("s") / "readings.sqlite3")
    half = len(pairs) // 2
    for part in (pairs[:half], pairs[half:], pairs):
        store.append([said(value, T0 + at) for at, value in part])

    kept = {
        (int(t), v)
        for t, v in zip(
            store.stretch("fern/north/milk").time_ms,
            store.stretch("fern/north/milk").value.tolist(),
            strict=True,
        )
    } | {(one.time_ms, one.value) for one in store.conflicts("fern/north/milk", T0, T0 + 99)}
    store.close()

    assert {(t, v) for t, v in kept} == {(T0 + at, value) for at, value in pairs}
