"""The record of a batch through the interface and through the command."""

from __future__ import annotations

import csv
import io
import json
from typing import Any

import pytest
from click.testing import CliRunner

from api.batch_record import find_batch
from api.cli import cli
from api.kitchen import Kitchen
from collector.errors import RecordConflictError, StoreError, UnknownRecordError


@pytest.fixture
def batch(site: Any, senml: Any) -> str:
    senml(*({"n": "small/milk", "u": "Cel", "t": 1772431200 + i, "v": 20 + i} for i in range(9)))
    series = {"thermometer": "small/milk"}
    made = str(site.make(name="Small, Monday", coagulant={"name": "gypsum"}, **series))
    site.weigh(made)
    site.post(f"/v1/batches/{made}/events", kind="boil", at="2026-03-02T06:30:00Z", who="ana")
    wrong = site.post(f"/v1/batches/{made}/events", kind="ladle", at="2026-03-02T06:31:00Z")
    site.post(f"/v1/batches/{made}/events", withdraws=wrong["id"], why="wrong key")
    return made


def test_the_record_tells_who_when_with_what_and_what_came_of_it(site: Any, batch: str) -> None:
    found = site.client.get(f"/v1/batches/{batch}/record.json").json()

    assert found["batch"]["name"] == "Small, Monday"
    assert [e["who"] for e in found["batch"]["events"]] == ["ana"]
    assert found["gone"][0]["gone"] == "withdrawn: wrong key"
    (milk,) = found["instruments"]
    assert milk["readings"]["count"] == 9
    assert len(milk["readings"]["sha256"]) == 64
    assert milk["correction"]["method"]
    assert found["analysis"]["yield"]["value"] == pytest.approx(3.1, abs=0.05)
    assert found["program"]["name"] == "curdwright"
    assert {c["about"] for c in found["batch"]["cautions"]} >= {"soybean", "every batch"}


def test_json_or_csv_by_suffix_and_by_accept(site: Any, batch: str) -> None:
    path = f"/v1/batches/{batch}/record"
    as_csv = site.client.get(f"{path}.csv")
    asked = site.client.get(path, headers={"Accept": "text/csv"})

    assert as_csv.headers["content-type"].startswith("text/csv")
    assert asked.text == as_csv.text
    rows = list(csv.DictReader(io.StringIO(as_csv.text)))
    assert {"batch", "event", "weighing", "yield", "caution"} <= {row["section"] for row in rows}
    assert site.client.get(path).json()["batch"]["id"] == batch
    assert site.client.get("/v1/batches/nothing/record.json").status_code == 404


def test_the_command_prints_text_json_and_csv(site: Any, kitchen: Kitchen, batch: str) -> None:
    data = ["--data", str(kitchen.data_dir)]
    run = CliRunner().invoke

    text = run(cli, ["record", batch[:8], *data])
    as_json = run(cli, ["record", "small, monday", "--json", *data])
    as_csv = run(cli, ["record", "last", "--csv", *data])

    assert text.exit_code == 0, text.output
    assert "Record of Small, Monday" in text.output
    assert "Cautions" in text.output
    assert json.loads(as_json.output)["batch"]["id"] == batch
    assert next(csv.reader(io.StringIO(as_csv.output)))[0] == "section"
    fahrenheit = run(cli, ["record", batch, "--fahrenheit", *data])
    assert "°F" in fahrenheit.output
    assert "°C" not in fahrenheit.output.split("Cautions")[0].split("Heat treatment")[0]


def test_a_batch_is_found_by_its_id_its_beginning_its_name_or_as_the_last(
    site: Any, kitchen: Kitchen, batch: str
) -> None:
    other = site.make(name="Small, Tuesday", started_at="2026-03-02T07:00:00Z")

    assert find_batch(kitchen, batch) == batch
    assert find_batch(kitchen, batch[:6]) == batch
    assert find_batch(kitchen, "SMALL, MONDAY") == batch
    assert find_batch(kitchen, "last") == other
    site.make(name="Small, Monday")
    with pytest.raises(RecordConflictError, match="2 batches are called"):
        find_batch(kitchen, "Small, Monday")
    with pytest.raises(UnknownRecordError, match="no batch 'zzz'"):
        find_batch(kitchen, "zzz")


def test_a_folder_that_is_not_there_is_not_made(tmp_path: Any) -> None:
    result = CliRunner().invoke(cli, ["record", "last", "--data", str(tmp_path / "none")])

    assert isinstance(result.exception, StoreError)
    assert not (tmp_path / "none").exists()
