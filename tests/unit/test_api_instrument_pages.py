"""The routes of Compare and Instruments: what they answer, and to what is wrong."""

from __future__ import annotations

from typing import Any

from fastapi.testclient import TestClient

from api.compare_data import Address, compare
from api.instrument_data import instruments_page
from api.kitchen import Kitchen


def test_an_instrument_has_its_health_its_place_and_its_corrected_value(
    client: TestClient, kitchen: Kitchen, senml: Any, clock: Any
) -> None:
    now_s = clock.ms / 1000.0
    senml(
        *(
            {"n": "north/milk", "u": "Cel", "t": now_s - 600.0 + s, "v": 50.0}
            for s in (*range(0, 200), *range(400, 600))
        ),
        {"n": "north/milk", "u": "kg", "t": now_s - 0.5, "v": 3.0},
    )
    body = {"name": "Monday", "pot": "North", "thermometer": "north/milk"}
    batch = client.post("/v1/batches", json=body).json()["id"]
    ice = {"kind": "ice", "indicated": {"value": 0.5, "unit": "degC"},
           "valid_from": "2026-01-01T00:00:00Z"}  # fmt: skip
    client.post("/v1/instruments/north/milk/checks", json=ice)

    [one] = instruments_page(kitchen, "elsewhere")["instruments"]

    assert one["health"]["readings"] == 401
    assert (one["health"]["gaps"], one["health"]["longest_gap_s"]) == (1, 201.0)
    assert one["health"]["usual_interval_s"] == 1.0
    assert one["health"]["suspect_fraction"] == 1 / 401
    assert one["health"]["reasons"] == [{"reason": "said in kg, not in Cel", "count": 1}]
    assert one["corrected"] is None
    assert one["correction"]["offset"] == -0.5
    [bound] = one["bound"]
    assert (bound["batch"], bound["place"], bound["pot"]) == (batch, "milk", "North")
    assert [line["kind"] for line in one["due"] if line["due"]] == ["dip"]


def test_the_pages_are_there_and_a_wrong_instrument_is_told(
    client: TestClient, senml: Any, clock: Any
) -> None:
    senml({"n": "room", "u": "%RH", "t": clock.ms / 1000.0, "v": 40.0})

    assert client.get("/instruments").status_code == 200
    assert client.get("/compare").status_code == 200
    missing = client.get("/instruments/check?series=nothing")
    other = client.get("/instruments/check?series=room")
    assert missing.status_code == other.status_code == 404
    assert "has never said anything" in missing.text
    assert "has no check that is known here" in other.text
    assert client.get("/compare/picture.svg").status_code == 404


def test_an_address_with_faults_is_told_fault_by_fault(
    client: TestClient, kitchen: Kitchen
) -> None:
    made = [client.post("/v1/batches", json={"name": f"b{i}"}).json()["id"] for i in range(9)]
    wrong = Address(batches=[*made, "gone"], align="colour", temperature="900", begin="5", end="2")

    found = compare(kitchen, wrong)

    assert len(found["address"]["batch"]) == 8
    assert found["address"]["align"] == "time"
    assert found["span"] == [None, None]
    said = " ".join(found["faults"])
    for words in ("no batch “gone”", "9 batches are too many", "“colour”",
                  "900 is no temperature of a pot", "can't end at 2"):  # fmt: skip
        assert words in said
