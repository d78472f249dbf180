from __future__ import annotations

from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.kitchen import Kitchen

UUID = "00000000-0000-4000-8000-000000000000"


@pytest.mark.parametrize(
    ("method", "path", "body", "status"),
    [
        ("GET", "/v1/batches/none", None, 404),
        ("GET", "/v1/batches/kitchen", None, 404),
        ("GET", "/v1/batches/none/events", None, 404),
        ("GET", "/v1/batches/none/weighings", None, 404),
        ("GET", "/v1/batches/none/analysis", None, 404),
        ("POST", "/v1/batches/none/events", {"kind": "boil"}, 404),
        ("POST", "/v1/batches", {}, 422),
        ("POST", "/v1/batches", {"name": "x", "colour": "blue"}, 422),
        ("POST", "/v1/batches", {"name": "x", "target": {"value": 80, "unit": "kg"}}, 422),
        ("POST", "/v1/batches", {"name": "x", "started_at": "yesterday"}, 422),
        ("POST", "/v1/recipes", {"name": "x"}, 422),
        ("GET", "/v1/recipes/none", None, 404),
        ("POST", "/v1/recipes/none", {"name": "x", "ingredients": [{"name": "soybean"}]}, 404),
        ("GET", "/v1/readings", None, 422),
        ("GET", "/v1/readings?series=none", None, 404),
        ("GET", "/v1/readings?series=none&from=yesterday", None, 422),
        ("POST", "/v1/instruments/none/checks", {"kind": "ice"}, 422),
        ("POST", "/v1/instruments/none/checks", {"withdraws": "x"}, 404),
        ("PUT", "/v1/instruments", {"series": "/x"}, 422),
        ("GET", "/v1/nothing", None, 404),
        ("DELETE", "/v1/batches", None, 405),
        ("GET", "/v1/live?batch=none", None, 404),
    ],
)
def test_every_error_comes_in_one_form(
    client: TestClient, method: str, path: str, body: dict[str, Any] | None, status: int
) -> None:
    answer = client.request(method, path, json=body)

    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    problem = answer.json()
    assert problem["status"] == status
    assert problem["detail"]
    assert problem["title"]


def test_a_body_that_is_no_json_is_said(client: TestClient) -> None:
    answer = client.post("/v1/batches", content=b"{", headers={"Content-Type": "application/json"})

    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"


def test_all_faults_of_a_body_are_told_at_once(client: TestClient) -> None:
    answer = client.post("/v1/batches", json={"pot": 3, "scale": "/", "target": {"value": "hot"}})

    places = {fault["where"] for fault in answer.json()["faults"]}
    assert {"body.name", "body.pot", "body.scale", "body.target.value"} <= places


def test_an_unforeseen_error_is_a_problem_too_and_tells_nothing_secret(
    kitchen: Kitchen, monkeypatch: pytest.MonkeyPatch
) -> None:
    from api.app import create_app
    from api.routes import health

    def broken(_kitchen: Kitchen) -> None:
        raise KeyError("secret")

    monkeypatch.setattr(health, "_ages", broken)
    client = TestClient(
        create_app(kitchen),
        base_url="http://127.0.0.1",
        client=("127.0.0.1", 1),
        raise_server_exceptions=False,
    )

    answer = client.get("/healthz")

    assert answer.status_code == 500
    assert answer.headers["content-type"] == "application/problem+json"
    assert "secret" not in answer.text


def test_open_api_describes_each_call_with_an_example(client: TestClient) -> None:
    described = client.get("/openapi.json").json()

    for path in (
        "/v1/readings",
        "/v1/batches",
        "/v1/batches/{batch_id}/events",
        "/v1/batches/{batch_id}/analysis",
        "/v1/live",
        "/v1/instruments/{series}/checks",
        "/healthz",
    ):
        assert path in described["paths"]
    assert described["components"]["schemas"]["BatchBody"]["examples"]
    assert described["components"]["schemas"]["EventBody"]["examples"]
    for path, calls in described["paths"].items():
        for method, call in calls.items():
            assert call["summary"], f"{method} {path} has no summary"
