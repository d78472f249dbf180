"""Proposals in a real browser: the server sees the heat come on, and one touch answers."""

from __future__ import annotations

import random
import re
import time
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

pytestmark = pytest.mark.e2e

COLD_S, WARMING_S = 300, 90


def cold_then_warming() -> list[float]:
    """Return milk that stands at 18 degC and is then heated by 4 K a minute, a reading a second."""
    chance = random.Random(3)
    values = [18.0] * COLD_S + [18.0 + 4.0 * i / 60.0 for i in range(WARMING_S)]
    return [round(value + chance.gauss(0.0, 0.03), 2) for value in values]


def heated_north(server: Any) -> str:
    start = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(time.time() - COLD_S - WARMING_S - 5))
    made = server.post(
        "/v1/batches",
        {"name": "Monday", "pot": "North", "thermometer": "north/milk", "started_at": start},
    )
    server.say("north/milk", "Cel", *cold_then_warming())
    return str(made["id"])


def test_a_proposal_comes_to_the_open_page_and_is_accepted_by_one_touch(
    server: Any, device: Any
) -> None:
    page = device.page
    page.goto("/")
    batch = heated_north(server)
    asked = page.locator(".proposal")
    expect(asked).to_contain_text("Heat on at")
    for button in asked.get_by_role("button").all():
        box = button.bounding_box()
        assert box is not None and box["height"] >= 72 and box["width"] >= 72
    faults = Axe().run(page).response["violations"]
    assert [one["id"] for one in faults] == []

    asked.get_by_role("button", name=re.compile("^Accept")).tap()

    expect(page.locator(".toast")).to_contain_text("Heat marked at")
    expect(page.locator(".recent li[data-event]")).to_contain_text("marked by the detector")
    expect(page.locator(".proposal")).to_have_count(0)
    [event] = server.get(f"/v1/batches/{batch}/events")["events"]
    assert (event["by"], event["accepted"]) == ("detector", "by a person")

    page.locator(".toast").get_by_role("button", name="Undo").tap()
    expect(page.locator(".recent li[data-event]")).to_have_count(0)
    expect(page.locator(".proposal")).to_have_count(0)  # nobody is asked again
    [one] = server.get(f"/v1/batches/{batch}/proposals")["proposals"]
    assert one["state"] == "dismissed"


def test_a_proposal_is_refused_by_the_keyboard_and_asked_again_after_an_undo(
    server: Any, screen: Any
) -> None:
    batch = heated_north(server)
    page = screen().page
    page.goto("/")
    refuse = page.locator(".proposal").get_by_role("button", name=re.compile("^Not so"))
    expect(refuse).to_be_visible()

    refuse.focus()
    page.keyboard.press("Enter")

    expect(page.locator(".proposal")).to_have_count(0)
    [one] = server.get(f"/v1/batches/{batch}/proposals")["proposals"]
    assert one["state"] == "dismissed"
    page.locator(".toast").get_by_role("button", name="Undo").focus()
    page.keyboard.press("Enter")
    expect(page.locator(".proposal")).to_be_visible()


def test_the_record_tells_what_the_detector_saw_and_who_accepted_it(
    server: Any, screen: Any
) -> None:
    batch = heated_north(server)
    server.get(f"/v1/batches/{batch}/proposals")
    page = screen().page
    page.goto(f"/batches/{batch}")
    saw = page.locator('[data-part="proposals"]')
    expect(saw).to_contain_text("1. Heat")
    expect(saw).to_contain_text("open")

    server.post(f"/v1/batches/{batch}/proposals/1/accept", {"who": "Ama"})

    expect(saw).to_contain_text("accepted")
    expect(page.locator("table.marks").first).to_contain_text("accepted by Ama")
    answer = server.http.get(f"/v1/batches/{batch}/record.csv").text
    assert "accepted by Ama" in answer and "\r\nproposal,heat," in answer


def test_an_idle_pot_that_is_heated_asks_and_one_touch_starts_its_batch(
    server: Any, device: Any
) -> None:
    page = device.page
    page.goto("/")
    server.post("/v1/pots", {"name": "North", "thermometer": "north/milk"})
    server.say("north/milk", "Cel", *cold_then_warming())
    asked = page.locator(".question")
    expect(asked).to_contain_text("North has begun to heat at")
    for button in asked.get_by_role("button").all():
        box = button.bounding_box()
        assert box is not None and box["height"] >= 72
    faults = Axe().run(page).response["violations"]
    assert [one["id"] for one in faults] == []

    asked.get_by_role("button", name=re.compile("^Start a batch")).tap()

    expect(page.get_by_role("heading", name="North", exact=True)).to_be_visible()
    expect(page.locator(".question")).to_have_count(0)
    expect(page.locator(".recent li[data-event]")).to_contain_text("marked by the detector")
    [batch] = server.get("/v1/batches")["batches"]
    [question] = server.get("/v1/questions")["questions"]
    assert (question["state"], question["batch"]) == ("answered", batch["id"])
    assert batch["started_at"] == question["at"]


def test_what_lies_still_on_the_scale_is_taken_as_the_weighing_that_is_next(
    server: Any, device: Any
) -> None:
    made = server.post("/v1/batches", {"name": "Monday", "pot": "North", "scale": "north/scale"})
    page = device.page
    page.goto("/")
    expect(page.locator("#connection")).to_contain_text("Live")
    server.say("north/scale", "kg", *[0.0] * 6, *[3.56] * 7)
    offer = page.locator(".proposal")
    expect(offer).to_contain_text("Milk?")

    offer.get_by_role("button", name=re.compile("^Take it")).tap()

    expect(page.locator(".toast")).to_contain_text("Milk 3.560 kg weighed")
    expect(page.locator(".proposal")).to_have_count(0)
    [weighing] = server.get(f"/v1/batches/{made['id']}/weighings")["weighings"]
    assert (weighing["net_kg"], weighing["by"], weighing["stream"]) == (3.56, "scale", "milk")
    page.locator(".toast").get_by_role("button", name="Undo").tap()
    expect(page.locator(".toast").last).to_contain_text("Undone")
    assert server.get(f"/v1/batches/{made['id']}/weighings")["weighings"] == []
