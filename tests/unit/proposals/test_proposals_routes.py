"""Proposals over the interface: recorded once, accepted, dismissed, undone, never a verdict."""

from __future__ import annotations

from typing import Any, Protocol
from uuid import uuid4

import pytest
from fastapi.testclient import TestClient

from api.kitchen import Kitchen
from api.proposals.service import Proposing
from api.times import parse_ms
from api.verifying import verify


class Pot(Protocol):
    heat_s: float
    pour_s: float
    zero_ms: int

    def at(self, time_s: float) -> str: ...
    def batch(self, **more: Any) -> str: ...
    def until(self, time_s: float) -> None: ...
    def send(self, times_s: list[float], values: list[float], series: str = ...) -> None: ...
    def proposals(self, batch: str) -> list[dict[str, Any]]: ...
    def proposal(self, batch: str, kind: str) -> dict[str, Any]: ...
    def post(self, path: str, body: dict[str, Any] | None = None, status: int = 201) -> Any: ...


def seconds_off(pot: Pot, at: str, time_s: float) -> float:
    return abs((parse_ms(at) - pot.zero_ms) / 1000.0 - time_s)


def test_readings_that_were_just_posted_show_in_the_next_answer(pot: Pot) -> None:
    batch = pot.batch()
    pot.until(pot.heat_s - 60)
    assert pot.proposals(batch) == []

    pot.until(pot.heat_s + 60)

    [heat] = pot.proposals(batch)
    assert (heat["n"], heat["kind"], heat["state"]) == (1, "heat", "open")
    assert seconds_off(pot, heat["at"], pot.heat_s) < 15
    assert 0.5 <= heat["confidence"] <= 1.0
    assert heat["why"] and heat["u_s"] > 0 and heat["at"] < heat["seen_at"]


def test_a_batch_without_a_probe_has_no_proposals(pot: Pot) -> None:
    assert pot.proposals(pot.batch(thermometer=None)) == []


def test_an_unknown_batch_or_proposal_is_said_to_be_so(pot: Pot, client: TestClient) -> None:
    batch = pot.batch()

    assert client.get("/v1/batches/nothing/proposals").status_code == 404
    for verb in ("accept", "dismiss"):
        said = pot.post(f"{batch}/proposals/7/{verb}", status=404)
        assert said["detail"] == "There is no proposal 7."


def test_numbers_stay_and_nothing_is_doubled_over_a_restart(pot: Pot, kitchen: Kitchen) -> None:
    batch = pot.batch()
    pot.until(pot.heat_s + 90)
    before = pot.proposals(batch)
    again = Proposing(kitchen)

    found = again.of(batch)

    assert [one.number for one in found] == [one["n"] for one in before] == [1]


def test_a_corrected_calibration_doubles_nothing(pot: Pot, client: TestClient) -> None:
    batch = pot.batch()
    pot.until(pot.heat_s + 90)
    before = pot.proposals(batch)
    check = {"kind": "ice", "indicated": {"value": 0.6, "unit": "degC"}, "valid_from": pot.at(-60)}
    assert client.post("/v1/instruments/north/milk/checks", json=check).status_code == 201

    assert pot.proposals(batch) == before


def test_readings_that_come_late_double_nothing(pot: Pot) -> None:
    batch = pot.batch()
    pot.until(pot.heat_s + 90)
    before = pot.proposals(batch)

    pot.send([t + 1.0 for t in range(0, 200, 2)], [20.0] * 100)

    assert pot.proposals(batch) == before


def test_an_accepted_proposal_is_a_mark_of_the_detectors(pot: Pot, client: TestClient) -> None:
    batch = pot.batch()
    pot.until(pot.heat_s + 60)
    heat = pot.proposal(batch, "heat")

    mark = pot.post(f"{batch}/proposals/1/accept", {"who": "Ama", "note": "seen"})

    assert (mark["kind"], mark["at"], mark["by"]) == ("heat", heat["at"], "detector")
    assert (mark["proposal"], mark["confidence"]) == (1, heat["confidence"])
    assert (mark["who"], mark["note"], mark["accepted"]) == ("Ama", "seen", "by a person")
    [event] = client.get(f"/v1/batches/{batch}/events").json()["events"]
    assert event["id"] == mark["id"]
    accepted = pot.proposal(batch, "heat")
    assert (accepted["state"], accepted["event"]["id"]) == ("accepted", mark["id"])
    assert client.get(f"/v1/batches/{batch}").json()["state"] == "running"


def test_accepting_twice_answers_the_same_mark(pot: Pot, client: TestClient) -> None:
    batch = pot.batch()
    pot.until(pot.heat_s + 60)
    pot.proposals(batch)
    first = pot.post(f"{batch}/proposals/1/accept")

    assert pot.post(f"{batch}/proposals/1/accept", status=200) == first
    assert pot.post(f"{batch}/proposals/1/accept", {"id": str(uuid4())}, status=200) == first
    other = pot.post(f"{batch}/proposals/1/accept", {"at": pot.at(0)}, status=409)
    assert "was accepted for" in other["detail"]
    assert len(client.get(f"/v1/batches/{batch}/events").json()["events"]) == 1


def test_a_repeat_by_its_own_id_answers_the_first_though_it_was_undone(pot: Pot) -> None:
    batch, name = pot.batch(), str(uuid4())
    pot.until(pot.heat_s + 60)
    pot.proposals(batch)
    first = pot.post(f"{batch}/proposals/1/accept", {"id": name})
    pot.post(f"{batch}/events", {"withdraws": first["id"]})

    assert pot.post(f"{batch}/proposals/1/accept", {"id": name}, status=200)["id"] == name
    assert pot.proposal(batch, "heat")["state"] == "dismissed"


def test_a_time_of_the_makers_own_is_taken_with_the_acceptance(pot: Pot) -> None:
    batch = pot.batch()
    pot.until(pot.heat_s + 60)
    pot.proposals(batch)

    mark = pot.post(f"{batch}/proposals/1/accept", {"at": pot.at(290)})

    assert mark["at"] == pot.at(290)


def test_an_undone_mark_asks_nobody_again_and_can_be_accepted_anew(pot: Pot) -> None:
    batch = pot.batch()
    pot.until(pot.heat_s + 60)
    pot.proposals(batch)
    first = pot.post(f"{batch}/proposals/1/accept")
    pot.post(f"{batch}/events", {"withdraws": first["id"], "why": "undo"})

    undone = pot.proposal(batch, "heat")
    assert (undone["state"], undone["undone"]["id"]) == ("dismissed", first["id"])

    anew = pot.post(f"{batch}/proposals/1/accept")
    assert anew["id"] != first["id"]
    assert pot.proposal(batch, "heat")["state"] == "accepted"


def test_a_mark_that_was_put_right_is_still_the_accepted_one(pot: Pot) -> None:
    batch = pot.batch()
    pot.until(pot.heat_s + 60)
    pot.proposals(batch)
    first = pot.post(f"{batch}/proposals/1/accept")
    right = pot.post(
        f"{batch}/events", {"kind": "heat", "at": pot.at(100), "replaces": first["id"]}
    )

    found = pot.proposal(batch, "heat")

    assert (found["state"], found["event"]["id"]) == ("accepted", right["id"])


def test_a_dismissed_proposal_stays_so_and_can_be_opened_again(pot: Pot) -> None:
    batch = pot.batch()
    pot.until(pot.heat_s + 60)
    pot.proposals(batch)

    said = pot.post(f"{batch}/proposals/1/dismiss", {"why": "a lid was lifted", "who": "Ama"})
    assert (said["state"], said["dismissal"]["why"]) == ("dismissed", "a lid was lifted")
    assert pot.post(f"{batch}/proposals/1/dismiss", {"why": "twice"}, status=200) == said

    pot.post(f"{batch}/proposals/1/dismiss", {"withdraws": said["dismissal"]["id"]})
    assert pot.proposal(batch, "heat")["state"] == "open"


def test_a_dismissed_proposal_can_be_accepted_after_all_and_not_dismissed_then(pot: Pot) -> None:
    batch = pot.batch()
    pot.until(pot.heat_s + 60)
    pot.proposals(batch)
    pot.post(f"{batch}/proposals/1/dismiss")
    pot.post(f"{batch}/proposals/1/accept")

    assert pot.proposal(batch, "heat")["state"] == "accepted"
    said = pot.post(f"{batch}/proposals/1/dismiss", status=409)
    assert "withdraws" in said["do"]


def test_a_mark_that_the_maker_made_near_it_is_enough(pot: Pot) -> None:
    batch = pot.batch()
    pot.until(pot.heat_s + 30)
    mark = pot.post(f"{batch}/events", {"kind": "heat"})
    pot.until(pot.heat_s + 60)

    found = pot.proposal(batch, "heat")

    assert (found["state"], found["event"]["id"]) == ("already marked", mark["id"])
    refused = pot.post(f"{batch}/proposals/1/accept", status=409)
    assert "marked already" in refused["detail"]


def test_a_mark_far_from_it_is_a_mark_of_something_else(pot: Pot) -> None:
    batch = pot.batch()
    pot.post(f"{batch}/events", {"kind": "heat", "at": pot.at(-2000)})
    pot.until(pot.heat_s + 60)

    assert pot.proposal(batch, "heat")["state"] == "open"


def test_a_reached_target_becomes_a_note(pot: Pot) -> None:
    batch = pot.batch(target={"value": 88, "unit": "degC", "approach": "falling"})
    pot.until(pot.pour_s)

    target = pot.proposal(batch, "target")
    mark = pot.post(f"{batch}/proposals/{target['n']}/accept")

    assert (mark["kind"], mark["note"]) == ("note", "target reached, 88 degC")


def test_a_closed_batch_is_looked_through_once_and_the_records_still_verify(
    pot: Pot, kitchen: Kitchen
) -> None:
    batch = pot.batch()
    pot.until(pot.pour_s + 200)
    pot.post(f"{batch}/events", {"kind": "end"})

    found = pot.proposals(batch)

    assert {"heat", "boil", "addition"} <= {one["kind"] for one in found}
    assert (
        seconds_off(pot, next(o for o in found if o["kind"] == "addition")["at"], pot.pour_s) < 20
    )
    length = kitchen.journal.chains.head(batch)[0]
    assert pot.proposals(batch) == found
    assert kitchen.journal.chains.head(batch)[0] == length
    assert verify(kitchen, say=lambda line: None) == []


def recipe_with(client: TestClient, **rule: Any) -> Any:
    return client.post(
        "/v1/recipes",
        json={
            "name": "Soybean, gypsum",
            "ingredients": [{"name": "soybean"}],
            "steps": [
                {
                    "kind": "boil",
                    "hold": {
                        "name": "boil",
                        "low": {"value": 90, "unit": "degC"},
                        "least": {"value": 5, "unit": "min"},
                        "starts": "boil",
                        "ends": "addition",
                        "basis": "safety",
                    },
                },
                {"kind": "addition"},
            ],
            **rule,
        },
    )


@pytest.mark.parametrize("kind", ["boil", "chill", "end"])
def test_boil_chill_and_end_are_never_accepted_by_themselves(client: TestClient, kind: str) -> None:
    answer = recipe_with(client, accept_by_itself={"above": 0.9, "kinds": ["heat", kind]})

    assert answer.status_code == 422
    assert f"a proposal of {kind} is never accepted by itself" in answer.json()["detail"]


def test_a_recipe_may_let_some_proposals_become_marks_by_themselves(
    pot: Pot, client: TestClient
) -> None:
    made = recipe_with(client, accept_by_itself={"above": 0.5, "kinds": ["heat"]}).json()
    batch = pot.batch(recipe=made["id"])
    pot.until(pot.heat_s + 60)

    heat = pot.proposal(batch, "heat")

    assert heat["state"] == "accepted"
    assert (heat["event"]["by"], heat["event"]["accepted"]) == ("detector", "by itself")
    pot.post(f"{batch}/events", {"withdraws": heat["event"]["id"]})
    assert pot.proposal(batch, "heat")["state"] == "dismissed"


def test_one_that_is_less_sure_than_the_recipe_asks_stays_open(
    pot: Pot, client: TestClient
) -> None:
    made = recipe_with(client, accept_by_itself={"above": 1.0, "kinds": ["heat"]}).json()
    batch = pot.batch(recipe=made["id"])
    pot.until(pot.heat_s + 60)

    assert pot.proposal(batch, "heat")["state"] == "open"


def test_no_mark_proposed_accepted_or_typed_makes_a_safety_verdict_met(
    pot: Pot, client: TestClient
) -> None:
    made = recipe_with(client).json()
    batch = pot.batch(recipe=made["id"])
    pot.until(1500.0 + 120.0)  # boils, and for two minutes of the five that are asked for
    pot.proposals(batch)
    for one in pot.proposals(batch):
        pot.post(f"{batch}/proposals/{one['n']}/accept")
    pot.post(f"{batch}/events", {"kind": "boil", "at": pot.at(600)})
    pot.post(f"{batch}/events", {"kind": "addition", "at": pot.at(1620)})

    [hold] = client.get(f"/v1/batches/{batch}/analysis").json()["holds"]

    assert hold["basis"] == "safety"
    assert hold["verdict"] in ("not met", "not shown")
