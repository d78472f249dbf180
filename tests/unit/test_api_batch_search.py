"""Finding batches by words, state, pot, recipe and outcome, a page at a time."""

from __future__ import annotations

from typing import Any

import pytest
from fastapi.testclient import TestClient


@pytest.fixture
def names(client: TestClient) -> dict[str, str]:
    """Six batches of two pots, one of them by recipe; the latest last. Returns ids by name."""
    recipe = client.post(
        "/v1/recipes", json={"name": "R", "ingredients": [{"name": "soybean"}], "steps": []}
    ).json()
    made = {"recipe": str(recipe["id"])}
    for hour, (name, pot, outcome) in enumerate(
        (
            ("a", "North", "set"), ("b", "South", "weak"), ("c", "North", None),
            ("d", "North side", "set"), ("e", "South", "set"), ("f", "North", "weak"),
        )
    ):  # fmt: skip
        body = {"name": name, "pot": pot, "started_at": f"2026-03-02T0{hour}:00:00Z"}
        if name == "a":
            body["recipe"] = recipe["id"]
        batch = client.post("/v1/batches", json=body).json()["id"]
        made[name] = batch
        if outcome:
            client.post(f"/v1/batches/{batch}/observations",
                        json={"quantity": "outcome", "text": outcome})  # fmt: skip
    return made


def found(client: TestClient, **query: Any) -> list[str]:
    answer = client.get("/v1/batches", params=query)
    assert answer.status_code == 200, answer.text
    return [one["name"] for one in answer.json()["batches"]]


def test_each_part_narrows_and_the_latest_comes_first(
    client: TestClient, names: dict[str, str]
) -> None:
    assert found(client) == ["f", "e", "d", "c", "b", "a"]
    assert found(client, pot="North") == ["f", "c", "a"]  # not the pot whose name only begins so
    assert found(client, outcome="set") == ["e", "d", "a"]
    assert found(client, outcome="none") == ["c"]
    assert found(client, recipe=names["recipe"]) == ["a"]
    assert found(client, pot="North", outcome="weak") == ["f"]
    assert found(client, pot="North", outcome="did not set") == []


def test_pages_follow_each_other_without_gap_or_repeat(
    client: TestClient, names: dict[str, str]
) -> None:
    seen: list[str] = []
    after = None
    while True:
        query: dict[str, Any] = {
            "outcome": "set",
            "limit": 2,
            **({"after": after} if after else {}),
        }
        answer = client.get("/v1/batches", params=query).json()
        seen += [one["name"] for one in answer["batches"]]
        after = answer["next"]
        if after is None:
            break

    assert seen == ["e", "d", "a"]


def test_the_page_offers_the_filters_and_an_empty_kitchen_teaches(client: TestClient) -> None:
    empty = client.get("/batches", headers={"Accept": "text/html"}).text
    assert "No batch has been made yet." in empty
    assert "Write a recipe" in empty
    client.post("/v1/batches", json={"name": "a", "pot": "North"})

    page = client.get("/batches?outcome=set", headers={"Accept": "text/html"}).text

    assert "No batch matches." in page
    assert '<option value="set" selected>' in page
