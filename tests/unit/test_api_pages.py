"""The pages' routes: what they are given, their headers, and what a fault looks like."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api import page_data
from api.analysis.live_holds import POUR_KEPT_FOR_MS, SAME_FOR_MS, LiveHolds
from api.analysis.outlook import Outlooks
from api.analysis.whole import analysis
from api.kitchen import Kitchen
from api.times import format_ms

RECIPE = {
    "name": "Soybean, gypsum",
    "ingredients": [{"name": "soybean"}],
    "steps": [
        {"kind": "boil", "hold": {
            "name": "boil", "below_boiling": {"value": 3, "unit": "K"},
            "least": {"value": 30, "unit": "s"}, "ends": "addition"}},
        {"kind": "addition", "target": {"value": 80, "unit": "degC"}},
        {"kind": "cover", "hold": {
            "name": "covered hold", "low": {"value": 65, "unit": "degC"},
            "least": {"value": 2, "unit": "min"}, "starts": "cover", "ends": "ladle"}},
    ],
}  # fmt: skip
BOIL_S, POUR_S, LENGTH_S = 60, 360, 420


def degc(second: float) -> float:
    """Return an invented pot: at the boil, cooling to 80, a dip of 4 K, slowly cooling [degC]."""
    if second < BOIL_S:
        return 98.0
    if second < POUR_S:
        return 98.0 - 18.0 * (second - BOIL_S) / (POUR_S - BOIL_S)
    return 76.0 - 0.005 * (second - POUR_S) + 4.0 * math.exp(-(second - POUR_S) / 5.0)


@pytest.fixture
def batch(client: TestClient, senml: Any, clock: Any) -> str:
    """An open batch whose pour was at POUR_S of the last seven minutes."""
    start_s = clock.ms / 1000.0 - LENGTH_S
    senml(
        *(
            {"n": "north/milk", "u": "Cel", "t": start_s + s, "v": round(degc(s), 3)}
            for s in range(LENGTH_S)
        )
    )
    recipe = client.post("/v1/recipes", json=RECIPE).json()["id"]
    body = {"name": "North", "pot": "North", "thermometer": "north/milk", "recipe": recipe,
            "started_at": format_ms(start_s * 1000)}  # fmt: skip
    made = client.post("/v1/batches", json=body).json()["id"]
    for kind, second in (("addition", POUR_S + 8), ("cover", POUR_S + 20)):
        said = {"kind": kind, "at": format_ms((start_s + second) * 1000)}
        assert client.post(f"/v1/batches/{made}/events", json=said).status_code == 201
    return str(made)


def facts_of(page: str) -> Any:
    start = page.index('id="page-facts">') + len('id="page-facts">')
    return json.loads(page[start : page.index("</script>", start)])


def test_the_stove_is_given_what_the_interface_gives(
    client: TestClient, kitchen: Kitchen, batch: str
) -> None:
    client.post(f"/v1/batches/{batch}/events", json={"kind": "note", "note": "stirred"})
    live = page_data.Live(LiveHolds(), Outlooks())
    scope = {"type": "http", "headers": [], "client": ("127.0.0.1", 1)}
    given = page_data.stove(kitchen, scope, live)
    [item] = given["batches"]

    assert item["batch"] == client.get(f"/v1/batches/{batch}").json()
    assert given["instruments"] == client.get("/v1/instruments").json()["instruments"]
    assert item["holds"] == analysis(kitchen, batch)["holds"]
    assert item["outlook"] == client.get(f"/v1/batches/{batch}/outlook").json()
    said = client.get("/v1/readings?series=north/milk&points=500&time=ms").json()
    assert [list(one) for one in item["curve"]["readings"]] == said["readings"]


def test_a_page_tells_where_the_live_stream_goes_on(
    client: TestClient, kitchen: Kitchen, batch: str
) -> None:
    facts = facts_of(client.get("/").text)

    arrivals, records = kitchen.readings.last_arrival(), kitchen.journal.chains.last_number()
    assert facts["position"] == f"r{arrivals}.e{records}"
    assert arrivals == LENGTH_S


def test_a_hold_below_boiling_is_drawn_from_the_kitchens_own_boiling_point(
    client: TestClient, kitchen: Kitchen, batch: str
) -> None:
    bands = {band["hold"]: band for band in facts_of(client.get("/").text)["batches"][0]["bands"]}
    boiling = analysis(kitchen, batch)["boiling_point"]["value"]

    assert bands["boil"]["low"] == pytest.approx(boiling - 3.0)
    assert bands["boil"]["high"] is None
    assert bands["covered hold"]["low"] == 65.0


def test_the_curve_ends_where_the_probe_left_the_milk(
    client: TestClient, senml: Any, clock: Any, batch: str
) -> None:
    client.post(f"/v1/batches/{batch}/events", json={"kind": "ladle"})
    ladled_ms = clock.ms
    clock.ms += 60_000
    senml({"n": "north/milk", "u": "Cel", "t": clock.ms / 1000.0, "v": 30.0})

    [told] = facts_of(client.get("/").text)["batches"]

    assert told["live"] is False
    assert told["curve_to_ms"] < ladled_ms


def test_live_holds_are_those_of_the_record_and_follow_its_marks(
    client: TestClient, kitchen: Kitchen, batch: str
) -> None:
    live = LiveHolds()
    before = live.of(kitchen, kitchen.journal.batch(batch))["holds"]
    assert before == analysis(kitchen, batch)["holds"]
    assert [hold["verdict"] for hold in before] == ["met", "running"]

    client.post(f"/v1/batches/{batch}/events", json={"kind": "ladle"})
    after = live.of(kitchen, kitchen.journal.batch(batch))["holds"]

    assert after == analysis(kitchen, batch)["holds"]
    assert after[1]["verdict"] == "not met"


def test_live_holds_are_computed_anew_after_a_moment(
    client: TestClient, kitchen: Kitchen, senml: Any, clock: Any, batch: str
) -> None:
    live = LiveHolds()
    first = live.of(kitchen, kitchen.journal.batch(batch))
    clock.ms += SAME_FOR_MS - 1
    senml({"n": "north/milk", "u": "Cel", "t": clock.ms / 1000.0, "v": 75.7})
    assert live.of(kitchen, kitchen.journal.batch(batch)) is first

    clock.ms += 1

    held = live.of(kitchen, kitchen.journal.batch(batch))["holds"][1]["held_s"]
    assert held > first["holds"][1]["held_s"]


def test_a_check_of_the_probe_changes_the_live_holds_at_once(
    client: TestClient, kitchen: Kitchen, batch: str
) -> None:
    live = LiveHolds()
    before = live.of(kitchen, kitchen.journal.batch(batch))["holds"]
    check = {"kind": "ice", "indicated": {"value": 1.5, "unit": "degC"},
             "valid_from": "2026-03-01T00:00:00Z"}  # fmt: skip
    assert client.post("/v1/instruments/north/milk/checks", json=check).status_code == 201

    after = live.of(kitchen, kitchen.journal.batch(batch))["holds"]

    assert after != before
    assert after == analysis(kitchen, batch)["holds"]


def test_the_pour_is_placed_again_while_readings_after_it_still_come(
    client: TestClient, kitchen: Kitchen, senml: Any, clock: Any, batch: str
) -> None:
    live = LiveHolds()
    live.of(kitchen, kitchen.journal.batch(batch))
    start_s = clock.ms / 1000.0 - LENGTH_S
    later = [
        {"n": "north/milk", "u": "Cel", "t": start_s + s, "v": round(degc(s), 3)}
        for s in range(LENGTH_S, LENGTH_S + POUR_KEPT_FOR_MS // 1000)
    ]
    clock.ms += POUR_KEPT_FOR_MS
    senml(*later)

    again = live.of(kitchen, kitchen.journal.batch(batch))["holds"]

    assert again == analysis(kitchen, batch)["holds"]


def test_pages_may_load_nothing_from_elsewhere_and_stand_in_no_frame(client: TestClient) -> None:
    for path in ("/", "/batches", "/pair"):
        policy = client.get(path).headers["content-security-policy"]
        assert "default-src 'self'" in policy
        assert "frame-ancestors 'none'" in policy
        assert "unsafe" not in policy


def test_the_pages_own_files_are_served_and_asked_for_anew(client: TestClient) -> None:
    answer = client.get("/static/js/stove.js")

    assert answer.status_code == 200
    assert answer.headers["cache-control"] == "no-cache"
    again = client.get("/static/js/stove.js", headers={"If-None-Match": answer.headers["etag"]})
    assert again.status_code == 304


def test_a_batch_that_is_not_there_is_a_page_in_words(client: TestClient) -> None:
    answer = client.get("/batches/nothing")

    assert answer.status_code == 404
    assert answer.headers["content-type"].startswith("text/html")
    assert "There is no batch &#39;nothing&#39;." in answer.text


def test_the_record_is_a_page_too(client: TestClient, batch: str) -> None:
    answer = client.get(f"/batches/{batch}")

    assert answer.status_code == 200
    assert "Temperature at addition" in answer.text


def test_the_pairing_page_tells_nothing_of_the_kitchen(
    client: TestClient, kitchen: Kitchen
) -> None:
    assert kitchen.config.kitchen.name != "Curdwright"
    assert kitchen.config.kitchen.name not in client.get("/pair").text.replace("kitchen", "")


def test_a_reader_gets_the_units_that_the_cookie_names(client: TestClient, batch: str) -> None:
    client.cookies.set("curdwright_temperature", "degF")

    assert "°F</span>" in client.get("/").text
    assert facts_of(client.get("/").text)["units"] == {"temperature": "degF", "mass": "g"}


def test_a_batch_whose_recipe_makes_no_sense_does_not_take_the_stove_down(
    client: TestClient, kitchen: Kitchen, batch: str
) -> None:
    broken = {
        "name": "broken", "started_at": format_ms(kitchen.now_ms()),
        "recipe": {"id": "r", "version": 1, "name": "x", "steps": [
            {"kind": "boil", "hold": {"name": "rest", "low": {"value": 80, "unit": "degC"},
                                      "high": {"value": 70, "unit": "degC"},
                                      "least": {"value": 1, "unit": "min"}}}]},
    }  # fmt: skip
    kitchen.journal.start_batch(broken, record_id=None, who="")

    page = client.get("/")

    assert page.status_code == 200
    assert "Its band runs from 80 down to 70 °C." in page.text
    assert "covered hold" in page.text
