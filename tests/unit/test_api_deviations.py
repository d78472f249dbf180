"""Deviations of a batch with what was done about them, and who reviewed its record."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.kitchen import Kitchen
from api.verifying import verify

RECIPE = {
    "name": "Soybean, gypsum",
    "ingredients": [{"name": "soybean"}],
    "steps": [
        {"kind": "boil", "hold": {
            "name": "boil", "low": {"value": 96, "unit": "degC"}, "basis": "safety",
            "least": {"value": 10, "unit": "min"}, "starts": "boil", "ends": "addition"}},
        {"kind": "addition"},
    ],
}  # fmt: skip


@pytest.fixture
def path(client: TestClient, senml: Any) -> str:
    """A batch whose boil was kept for one minute only, told in time."""
    recipe = client.post("/v1/recipes", json=RECIPE).json()
    start_s = 1_772_438_700  # 2026-03-02T08:05:00Z
    senml(*({"n": "north/milk", "u": "Cel", "t": start_s + i, "v": 98.0 if i < 60 else 80.0}
            for i in range(300)))  # fmt: skip
    made = client.post(
        "/v1/batches",
        json={"name": "North", "recipe": recipe["id"], "thermometer": "north/milk",
              "started_at": "2026-03-02T08:05:00Z"},
    ).json()  # fmt: skip
    where = f"/v1/batches/{made['id']}"
    for kind, at in (("boil", "2026-03-02T08:05:01Z"), ("addition", "2026-03-02T08:09:30Z")):
        assert client.post(f"{where}/events", json={"kind": kind, "at": at}).status_code == 201
    return where


def found(client: TestClient, path: str) -> dict[str, Any]:
    said: dict[str, Any] = client.get(f"{path}/deviations").json()
    return said


def test_a_hold_that_was_not_met_is_a_deviation_that_takes_an_action(
    client: TestClient, path: str
) -> None:
    [hold] = found(client, path)["deviations"]
    assert (hold["about"], hold["kind"]) == ("hold:boil", "hold")
    assert "not met" in hold["text"]
    body = {"about": "hold:boil", "action": "boiled again for 10 min", "who": "ana"}
    assert client.post(f"{path}/deviations", json=body).status_code == 201

    [hold] = found(client, path)["deviations"]

    assert [(a["action"], a["who"]) for a in hold["actions"]] == [
        ("boiled again for 10 min", "ana")
    ]


def test_a_late_mark_is_told_and_one_in_time_is_not(client: TestClient, path: str) -> None:
    assert all(one["about"] != "late" for one in found(client, path)["deviations"])
    client.post(f"{path}/events", json={"kind": "note", "at": "2026-03-02T07:45:00Z"})

    [late] = [one for one in found(client, path)["deviations"] if one["about"] == "late"]

    assert late["text"].startswith("1 mark was recorded more than 10 min after the event, the")
    assert "30 min" in late["text"]


def test_what_only_the_maker_knows_is_noted_replaced_and_taken_back(
    client: TestClient, path: str
) -> None:
    noted = client.post(f"{path}/deviations", json={"text": "the cloth tore"}).json()
    body = {"text": "the cloth tore twice", "action": "strained anew", "replaces": noted["id"]}
    better = client.post(f"{path}/deviations", json=body).json()
    own = [one for one in found(client, path)["deviations"] if one["kind"] == "noted"]
    assert [one["text"] for one in own] == ["the cloth tore twice"]
    client.post(f"{path}/deviations", json={"withdraws": better["id"]})

    own = [one for one in found(client, path)["deviations"] if one["kind"] == "noted"]
    assert [one["text"] for one in own] == ["the cloth tore"]  # what it replaced stands again
    client.post(f"{path}/deviations", json={"withdraws": noted["id"]})
    assert all(one["kind"] != "noted" for one in found(client, path)["deviations"])


def test_a_review_says_who_and_when_and_whether_something_came_later(
    client: TestClient, path: str
) -> None:
    client.post(f"{path}/reviews", json={"who": "ben", "text": "all well"})
    [review] = found(client, path)["reviews"]
    assert (review["who"], review["at"], review["saw_all"]) == (
        "ben", "2026-03-02T08:15:00.000Z", True,
    )  # fmt: skip
    client.post(f"{path}/events", json={"kind": "note", "note": "late thought"})

    [review] = found(client, path)["reviews"]

    assert not review["saw_all"]


@pytest.mark.parametrize(
    ("list_", "body"),
    [
        ("deviations", {}),
        ("deviations", {"about": "hold:boil"}),
        ("deviations", {"action": "x"}),
        ("reviews", {}),
        ("reviews", {"who": "  "}),
    ],
)
def test_what_says_too_little_is_refused(
    client: TestClient, path: str, list_: str, body: dict[str, str]
) -> None:
    answer = client.post(f"{path}/{list_}", json=body)

    assert answer.status_code == 422
    assert answer.json()["do"]


def test_both_stand_in_record_csv_and_chain_and_leave_a_closed_batch_verified(
    client: TestClient, kitchen: Kitchen, path: str
) -> None:
    client.post(f"{path}/events", json={"kind": "end"})
    client.post(f"{path}/deviations", json={"about": "hold:boil", "action": "thrown away"})
    client.post(f"{path}/reviews", json={"who": "ben"})

    record = client.get(f"{path}/record.json").json()
    rows = list(csv.DictReader(io.StringIO(client.get(f"{path}/record.csv").text)))

    assert record["deviations"][0]["actions"][0]["action"] == "thrown away"
    assert record["reviews"][0]["who"] == "ben"
    assert record["analysis"]["revision"]["current"]
    said = {(row["section"], row["text"], row["who"]) for row in rows}
    assert ("corrective action", "thrown away", "") in said
    assert ("review", "", "ben") in said
    assert verify(kitchen, say=lambda _: None) == []


def test_the_page_shows_them_and_offers_the_forms(client: TestClient, path: str) -> None:
    client.post(f"{path}/deviations", json={"about": "hold:boil", "action": "boiled again"})
    client.post(f"{path}/reviews", json={"who": "ben"})
    page = client.get(path.removeprefix("/v1"), headers={"Accept": "text/html"}).text

    assert "ben, Mon 2 March 2026, 08:15" in page
    assert "Done: boiled again" in page
    assert 'data-action-about="hold:boil"' in page
    assert 'id="review-form"' in page
