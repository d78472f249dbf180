"""Settings made on the page: they win over the file, hold at once, and survive a restart."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.kitchen import Kitchen, open_kitchen

FILE = '[kitchen]\nname = "Fern Lane"\nzone = "Europe/Vienna"\naltitude_m = 410\n'


@pytest.fixture
def kitchen(tmp_path: Path, clock: Any) -> Iterator[Kitchen]:
    """A kitchen whose file says three things."""
    folder = tmp_path / "kitchen"
    folder.mkdir()
    (folder / "curdwright.toml").write_text(FILE, encoding="utf-8")
    opened = open_kitchen(folder, now_ms=clock)
    yield opened
    opened.close()


def setting(client: TestClient, key: str) -> dict[str, Any]:
    return dict(client.get("/v1/settings").json()["settings"][key])


def put(client: TestClient, **body: Any) -> dict[str, Any]:
    answer = client.post("/v1/settings", json=body)
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def test_without_a_word_on_the_page_the_file_holds_and_says_so(client: TestClient) -> None:
    assert (setting(client, "name")["value"], setting(client, "name")["by"]) == (
        "Fern Lane",
        "file",
    )
    assert setting(client, "room_temperature_degc")["by"] == "default"
    assert setting(client, "currency")["value"] is None


def test_what_is_set_on_the_page_wins_and_names_what_the_file_says(client: TestClient) -> None:
    put(client, name="Fern Lane 2", currency="eur", who="Ana")

    assert setting(client, "name") == {
        "key": "name",
        "value": "Fern Lane 2",
        "by": "page",
        "file": "Fern Lane",
        "at": "2026-03-02T08:15:00.000Z",
        "who": "Ana",
    }
    assert setting(client, "currency")["value"] == "EUR"
    assert "Fern Lane 2" in client.get("/", headers={"Accept": "text/html"}).text


def test_the_boiling_point_follows_the_altitude_at_once(
    client: TestClient, kitchen: Kitchen
) -> None:
    before = client.get("/v1/settings").json()["boiling_point"]["value"]

    after = put(client, altitude={"value": 2000, "unit": "m"})["boiling_point"]["value"]

    assert before - after > 4.0  # 1590 m higher: about a kelvin for each 300 m
    assert kitchen.config.kitchen.altitude_m == 2000.0
    assert kitchen.settings.file.kitchen.altitude_m == 410.0


def test_a_pressure_takes_the_place_of_an_altitude_and_the_reverse(
    client: TestClient, kitchen: Kitchen
) -> None:
    put(client, pressure={"value": 95.0, "unit": "kPa"})
    assert (kitchen.config.kitchen.altitude_m, kitchen.config.kitchen.pressure_hpa) == (None, 950.0)

    put(client, altitude={"value": 1000, "unit": "ft"})
    assert kitchen.config.kitchen.pressure_hpa is None
    assert kitchen.config.kitchen.altitude_m == pytest.approx(304.8)  # 0.3048 m, by definition

    put(client, restore=["altitude_m"])
    assert kitchen.config.kitchen.altitude_m == 410.0


def test_it_survives_a_restart(client: TestClient, kitchen: Kitchen, clock: Any) -> None:
    put(client, name="Other Lane", zone="Asia/Tokyo")

    again = open_kitchen(kitchen.data_dir, now_ms=clock)

    assert (again.config.kitchen.name, again.config.kitchen.zone) == ("Other Lane", "Asia/Tokyo")
    again.close()


@pytest.mark.parametrize(
    ("body", "where"),
    [
        ({"zone": "Mars/Olympus"}, "zone"),
        ({"altitude": {"value": 9000, "unit": "m"}}, "altitude_m"),
        ({"pressure": {"value": 10, "unit": "hPa"}}, "pressure_hpa"),
        ({"room_temperature": {"value": 400, "unit": "degF"}}, "room_temperature_degc"),
        ({}, "settings"),
        ({"currency": "euros"}, "body.currency"),
    ],
)
def test_a_value_that_cannot_be_is_refused_and_the_old_one_holds(
    client: TestClient, kitchen: Kitchen, body: dict[str, Any], where: str
) -> None:
    before = kitchen.config

    answer = client.post("/v1/settings", json=body)

    assert answer.status_code == 422
    assert answer.json()["where"] == where
    assert answer.json()["do"]
    assert kitchen.config == before


def test_an_altitude_of_the_wrong_kind_of_unit_is_refused(client: TestClient) -> None:
    answer = client.post("/v1/settings", json={"altitude": {"value": 3, "unit": "kg"}})

    assert answer.status_code == 422
    assert "'kg' is not a unit of length" in answer.json()["detail"]


def test_the_boiling_point_is_told_before_anything_is_set(client: TestClient) -> None:
    at_sea = client.get("/v1/settings/boiling-point?value=1013.25&unit=hPa").json()
    odd = client.get("/v1/settings/boiling-point?value=99&unit=hPa")

    assert at_sea["value"] == pytest.approx(99.974, abs=0.001)  # IAPWS-IF97 at 101325 Pa
    assert odd.status_code == 422
    assert odd.json()["where"] == "pressure"


def test_a_device_of_its_own_units_wins_over_the_kitchens(client: TestClient) -> None:
    put(client, temperature_unit="degF", mass_unit="oz")
    page = client.get("/batches", headers={"Accept": "text/html"}).text
    assert "°F" in page and "oz and lb" in page

    client.cookies.set("curdwright_temperature", "degC")
    assert "°F<span" not in client.get("/batches", headers={"Accept": "text/html"}).text


def test_the_steps_of_the_walk_are_remembered(client: TestClient) -> None:
    client.post("/v1/settings/walk", json={"step": "pots", "state": "later"})
    client.post("/v1/settings/walk", json={"step": "pots", "state": "done"})

    assert client.get("/v1/settings").json()["walk"] == {"pots": "done"}
