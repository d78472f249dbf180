"""Checks of instruments over the interface: drafts, history, what is due."""

from __future__ import annotations

from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.check_history import checks_due
from api.corrections import Corrections
from api.kitchen import Kitchen

ICE = {"kind": "ice", "indicated": {"value": 0.4, "unit": "degC"}}
DAY_MS = 86_400_000


def draft(client: TestClient, series: str, body: dict[str, Any]) -> dict[str, Any]:
    answer = client.post(f"/v1/instruments/{series}/checks/draft", json=body)
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json()
    return found


@pytest.fixture(autouse=True)
def instruments(senml: Any, clock: Any) -> None:
    """A probe and a scale that have spoken."""
    senml(
        {"n": "north/milk", "u": "Cel", "t": clock.ms / 1000.0, "v": 20.0},
        {"n": "north/scale", "u": "kg", "t": clock.ms / 1000.0, "v": 1.0},
    )


def test_a_draft_shows_every_number_and_records_nothing(client: TestClient) -> None:
    found = draft(client, "north/milk", ICE)

    lines = {one["name"]: one for one in found["arithmetic"]}
    assert lines["indication"]["value"] == pytest.approx(0.4)
    assert (lines["reference"]["value"], lines["reference"]["u"]) == (0.0, 0.05)
    assert lines["correction"]["value"] == pytest.approx(-0.4)
    assert lines["correction"]["unit"] == "K"
    assert lines["correction"]["u"] > 0.05
    assert found["before"]["offset"] == 0.0
    assert found["after"]["offset"] == pytest.approx(-0.4)
    assert found["after"]["u"] < found["before"]["u"]
    assert client.get("/v1/instruments/north/milk/checks").json()["checks"] == []


def test_a_draft_is_what_the_record_then_does(client: TestClient) -> None:
    promised = draft(client, "north/scale", {
        "kind": "weight", "indicated": {"value": 1.98, "unit": "kg"},
        "reference": {"value": 2.0, "unit": "kg"}})  # fmt: skip
    body = {
        "kind": "weight",
        "indicated": {"value": 1980, "unit": "g"},
        "reference": {"value": 2.0, "unit": "kg"},
    }
    client.post("/v1/instruments/north/scale/checks", json=body)

    [scale] = [
        one
        for one in client.get("/v1/instruments").json()["instruments"]
        if one["series"] == "north/scale"
    ]
    assert scale["correction"]["scale"] == pytest.approx(promised["after"]["scale"])
    lines = {one["name"]: one for one in promised["arithmetic"]}
    assert lines["factor"]["value"] == pytest.approx(2.0 / 1.98)


def test_a_draft_of_a_check_that_is_far_off_says_what_to_do(client: TestClient) -> None:
    far = {"kind": "ice", "indicated": {"value": 30, "unit": "degC"}}

    answer = client.post("/v1/instruments/north/milk/checks/draft", json=far)

    assert answer.status_code == 422
    assert "30.0 degC where 0.0 degC" in answer.json()["detail"]
    gone = client.post("/v1/instruments/north/milk/checks/draft", json={"withdraws": "x"})
    assert gone.status_code == 422


def test_a_draft_of_a_boiling_point_takes_the_pressure_of_the_day(client: TestClient) -> None:
    body = {"kind": "boil", "indicated": {"value": 98.6, "unit": "degC"},
            "pressure": {"value": 980, "unit": "hPa"}}  # fmt: skip

    lines = {one["name"]: one for one in draft(client, "north/milk", body)["arithmetic"]}

    # 99.042 degC: saturation at 980 hPa by the package iapws (IAPWS97(P=0.098, x=0)), computed.
    assert lines["reference"]["value"] == pytest.approx(99.042, abs=0.005)


def test_the_history_keeps_what_was_taken_back(client: TestClient) -> None:
    made = client.post("/v1/instruments/north/milk/checks", json=ICE).json()["id"]
    client.post("/v1/instruments/north/milk/checks", json={"withdraws": made, "why": "slush"})

    [shown] = client.get("/v1/instruments/north/milk/checks?history=true").json()["checks"]

    assert shown["id"] == made
    assert shown["gone"]["why"] == "slush"
    assert client.get("/v1/instruments/north/milk/checks").json()["checks"] == []


def test_a_check_is_due_until_it_is_made_and_again_when_it_is_old(
    client: TestClient, kitchen: Kitchen, clock: Any
) -> None:
    def due() -> dict[str, str]:
        lines = checks_due(kitchen, Corrections(kitchen.journal), "north/milk", "thermometer")
        return {one["kind"]: one["state"] for one in lines if one["due"]}

    assert due() == {"ice": "never", "boil": "never", "dip": "never"}
    client.post("/v1/instruments/north/milk/checks", json=ICE)
    assert due() == {"dip": "never"}
    clock.ms += 31 * DAY_MS
    assert due() == {"ice": "old", "boil": "never", "dip": "never"}
    every = {"series": "north/milk", "check_every": {"value": 90 * 24, "unit": "h"}}
    assert client.put("/v1/instruments", json=every).status_code == 200
    assert due() == {"dip": "never"}


def test_an_interval_of_nothing_is_refused(client: TestClient) -> None:
    body = {"series": "north/milk", "check_every": {"value": 0, "unit": "h"}}

    assert client.put("/v1/instruments", json=body).status_code == 422
