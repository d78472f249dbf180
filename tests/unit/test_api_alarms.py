"""Alarms over HTTP: how they stand, what is said to them, and problems for wrong input."""

from __future__ import annotations

from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.kitchen import Kitchen
from api.times import format_ms
from api.watch.alarm_book import AlarmBook, alarm_id
from api.watch.alarm_fold import KeptAlarm
from api.watch.alarm_state import Action
from api.watch.finding import Finding
from api.watch.notice_book import NoticeBook
from api.watch.wording import Words

NOW_S = 1_772_439_300.0  # 2026-03-02T08:15:00Z


@pytest.fixture
def batch(kitchen: Kitchen) -> str:
    body = {"name": "Monday", "pot": "North", "started_at": "2026-03-02T08:00:00Z"}
    return kitchen.journal.start_batch(body, record_id=None, who="").id


def raised(
    kitchen: Kitchen, chain: str, key: str = "over target/batch", priority: str = "medium"
) -> str:
    """An alarm whose condition holds; its id."""
    about = key.split("/")[0]
    alarm = KeptAlarm(alarm_id(chain, key), chain, {"key": key, "about": about})
    facts = {
        "title": f"North: {about}", "text": f"North: {about}.", "priority": priority,
        "value": 84.2, "limit": 84.0, "unit": "degC",
    }  # fmt: skip
    AlarmBook(kitchen.journal).write(alarm, Action.RAISED, kitchen.now_ms() / 1000.0, facts)
    return alarm.id


@pytest.fixture
def notice(kitchen: Kitchen, batch: str) -> str:
    """The notice of a target that was reached; its id."""
    words = Words("North: passing 82 degC", "North: passing 82 degC, rising", "medium")
    book = NoticeBook(kitchen.journal)
    book.tell(Finding(batch, "cause", "target", NOW_S - 10.0, words, (), False))
    return book.latest(1)[0].id


def alarms(client: TestClient, query: str = "") -> list[dict[str, Any]]:
    answer = client.get(f"/v1/alarms{query}")
    assert answer.status_code == 200, answer.text
    found: list[dict[str, Any]] = answer.json()["alarms"]
    return found


def said(client: TestClient, alarm: str, verb: str, **body: Any) -> dict[str, Any]:
    answer = client.post(f"/v1/alarms/{alarm}/{verb}", json=body)
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json()
    return found


def test_an_open_alarm_says_what_when_and_what_to_do(
    client: TestClient, kitchen: Kitchen, batch: str
) -> None:
    made = raised(kitchen, batch)

    (shown,) = alarms(client)

    assert (shown["id"], shown["batch"], shown["about"]) == (made, batch, "over target")
    assert (shown["state"], shown["priority"]) == ("unacknowledged", "medium")
    assert (shown["value"], shown["limit"], shown["unit"]) == (84.2, 84.0, "degC")
    assert shown["since"] == shown["at"] == "2026-03-02T08:15:00.000Z"
    assert shown["time_to_respond_s"] == 60.0
    assert shown["respond"] and "scald" in shown["caution"]


def test_a_target_that_was_reached_ends_when_it_is_acknowledged(
    client: TestClient, notice: str
) -> None:
    (before,) = alarms(client)
    answer = said(client, notice, "acknowledge", who="Anna")
    again = said(client, notice, "acknowledge", who="Ben")

    assert (before["id"], before["state"]) == (notice, "unacknowledged")
    assert alarms(client) == []
    assert alarms(client, "?history=true") == [answer] == [again]
    assert (answer["state"], answer["acknowledged_by"]) == ("normal", "Anna")
    assert answer["acknowledged_at"] == "2026-03-02T08:15:00.000Z"


def test_an_alarm_whose_condition_holds_stays_open_when_it_is_acknowledged(
    client: TestClient, kitchen: Kitchen, batch: str
) -> None:
    made = raised(kitchen, batch)

    answer = client.post(f"/v1/alarms/{made}/acknowledge")

    assert answer.json()["state"] == "acknowledged"
    assert [alarm["state"] for alarm in alarms(client)] == ["acknowledged"]


def test_a_shelved_alarm_carries_its_reason_and_comes_back_when_it_is_called(
    client: TestClient, kitchen: Kitchen, batch: str
) -> None:
    made = raised(kitchen, batch)

    shelved = said(client, made, "shelve", for_s=600, why="the probe is being washed", who="Anna")
    back = said(client, made, "unshelve")

    assert (shelved["state"], shelved["why"]) == ("shelved", "the probe is being washed")
    assert shelved["shelved_until"] == "2026-03-02T08:25:00.000Z"
    assert (back["state"], back["shelved_until"], back["why"]) == ("unacknowledged", None, "")


def test_a_shelf_may_end_at_a_time_by_the_senders_clock(
    client: TestClient, kitchen: Kitchen, batch: str
) -> None:
    made = raised(kitchen, batch)

    shelved = said(
        client, made, "shelve", why="washing",
        until="2026-03-02T09:20:00Z", sent_at="2026-03-02T09:15:00Z",
    )  # fmt: skip

    assert shelved["shelved_until"] == "2026-03-02T08:20:00.000Z"


def test_an_alarm_is_taken_out_of_service_and_returned(
    client: TestClient, kitchen: Kitchen, batch: str
) -> None:
    made = raised(kitchen, batch)

    out = said(client, made, "out-of-service", why="the probe is away")
    back = said(client, made, "return-to-service")

    assert (out["state"], out["why"]) == ("out of service", "the probe is away")
    assert back["state"] == "unacknowledged"


@pytest.mark.parametrize(
    ("verb", "body", "status"),
    [
        ("shelve", {}, 422),
        ("shelve", {"for_s": 600}, 422),
        ("shelve", {"why": "washing"}, 422),
        ("shelve", {"for_s": 600, "until": "2026-03-02T09:00:00Z", "why": "x"}, 422),
        ("shelve", {"for_s": -1, "why": "x"}, 422),
        ("shelve", {"for_s": 1e9, "why": "x"}, 422),
        ("shelve", {"until": "2026-03-02T08:00:00Z", "why": "x"}, 422),
        ("shelve", {"until": "tomorrow", "why": "x"}, 422),
        ("unshelve", {}, 409),
        ("return-to-service", {}, 409),
        ("out-of-service", {}, 422),
        ("out-of-service", {"why": " "}, 422),
        ("acknowledge", {"for_s": 3}, 422),
    ],
)
def test_what_makes_no_sense_is_a_problem_and_changes_nothing(
    client: TestClient, kitchen: Kitchen, batch: str, verb: str, body: dict[str, Any], status: int
) -> None:
    made = raised(kitchen, batch)

    answer = client.post(f"/v1/alarms/{made}/{verb}", json=body)

    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["detail"] and answer.json()["do"]
    assert [alarm["state"] for alarm in alarms(client)] == ["unacknowledged"]


@pytest.mark.parametrize(
    ("verb", "body"),
    [("acknowledge", {}), ("shelve", {"for_s": 60, "why": "x"}), ("unshelve", {}),
     ("out-of-service", {"why": "x"}), ("return-to-service", {})],
)  # fmt: skip
@pytest.mark.parametrize("wanted", ["none", "%25", "3ed4cc05-1a2f-58df-b2fb-dc9c382c1eef"])
def test_an_unknown_alarm_is_a_problem(
    client: TestClient, verb: str, body: dict[str, Any], wanted: str
) -> None:
    answer = client.post(f"/v1/alarms/{wanted}/{verb}", json=body)

    assert answer.status_code == 404
    assert "no alarm" in answer.json()["detail"]


def test_a_batchs_own_record_is_no_alarm(client: TestClient, batch: str) -> None:
    assert client.post(f"/v1/alarms/{batch}/acknowledge").status_code == 404


def test_open_alarms_come_by_priority_and_what_is_put_away_last(
    client: TestClient, kitchen: Kitchen, batch: str
) -> None:
    low = raised(kitchen, batch, "near the edge/hold 0/low", "low")
    heard = raised(kitchen, batch, "may foam over", "high")
    high = raised(kitchen, batch, "chilling missed/x", "high")
    shelved = raised(kitchen, "kitchen", "disk low", "medium")
    said(client, heard, "acknowledge")
    said(client, shelved, "shelve", for_s=60, why="later")

    found = alarms(client)

    assert [alarm["id"] for alarm in found] == [high, low, heard, shelved]
    assert found[-1]["batch"] is None
    assert [alarm["id"] for alarm in alarms(client, f"?batch={batch}")] == [high, low, heard]


def test_alarms_of_a_closed_batch_are_history(
    client: TestClient, kitchen: Kitchen, batch: str
) -> None:
    made = raised(kitchen, batch)
    kitchen.journal.record(batch, "event", {"kind": "end", "at": format_ms(kitchen.now_ms())})

    assert alarms(client) == []
    assert [alarm["id"] for alarm in alarms(client, "?history=true")] == [made]


def test_every_change_is_a_record_with_who_and_why(
    client: TestClient, kitchen: Kitchen, batch: str
) -> None:
    made = raised(kitchen, batch)
    said(client, made, "acknowledge", who="Anna")
    said(client, made, "shelve", for_s=60, why="washing", who="Ben")

    changes = client.get("/v1/alarms?history=true").json()["changes"]

    assert [(c["action"], c["state"], c["who"], c["why"]) for c in changes] == [
        ("shelved", "shelved", "Ben", "washing"),
        ("acknowledged", "acknowledged", "Anna", ""),
        ("raised", "unacknowledged", "", ""),
    ]
    assert kitchen.journal.chains.verify(batch) == []
    assert len(kitchen.journal.chains.of_kind(batch, "alarm")) == 3


def test_the_rate_stands_beside_the_published_figures_with_their_source(
    client: TestClient, kitchen: Kitchen, batch: str, notice: str
) -> None:
    assert notice
    for number in range(2):
        raised(kitchen, batch, f"near the edge/hold {number}/low", "low")

    rate = client.get("/v1/alarms/rate").json()

    assert (rate["last_10_min"], rate["last_day"]) == (3, 3)
    assert rate["words"] == "more than is manageable for long"
    assert all("EEMUA 191" in f["source"] or "ISA-18.2" in f["source"] for f in rate["figures"])
    assert {f["status"] for f in rate["figures"]} == {"second hand", "from memory"}
    shares = {one["priority"]: one["share"] for one in rate["priorities"]}
    assert shares == pytest.approx({"low": 2 / 3, "medium": 1 / 3, "high": 0.0})


def test_a_recipes_limit_is_kept_and_a_wrong_one_refused(client: TestClient) -> None:
    limit = {"side": "high", "value": 90, "unit": "degC", "priority": "low"}
    body = {
        "name": "Soybean", "ingredients": [{"name": "soybean"}],
        "steps": [{"kind": "heat", "limit": limit}],
    }  # fmt: skip

    kept = client.post("/v1/recipes", json=body)
    assert kept.status_code == 201, kept.text
    assert kept.json()["steps"][0]["limit"] == limit
    for wrong in (
        {**limit, "unit": "kg"},
        {**limit, "side": "left"},
        {**limit, "priority": "urgent"},
        {**limit, "dead_band": -1},
        {**limit, "on_delay": {"value": 3, "unit": "kg"}},
        {"value": 90, "unit": "degC"},
    ):
        wrong_body = {**body, "steps": [{"kind": "heat", "limit": wrong}]}
        assert client.post("/v1/recipes", json=wrong_body).status_code == 422


def test_an_own_foam_temperature_must_be_one(client: TestClient) -> None:
    good = {"name": "sesame", "foam": {"value": 76, "unit": "degC"}}
    assert client.post("/v1/ingredients", json=good).status_code == 201
    assert (
        client.post(
            "/v1/ingredients", json={**good, "foam": {"value": 1, "unit": "kg"}}
        ).status_code
        == 422
    )
