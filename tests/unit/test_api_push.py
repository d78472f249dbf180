from __future__ import annotations

import base64
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.kitchen import Kitchen

PUBLIC = base64.urlsafe_b64encode(b"\x04" + b"p" * 64).decode().rstrip("=")
AUTH = base64.urlsafe_b64encode(b"a" * 16).decode().rstrip("=")
BODY: dict[str, Any] = {
    "name": "Anna's phone",
    "endpoint": "https://push.example/send/open-sesame",
    "expirationTime": None,
    "keys": {"p256dh": PUBLIC, "auth": AUTH},
}


@pytest.fixture
def phone(kitchen: Kitchen) -> TestClient:
    """A paired device."""
    app = create_app(kitchen, host="0.0.0.0")
    return TestClient(
        app,
        base_url="http://192.168.7.20:8710",
        client=("192.168.7.31", 40000),
        headers={"Authorization": f"Bearer {app.state.token}"},
    )


def test_a_paired_device_has_itself_called_and_takes_that_back(phone: TestClient) -> None:
    made = phone.post("/v1/notices/push", json=BODY)
    again = phone.post("/v1/notices/push", json=BODY)
    listed = phone.get("/v1/notices/routes").json()["routes"]
    gone = phone.post("/v1/notices/push", json={"withdraws": made.json()["id"]})

    assert (made.status_code, again.status_code) == (201, 200)
    assert listed == [made.json()] == [again.json()]
    assert (listed[0]["name"], listed[0]["address"]) == ("Anna's phone", "webpush://****")
    assert gone.json() == {"withdraws": made.json()["id"], "name": "Anna's phone"}
    assert phone.get("/v1/notices/routes").json()["routes"] == []


def test_a_paired_device_takes_no_other_route_back(phone: TestClient, client: TestClient) -> None:
    other = client.post(
        "/v1/notices/routes", json={"name": "hook", "address": "json://127.0.0.1:1/x"}
    ).json()

    answer = phone.post("/v1/notices/push", json={"withdraws": other["id"]})

    assert answer.status_code == 403
    assert len(client.get("/v1/notices/routes").json()["routes"]) == 1


@pytest.mark.parametrize(
    "body",
    [
        {},
        {**BODY, "endpoint": "http://push.example/open-sesame"},
        {**BODY, "endpoint": "https://10.0.0.7/open-sesame"},
        {**BODY, "keys": {"p256dh": AUTH, "auth": AUTH}},
        {**BODY, "keys": {"p256dh": PUBLIC}},
        {**BODY, "keys": "open-sesame"},
        {**BODY, "expirationTime": "soon"},
        {**BODY, "name": ""},
        {**BODY, "more": "open-sesame"},
    ],
)
def test_what_is_no_subscription_is_a_problem_that_repeats_no_secret(
    phone: TestClient, body: dict[str, Any]
) -> None:
    answer = phone.post("/v1/notices/push", json=body)

    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["do"]
    assert not [secret for secret in ("sesame", AUTH, PUBLIC) if secret in answer.text]


def test_the_public_key_is_the_same_each_time_and_nothing_of_the_private_one_is_told(
    phone: TestClient, kitchen: Kitchen
) -> None:
    first, second = (phone.get("/v1/notices/push") for _ in range(2))

    assert first.json() == second.json()
    assert len(base64.urlsafe_b64decode(first.json()["key"] + "=")) == 65
    private = (kitchen.data_dir / "push-key.pem").read_text().splitlines()[1]
    assert private not in first.text


def test_the_service_worker_is_served_from_the_root(client: TestClient) -> None:
    answer = client.get("/push_worker.js")

    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/javascript")
    assert "showNotification" in answer.text


def test_the_dead_man_line_is_set_on_the_machine_itself_only(
    phone: TestClient, client: TestClient
) -> None:
    route = phone.post("/v1/notices/push", json=BODY).json()
    path = f"/v1/notices/routes/{route['id']}/alive"

    refused = phone.post(path, json={"every_min": 5})
    made = client.post(path, json={"every_min": 5, "tell_stop": True})
    ended = client.post(path, json={"every_min": None})

    assert refused.status_code == 403
    assert (made.json()["alive_every_min"], made.json()["tell_stop"]) == (5, True)
    assert (ended.json()["alive_every_min"], ended.json()["tell_stop"]) == (None, False)
    assert client.post(path, json={"every_min": 0}).status_code == 422
    assert client.post("/v1/notices/routes/none/alive", json={}).status_code == 404
