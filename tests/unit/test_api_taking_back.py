"""Records that are replaced, taken back, repeated or written by many at once."""

from __future__ import annotations

import threading
import uuid
from typing import Any

from fastapi.testclient import TestClient
from sqlalchemy import text

from api.kitchen import Kitchen

START = "2026-03-02T08:00:00Z"


def made(client: TestClient, **more: Any) -> str:
    answer = client.post(
        "/v1/batches", json={"name": "North", "started_at": START, "thermometer": "n/milk", **more}
    )
    assert answer.status_code == 201, answer.text
    return str(answer.json()["id"])


def post(client: TestClient, batch: str, what: str, **body: Any) -> tuple[int, dict[str, Any]]:
    answer = client.post(f"/v1/batches/{batch}/{what}", json=body)
    return answer.status_code, answer.json()


def bindings(client: TestClient, batch: str) -> list[str]:
    found = client.get(f"/v1/batches/{batch}/bindings").json()["bindings"]
    return [str(bound["series"]) for bound in found]


def test_a_batchs_own_thermometer_can_be_taken_back_once(client: TestClient) -> None:
    batch = made(client)

    first, _ = post(client, batch, "bindings", withdraws=f"{batch}:thermometer")
    again, problem = post(client, batch, "bindings", withdraws=f"{batch}:thermometer")

    assert (first, again) == (201, 409)
    assert "no longer stands" in problem["detail"]
    assert bindings(client, batch) == []
    placed = client.get(f"/v1/batches/{batch}/analysis").json()["addition"]
    assert placed["status"] == "not shown"


def test_a_binding_that_was_never_made_can_not_be_taken_back(client: TestClient) -> None:
    status, problem = post(client, made(client), "bindings", withdraws="0:scale")

    assert status == 404
    assert "to take back" in problem["detail"]


def test_a_binding_sent_again_after_it_was_taken_back_answers_the_first_result(
    client: TestClient,
) -> None:
    batch = made(client)
    body = {"id": str(uuid.uuid4()), "series": "n/other", "place": "milk"}
    _, first = post(client, batch, "bindings", **body)
    post(client, batch, "bindings", withdraws=body["id"])

    again, found = post(client, batch, "bindings", **body)

    assert again == 200
    assert found == first
    assert bindings(client, batch) == ["n/milk"]


def test_taking_back_the_last_of_three_replacements_leaves_the_second(client: TestClient) -> None:
    batch = made(client)
    ids = [post(client, batch, "events", kind="addition")[1]["id"]]
    for _ in range(2):
        ids.append(post(client, batch, "events", kind="addition", replaces=ids[-1])[1]["id"])

    post(client, batch, "events", withdraws=ids[-1])

    standing = client.get(f"/v1/batches/{batch}/events").json()["events"]
    assert [event["id"] for event in standing] == [ids[1]]


def test_taking_something_back_can_not_itself_be_taken_back(client: TestClient) -> None:
    batch = made(client)
    mark = post(client, batch, "events", kind="boil")[1]["id"]
    back = post(client, batch, "events", withdraws=mark)[1]["id"]

    assert post(client, batch, "events", withdraws=back)[0] == 404
    assert client.get(f"/v1/batches/{batch}/events").json()["events"] == []


def test_of_many_that_replace_the_same_mark_at_once_one_stands(client: TestClient) -> None:
    batch = made(client)
    mark = post(client, batch, "events", kind="addition")[1]["id"]
    answers: list[int] = []

    def replace() -> None:
        answers.append(post(client, batch, "events", kind="addition", replaces=mark)[0])

    threads = [threading.Thread(target=replace) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert sorted(answers) == [201] + [409] * 5
    assert len(client.get(f"/v1/batches/{batch}/events").json()["events"]) == 1


def test_a_record_whose_row_in_the_list_can_not_be_written_is_not_kept_either(
    client: TestClient, kitchen: Kitchen
) -> None:
    batch = made(client)
    with kitchen.journal.engine.begin() as connection:
        connection.execute(
            text(
                "CREATE TRIGGER refuses BEFORE UPDATE ON batch "
                "BEGIN SELECT RAISE(ABORT, 'no row'); END"
            )
        )

    refused, _ = post(client, batch, "events", kind="end")
    with kitchen.journal.engine.begin() as connection:
        connection.execute(text("DROP TRIGGER refuses"))
    found = client.get(f"/v1/batches/{batch}").json()

    assert refused == 409
    assert (found["state"], found["chain"]["length"]) == ("planned", 1)
    assert post(client, batch, "events", kind="end")[0] == 201
    listed = client.get("/v1/batches", params={"state": "closed"}).json()["batches"]
    assert [one["id"] for one in listed] == [batch]
