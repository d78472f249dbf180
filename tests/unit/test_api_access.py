from __future__ import annotations

import stat
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from api.access import Gate, read_or_make_token
from api.app import create_app
from api.kitchen import Kitchen


def away(kitchen: Kitchen, **headers: str) -> TestClient:
    return TestClient(
        create_app(kitchen, host="0.0.0.0"),
        base_url="http://192.168.7.20:8710",
        client=("192.168.7.31", 40000),
        headers=headers,
    )


def test_a_call_from_elsewhere_needs_the_token(kitchen: Kitchen) -> None:
    answer = away(kitchen).get("/v1/batches")

    assert answer.status_code == 401
    assert "no token" in answer.json()["detail"]


def test_the_token_opens_by_header(kitchen: Kitchen) -> None:
    token = read_or_make_token(kitchen.data_dir / "token")

    assert away(kitchen, Authorization=f"Bearer {token}").get("/v1/batches").status_code == 200
    assert away(kitchen, Authorization="Bearer wrong").get("/v1/batches").status_code == 401
    assert away(kitchen, Authorization="").get("/v1/batches").status_code == 401


def test_pairing_turns_the_token_into_a_cookie(kitchen: Kitchen) -> None:
    token = read_or_make_token(kitchen.data_dir / "token")
    client = away(kitchen)

    refused = client.post("/v1/pair", json={"token": "wrong"})
    paired = client.post("/v1/pair", json={"token": token})

    assert refused.status_code == 403
    assert paired.status_code == 200
    assert "httponly" in paired.headers["set-cookie"].lower()
    assert "samesite=strict" in paired.headers["set-cookie"].lower()
    assert client.get("/v1/batches").status_code == 200


def test_guessing_the_token_is_stopped(kitchen: Kitchen) -> None:
    client = away(kitchen)

    answers = [client.post("/v1/pair", json={"token": f"{i}"}).status_code for i in range(12)]

    assert answers == [403] * 10 + [429] * 2


def test_a_page_asked_for_without_token_leads_to_pairing(kitchen: Kitchen) -> None:
    answer = away(kitchen).get("/", headers={"Accept": "text/html"}, follow_redirects=False)

    assert answer.status_code == 303
    assert answer.headers["location"] == "/pair?to=/"


def test_a_forwarded_call_is_not_taken_for_a_local_one(client: TestClient) -> None:
    answer = client.get("/v1/batches", headers={"X-Forwarded-For": "203.0.113.9"})

    assert answer.status_code == 401


def test_a_page_of_another_site_can_not_write(client: TestClient) -> None:
    answer = client.post(
        "/v1/batches", json={"name": "x"}, headers={"Origin": "http://elsewhere.example"}
    )

    assert answer.status_code == 403
    assert client.get("/v1/batches").json()["batches"] == []


def test_a_foreign_host_name_is_refused(client: TestClient) -> None:
    answer = client.get("/v1/batches", headers={"Host": "elsewhere.example"})

    assert answer.status_code == 421


def test_a_form_can_not_write(client: TestClient) -> None:
    answer = client.post("/v1/batches", data={"name": "x"})

    assert answer.status_code == 415
    assert "application/json" in answer.json()["do"]


def test_the_token_file_is_for_its_owner_alone_and_stays_the_same(tmp_path: Path) -> None:
    path = tmp_path / "token"

    first = read_or_make_token(path)

    assert len(first) >= 24
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert read_or_make_token(path) == first


def test_a_gate_opens_again_after_its_time() -> None:
    now = [0.0]
    gate = Gate(2, 60.0, lambda: now[0])

    assert [gate.try_once() for _ in range(3)] == [True, True, False]
    now[0] = 61.0
    assert gate.try_once()


@pytest.mark.parametrize("path", ["/healthz"])
def test_liveness_needs_no_token(kitchen: Kitchen, path: str) -> None:
    assert away(kitchen).get(path).status_code == 200
