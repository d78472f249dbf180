from __future__ import annotations

from typing import Any

import pytest
from fastapi.testclient import TestClient

START = "2026-03-02T08:00:00Z"


def made(client: TestClient, **more: Any) -> dict[str, Any]:
    body = {"name": "North, Monday", "started_at": START, **more}
    answer = client.post("/v1/batches", json=body)
    assert answer.status_code == 201, answer.text
    found: dict[str, Any] = answer.json()
    return found


def post(client: TestClient, batch: dict[str, Any], what: str, **body: Any) -> dict[str, Any]:
    answer = client.post(f"/v1/batches/{batch['id']}/{what}", json=body)
    assert answer.status_code in (200, 201), answer.text
    found: dict[str, Any] = answer.json()
    return found


def test_a_batch_is_read_back_as_it_was_made(client: TestClient) -> None:
    batch = made(
        client,
        pot="North",
        thermometer="north/milk",
        target={"value": 180, "unit": "degF", "approach": "falling"},
        ingredients=[{"name": "soybean"}],
    )

    found = client.get(f"/v1/batches/{batch['id']}").json()

    assert found["state"] == "planned"
    assert found["target"] == {"value": 180.0, "unit": "degF", "approach": "falling"}
    assert found["bindings"][0] == {
        "id": f"{batch['id']}:thermometer",
        "series": "north/milk",
        "place": "milk",
        "from": None,
        "to": None,
    }


def test_states_follow_the_events(client: TestClient) -> None:
    batch = made(client)
    states = []
    for kind in ("soak", "heat", "addition", "chill", "end"):
        post(client, batch, "events", kind=kind)
        states.append(client.get(f"/v1/batches/{batch['id']}").json()["state"])

    assert states == ["soaking", "running", "running", "chilling", "closed"]


def test_an_event_without_a_time_is_now(client: TestClient) -> None:
    batch = made(client)

    assert post(client, batch, "events", kind="boil")["at"] == "2026-03-02T08:15:00.000Z"


def test_an_earlier_event_moves_the_start_and_says_so(client: TestClient) -> None:
    batch = made(client)
    post(client, batch, "events", kind="soak", at="2026-03-01T20:00:00Z")

    found = client.get(f"/v1/batches/{batch['id']}").json()

    assert found["started_at"] == "2026-03-01T20:00:00.000Z"
    assert found["start_moved"] is True


def test_an_event_more_than_72_h_before_the_batch_is_refused(client: TestClient) -> None:
    batch = made(client)

    answer = client.post(
        f"/v1/batches/{batch['id']}/events", json={"kind": "soak", "at": "2026-02-27T07:59:59Z"}
    )

    assert answer.status_code == 422
    assert "72 h before" in answer.json()["detail"]
    assert client.get(f"/v1/batches/{batch['id']}/events").json()["events"] == []


def test_an_event_in_the_future_is_refused_with_what_to_do(client: TestClient) -> None:
    batch = made(client)

    answer = client.post(
        f"/v1/batches/{batch['id']}/events", json={"kind": "boil", "at": "2026-03-02T09:15:00Z"}
    )

    assert answer.status_code == 422
    assert "60 min in the future" in answer.json()["detail"]
    assert "sent_at" in answer.json()["do"]


def test_a_wrong_clock_is_mended_by_sent_at_and_both_times_are_kept(client: TestClient) -> None:
    batch = made(client)

    event = post(
        client,
        batch,
        "events",
        kind="addition",
        at="2026-03-02T10:10:00Z",
        sent_at="2026-03-02T10:14:00Z",
    )

    assert event["at"] == "2026-03-02T08:11:00.000Z"
    assert event["sent"]["at"] == "2026-03-02T10:10:00Z"
    assert event["sent"]["shift_ms"] == -7_140_000


def test_a_mark_is_taken_back_and_stays_readable(client: TestClient) -> None:
    batch = made(client)
    mark = post(client, batch, "events", kind="boil")
    post(client, batch, "events", withdraws=mark["id"], why="undo")

    path = f"/v1/batches/{batch['id']}/events"
    assert client.get(path).json()["events"] == []
    past = client.get(path, params={"history": True}).json()["events"]
    assert [(e["kind"], e["gone"]) for e in past] == [("boil", "withdrawn: undo")]
    assert client.get(f"/v1/batches/{batch['id']}").json()["state"] == "planned"


def test_a_later_mark_replaces_an_earlier_one(client: TestClient) -> None:
    batch = made(client)
    mark = post(client, batch, "events", kind="addition", at="2026-03-02T08:10:00Z")
    better = post(
        client, batch, "events", kind="addition", at="2026-03-02T08:09:30Z", replaces=mark["id"]
    )

    events = client.get(f"/v1/batches/{batch['id']}/events").json()["events"]
    assert [e["id"] for e in events] == [better["id"]]
    assert events[0]["replaces"] == mark["id"]


def test_what_was_replaced_can_not_be_replaced_again(client: TestClient) -> None:
    batch = made(client)
    mark = post(client, batch, "events", kind="boil")
    post(client, batch, "events", withdraws=mark["id"])

    answer = client.post(
        f"/v1/batches/{batch['id']}/events", json={"kind": "boil", "replaces": mark["id"]}
    )

    assert answer.status_code == 409
    assert "no longer stands" in answer.json()["detail"]


def test_the_same_id_and_body_answers_the_first_result(client: TestClient) -> None:
    batch = made(client)
    body = {"id": "7f0c5b2e-0000-4000-8000-000000000001", "kind": "boil"}
    path = f"/v1/batches/{batch['id']}/events"

    first = client.post(path, json=body)
    again = client.post(path, json=body)

    assert (first.status_code, again.status_code) == (201, 200)
    assert first.json() == again.json()


def test_a_repeat_sent_by_a_later_clock_is_the_same_record(client: TestClient) -> None:
    batch = made(client)
    body = {"id": "7f0c5b2e-0000-4000-8000-000000000002", "kind": "boil", "at": START}
    path = f"/v1/batches/{batch['id']}/events"

    first = client.post(path, json={**body, "sent_at": "2026-03-02T08:15:00Z"})
    again = client.post(path, json={**body, "sent_at": "2026-03-02T08:16:00Z"})

    assert again.status_code == 200
    assert again.json()["at"] == first.json()["at"]


def test_the_same_id_with_another_body_is_a_conflict(client: TestClient) -> None:
    batch = made(client)
    path = f"/v1/batches/{batch['id']}/events"
    body = {"id": "7f0c5b2e-0000-4000-8000-000000000003", "kind": "boil"}
    client.post(path, json=body)

    assert client.post(path, json={**body, "kind": "press"}).status_code == 409


def test_a_batch_with_an_id_of_the_senders_is_made_once(client: TestClient) -> None:
    body = {"id": "7f0c5b2e-0000-4000-8000-000000000004", "name": "South"}

    first = client.post("/v1/batches", json=body).json()
    again = client.post("/v1/batches", json=body).json()

    assert first["id"] == again["id"] == body["id"]
    assert len(client.get("/v1/batches").json()["batches"]) == 1


@pytest.mark.parametrize(
    ("body", "told"),
    [
        ({"stream": "tea", "mass": {"value": 1, "unit": "kg"}}, "Input should be 'dry'"),
        ({"stream": "milk", "mass": {"value": -0.1, "unit": "kg"}}, "would weigh -0.100 kg"),
        ({"stream": "milk", "mass": {"value": 1, "unit": "cup"}}, "not a unit of mass"),
        ({"stream": "milk"}, "give a mass, or from_scale"),
        ({"stream": "milk", "mass": {"value": 1, "unit": "kg"}, "basis": "gross"}, "needs a tare"),
        (
            {"stream": "milk", "mass": {"value": 1, "unit": "kg"}, "basis": "gross", "tare": "x"},
            "empty weight of the vessel 'x'",
        ),
        ({"stream": "milk", "from_scale": "north/scale"}, "no stable mass in the 10 s"),
        ({"mass": {"value": 1, "unit": "kg"}}, "stream is missing"),
    ],
)
def test_a_weighing_that_makes_no_sense_is_refused_and_nothing_is_recorded(
    client: TestClient, body: dict[str, Any], told: str
) -> None:
    batch = made(client)

    answer = client.post(f"/v1/batches/{batch['id']}/weighings", json=body)

    assert answer.status_code in (404, 422)
    assert told in answer.json()["detail"]
    path = f"/v1/batches/{batch['id']}/weighings"
    assert client.get(path).json()["weighings"] == []


def test_a_gross_mass_loses_the_vessels_tare(client: TestClient) -> None:
    client.post("/v1/pots", json={"name": "North", "empty": {"value": 1200, "unit": "g"}, "u": 1.0})
    batch = made(client)

    weighing = post(
        client,
        batch,
        "weighings",
        stream="milk",
        mass={"value": 4.76, "unit": "kg"},
        basis="gross",
        tare="North",
    )

    assert weighing["net_kg"] == pytest.approx(3.56)
    assert weighing["tare"] == "North"


def test_a_weighing_takes_the_last_stable_reading_of_a_scale(
    client: TestClient, senml: Any
) -> None:
    batch = made(client)
    senml({"n": "north/scale", "u": "g", "v": 3560, "t": -4})

    weighing = post(client, batch, "weighings", stream="milk", from_scale="north/scale")

    assert weighing["net_kg"] == pytest.approx(3.56)
    assert weighing["mass"] == {"value": 3560.0, "unit": "g"}


def test_another_batch_that_binds_the_series_does_not_change_records(client: TestClient) -> None:
    first = made(client, thermometer="north/milk")
    made(client, name="second", thermometer="north/milk", started_at="2026-03-02T08:10:00Z")

    assert client.get(f"/v1/batches/{first['id']}/bindings").json()["bindings"][0]["to"] is None


def test_batches_are_found_by_state_and_words(client: TestClient) -> None:
    made(client, name="North yellow pea", pot="North")
    ended = made(client, name="South sesame", pot="South")
    post(client, ended, "events", kind="end")

    def names(**query: str) -> list[str]:
        found = client.get("/v1/batches", params=query).json()["batches"]
        return [batch["name"] for batch in found]

    assert names(state="open") == ["North yellow pea"]
    assert names(state="closed") == ["South sesame"]
    assert names(q="sesame south") == ["South sesame"]
    assert names(q="100%") == []


def test_batches_are_paged_in_a_stable_order(client: TestClient) -> None:
    for number in range(5):
        made(client, name=f"batch {number}")

    seen: list[str] = []
    after = None
    while True:
        params = {"limit": "2", **({"after": after} if after else {})}
        page = client.get("/v1/batches", params=params).json()
        seen += [batch["name"] for batch in page["batches"]]
        after = page["next"]
        if after is None:
            break

    assert sorted(seen) == [f"batch {number}" for number in range(5)]


def test_a_recipe_is_frozen_into_the_batch(client: TestClient) -> None:
    recipe = {"name": "Soybean", "ingredients": [{"name": "soybean"}], "steps": []}
    first = client.post("/v1/recipes", json=recipe).json()
    batch = made(client, recipe=first["id"])
    client.post(f"/v1/recipes/{first['id']}", json={**recipe, "name": "Soybean, second"})

    found = client.get(f"/v1/batches/{batch['id']}").json()["recipe"]
    versions = client.get(f"/v1/recipes/{first['id']}").json()

    assert (found["name"], found["version"]) == ("Soybean", 1)
    assert (versions["name"], len(versions["versions"])) == ("Soybean, second", 2)


def test_an_unknown_recipe_is_said(client: TestClient) -> None:
    answer = client.post("/v1/batches", json={"name": "x", "recipe": "nope"})

    assert answer.status_code == 404
    assert "no recipe 'nope'" in answer.json()["detail"]


def test_an_outcome_is_one_of_four_words(client: TestClient) -> None:
    batch = made(client)

    bad = client.post(
        f"/v1/batches/{batch['id']}/observations", json={"quantity": "outcome", "text": "fine"}
    )
    post(client, batch, "observations", quantity="outcome", text="weak")

    assert bad.status_code == 422
    assert client.get("/v1/batches").json()["batches"][0]["outcome"] == "weak"


@pytest.mark.parametrize("path", ["events", "weighings", "bindings", "observations"])
@pytest.mark.parametrize("at", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-23:59", ""])
def test_a_time_outside_the_years_is_refused_in_every_record(
    client: TestClient, path: str, at: str
) -> None:
    batch = made(client)
    bodies: dict[str, dict[str, Any]] = {
        "events": {"kind": "boil", "at": at},
        "weighings": {"stream": "milk", "mass": {"value": 1, "unit": "kg"}, "at": at},
        "bindings": {"series": "north/milk", "place": "milk", "from": at},
        "observations": {"quantity": "brix", "value": 5, "at": at},
    }

    answer = client.post(f"/v1/batches/{batch['id']}/{path}", json=bodies[path])

    assert answer.status_code == 422
    assert client.get(f"/v1/batches/{batch['id']}").status_code == 200


def test_a_clock_of_the_year_1_can_not_shift_a_time_out_of_the_years(client: TestClient) -> None:
    batch = made(client)

    answer = client.post(
        f"/v1/batches/{batch['id']}/events",
        json={"kind": "boil", "at": "9999-01-01T00:00:00Z", "sent_at": "1970-01-01T00:00:00Z"},
    )

    assert answer.status_code == 422
    assert "years from 1970" in answer.json()["detail"]


def test_a_batch_can_be_planned_for_a_year_and_not_for_a_century(client: TestClient) -> None:
    made(client, started_at="2027-03-01T08:00:00Z")

    answer = client.post("/v1/batches", json={"name": "x", "started_at": "2126-03-01T08:00:00Z"})

    assert answer.status_code == 422
    assert "days ahead" in answer.json()["detail"]
