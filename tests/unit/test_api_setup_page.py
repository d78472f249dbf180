"""The page Set-up: who is led there, what counts as done, and who may see the pairing address."""

from __future__ import annotations

import re
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.kitchen import Kitchen

HTML = {"Accept": "text/html"}


def page(client: TestClient) -> str:
    answer = client.get("/set-up", headers=HTML)
    assert answer.status_code == 200, answer.text
    return answer.text


def states(text: str) -> dict[str, str]:
    found = re.findall(r'data-step="(\w+)".*?data-state="(\w+)"', text, re.DOTALL)
    return dict(found)


def led(client: TestClient) -> bool:
    answer = client.get("/", headers=HTML, follow_redirects=False)
    return answer.status_code == 303 and answer.headers["location"] == "/set-up"


def test_the_first_look_at_a_new_kitchen_is_led_to_set_up(client: TestClient) -> None:
    assert led(client)
    assert client.get("/", follow_redirects=False).status_code == 200  # what is no page is not


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/v1/settings/walk", {"step": "walk", "state": "open"}),
        ("/v1/settings", {"name": "Fern Lane"}),
        ("/v1/batches", {"name": "North"}),
    ],
)
def test_it_is_led_there_only_until_anything_is_known(
    client: TestClient, path: str, body: dict[str, Any]
) -> None:
    assert client.post(path, json=body).status_code in (200, 201)

    assert not led(client)


def test_another_machine_is_not_led_to_set_up(kitchen: Kitchen) -> None:
    app = create_app(kitchen)
    away = TestClient(app, base_url="http://127.0.0.1", client=("192.168.1.7", 50000))
    away.cookies.set("curdwright_token", app.state.token)

    assert not led(away)


def test_a_step_is_done_when_it_shows_by_itself(client: TestClient, senml: Any) -> None:
    assert set(states(page(client)).values()) == {"open"}

    client.post("/v1/settings", json={"name": "Fern Lane", "zone": "Europe/Vienna"})
    client.post("/v1/settings", json={"altitude": {"value": 410, "unit": "m"}, "currency": "EUR"})
    senml({"n": "north/milk", "u": "Cel", "v": 20.0})
    client.post("/v1/pots", json={"name": "North", "thermometer": "north/milk"})
    client.post("/v1/settings/walk", json={"step": "data", "state": "done"})
    client.post("/v1/settings/walk", json={"step": "phone", "state": "later"})

    found = states(page(client))
    assert found.pop("notices") == "open"  # no route took a message yet
    assert found.pop("phone") == "later"
    assert found == dict.fromkeys(
        ("kitchen", "place", "units", "instruments", "pots", "data"), "done"
    )


def test_a_silent_instrument_does_not_count_as_found(
    client: TestClient, senml: Any, clock: Any
) -> None:
    senml({"n": "north/milk", "u": "Cel", "v": 20.0})
    clock.ms += 3_600_000

    assert states(page(client))["instruments"] == "open"


def test_the_page_says_where_the_data_lies_and_which_word_wins(
    client: TestClient, kitchen: Kitchen
) -> None:
    client.post("/v1/settings", json={"room_temperature": {"value": 70, "unit": "degF"}})
    client.post("/v1/settings", json={"name": "Fern Lane", "who": "Ana"})

    text = page(client)

    assert str(kitchen.data_dir.resolve()) in text
    assert "records.sqlite3" in text and "readings.sqlite3" in text
    assert "Set here, 09:15 by Ana" in text or "Set here, 08:15 by Ana" in text


def test_the_pairing_address_is_for_this_machine_alone(kitchen: Kitchen) -> None:
    app = create_app(kitchen, host="192.0.2.17")  # an address of RFC 5737
    here = TestClient(app, base_url="http://127.0.0.1", client=("127.0.0.1", 50000))
    away = TestClient(app, base_url="http://192.0.2.17", client=("192.0.2.9", 50000))
    away.cookies.set("curdwright_token", app.state.token)

    shown, hidden = page(here), page(away)

    assert f"/pair#{app.state.token}" in shown and "<svg" in shown
    assert "192.0.2.17" in shown
    assert app.state.token not in hidden and 'class="qr"' not in hidden
    assert states(shown)["phone"] == "done"


def test_on_loopback_it_says_how_to_let_a_phone_in(client: TestClient) -> None:
    text = page(client)

    assert "--host 0.0.0.0" in text
    assert "/pair#" not in text
