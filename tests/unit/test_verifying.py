"""What `verify` tells of a data folder that was changed behind the program's back."""

from __future__ import annotations

import shutil
import sqlite3
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.closing import seal_what_was_left
from api.kitchen import Kitchen, open_kitchen
from api.verifying import verify_folder
from collector.errors import StoreError
from collector.store.protocol import ClockStep

NOW_S = 1_772_439_300  # 2026-03-02T08:15:00Z
START = "2026-03-02T08:00:00Z"


def faults_of(folder: Path) -> list[str]:
    return verify_folder(folder, say=lambda line: None)


def told_by(folder: Path) -> str:
    return "\n".join(faults_of(folder))


@pytest.fixture
def batch(client: TestClient, kitchen: Kitchen, senml: Any, clock: Any) -> str:
    """A closed batch with a probe, a conflict, a reading in kelvin and a clock step."""
    kitchen.readings.record_clock_step(ClockStep("boot", "run", 1_000_000_000_000, 0))
    senml(*({"n": "n/milk", "u": "Cel", "bt": NOW_S - 600 + i, "v": 80 + i / 8} for i in range(40)))
    senml({"n": "n/milk", "u": "Cel", "bt": NOW_S - 590, "v": 99})
    senml({"n": "n/milk", "u": "K", "bt": NOW_S - 500.5, "v": 350})
    clock.ms += 10_000
    answer = client.post(
        "/v1/batches", json={"name": "North", "started_at": START, "thermometer": "n/milk"}
    )
    made = str(answer.json()["id"])
    for kind in ("heat", "end"):
        assert client.post(f"/v1/batches/{made}/events", json={"kind": kind}).status_code == 201
    return made


@pytest.fixture
def folder(kitchen: Kitchen, batch: str, tmp_path: Path) -> Path:
    """A copy of the closed batch's folder."""
    copy = tmp_path / "copy"
    kitchen.readings.close()
    kitchen.journal.engine.dispose()
    shutil.copytree(kitchen.data_dir, copy)
    return copy


def change(folder: Path, file: str, *statements: str) -> None:
    with sqlite3.connect(folder / file) as connection:
        for statement in statements:
            connection.execute(statement)
    connection.close()


def test_a_folder_that_nobody_touched_is_clean(folder: Path) -> None:
    assert faults_of(folder) == []


RECORDS = [
    ("UPDATE entry SET text = '{' WHERE kind = 'event'", "its text can't be read"),
    ("UPDATE entry SET hash = 'zz' WHERE kind = 'event'", "the text or one before it"),
    ("DELETE FROM entry WHERE kind = 'revision'", "records were sealed, some are missing"),
    ("DELETE FROM entry WHERE kind = 'seal'", "closed without a seal"),
    ("DELETE FROM entry WHERE kind = 'seal'", "1 of 5 records are missing"),
    ("DELETE FROM entry WHERE chain != 'kitchen'", "it is listed, and has no records"),
    ("UPDATE entry SET number = 100 - number", "running number"),
    ("DELETE FROM batch", "missing from the list of batches"),
    ("UPDATE batch SET state = 'running'", "the list says state 'running'"),
    ("UPDATE batch SET name = 'South'", "the list says name 'South'"),
    ("UPDATE batch SET started_at = '2020-01-01T00:00:00.000Z'", "the list says started_at"),
    ("UPDATE batch SET words = ''", "the list says words"),
    ("UPDATE batch SET id = 'other'", "it is listed, and has no records"),
]


@pytest.mark.parametrize(("statement", "told"), RECORDS)
def test_a_change_of_the_records_is_told(folder: Path, statement: str, told: str) -> None:
    change(folder, "records.sqlite3", statement)

    assert told in told_by(folder)


READINGS = [
    ("UPDATE reading SET value = value + 0.001 WHERE value = 80", "was changed"),
    ("UPDATE reading SET value = NULL WHERE value = 80", "was changed"),
    ("UPDATE reading SET value = 'x' WHERE value = 80", "was changed"),
    ("UPDATE reading SET flags = 2 WHERE value = 80", "was changed"),
    ("UPDATE reading SET flags = 4 WHERE value = 80", "was changed"),
    ("UPDATE reading SET flags = 3 WHERE value = 80", "can't be checked"),
    ("UPDATE reading SET lag_ms = lag_ms + 9999999 WHERE value = 80", "was changed"),
    ("UPDATE reading SET reason = 1 WHERE value = 80", "reading"),
    ("UPDATE reading SET unit = NULL WHERE value = 350", "was changed"),
    ("UPDATE series SET unit = 'K'", "was changed"),
    ("UPDATE word SET text = 'Cel' WHERE text = 'K'", "was changed"),
    ("UPDATE series SET name = 'n/other'", "sealed readings are missing"),
    ("DELETE FROM reading WHERE value = 80", "1 sealed readings are missing"),
    ("DELETE FROM conflict", "in conflict with another was changed"),
    ("UPDATE conflict SET value = 98", "in conflict with another was changed"),
    ("UPDATE conflict SET time_ms = time_ms + 1", "in conflict with another was changed"),
    ("UPDATE reading SET flags = 0, reason = NULL WHERE flags = 1", "marked as good"),
    ("UPDATE clock_step SET step_ms = 60000", "steps of the clock were changed"),
    ("DELETE FROM clock_step", "steps of the clock were changed"),
    (
        "INSERT INTO reading SELECT series, time_ms + 500, 20, lag_ms - 500, 0, NULL, NULL "
        "FROM reading WHERE value = 80",
        "one was put among them",
    ),
    ("DROP TABLE reading", "can't be checked"),
]


@pytest.mark.parametrize(("statement", "told"), READINGS)
def test_a_change_of_sealed_readings_is_told(folder: Path, statement: str, told: str) -> None:
    change(folder, "readings.sqlite3", statement)

    assert told in told_by(folder)


def test_a_damaged_page_is_told(folder: Path) -> None:
    change(folder, "readings.sqlite3", "PRAGMA wal_checkpoint(TRUNCATE)")
    path = folder / "readings.sqlite3"
    kept = bytearray(path.read_bytes())
    kept[4096:8192] = bytes(4096)
    path.write_bytes(bytes(kept))

    assert "readings file: it can't be checked" in told_by(folder)


def test_an_empty_records_file_is_not_called_clean(folder: Path) -> None:
    for path in folder.glob("records.sqlite3*"):
        path.unlink()
    (folder / "records.sqlite3").touch()

    with pytest.raises(StoreError, match="no records here"):
        faults_of(folder)


def test_what_comes_after_the_seal_is_no_fault_and_asks_for_a_new_revision(
    client: TestClient, kitchen: Kitchen, batch: str, senml: Any, clock: Any
) -> None:
    clock.ms += 60_000
    senml({"n": "n/milk", "u": "Cel", "bt": NOW_S - 580.5, "v": 79})  # late
    senml({"n": "n/milk", "u": "Cel", "bt": NOW_S - 600, "v": 42})  # in conflict with a sealed one
    lines: list[str] = []

    faults = verify_folder(kitchen.data_dir, say=lines.append)
    revision = client.get(f"/v1/batches/{batch}/analysis").json()["revision"]

    assert faults == []
    assert "1 readings came into their spans later" in "\n".join(lines)
    assert revision["issued"] == 1
    assert revision["current"] is False


def test_a_reading_that_had_arrived_but_was_committed_after_the_seal_is_no_fault(
    client: TestClient, kitchen: Kitchen, batch: str, clock: Any, senml: Any
) -> None:
    clock.ms -= 5_000  # it came 5 s before the seal, and its commit had to wait

    senml({"n": "n/milk", "u": "Cel", "bt": NOW_S - 580.5, "v": 79})

    assert faults_of(kitchen.data_dir) == []


def test_a_batch_that_was_ended_just_before_a_kill_is_sealed_at_the_next_start(
    client: TestClient, kitchen: Kitchen, batch: str
) -> None:
    with kitchen.journal.engine.begin() as connection:
        connection.exec_driver_sql("DELETE FROM entry WHERE kind IN ('seal', 'revision')")
        connection.exec_driver_sql(
            "UPDATE sqlite_sequence SET seq = (SELECT max(number) FROM entry) WHERE name = 'entry'"
        )
    again = open_kitchen(kitchen.data_dir, now_ms=kitchen.now_ms)
    assert "closed without a seal" in told_by(kitchen.data_dir)

    sealed = [seal_what_was_left(again), seal_what_was_left(again)]
    again.close()

    assert sealed == [1, 0]
    assert faults_of(kitchen.data_dir) == []


def test_an_end_sent_again_seals_what_its_first_answer_did_not(
    client: TestClient, kitchen: Kitchen, batch: str
) -> None:
    other = client.post("/v1/batches", json={"name": "South", "started_at": START}).json()["id"]
    kitchen.journal.record(
        other, "event", {"kind": "end", "said": {"kind": "end"}}, record_id=f"{other[:-1]}0"
    )
    body = {"id": f"{other[:-1]}0", "kind": "end"}

    answer = client.post(f"/v1/batches/{other}/events", json=body)

    assert answer.status_code == 200
    assert faults_of(kitchen.data_dir) == []


def test_an_end_that_is_taken_back_and_given_again_is_sealed_anew(
    client: TestClient, kitchen: Kitchen, batch: str
) -> None:
    end = client.get(f"/v1/batches/{batch}/events").json()["events"][-1]["id"]
    client.post(f"/v1/batches/{batch}/events", json={"withdraws": end})
    client.post(f"/v1/batches/{batch}/events", json={"kind": "end"})

    revision = client.get(f"/v1/batches/{batch}/analysis").json()["revision"]

    assert revision["issued"] == 2
    assert revision["current"] is True
    assert faults_of(kitchen.data_dir) == []
