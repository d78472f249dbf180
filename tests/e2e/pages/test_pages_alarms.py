"""Alarms in a real browser, against the real server: seen, heard, acknowledged, shelved."""

from __future__ import annotations

import datetime
import re
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Locator, Page, expect

pytestmark = pytest.mark.e2e

# Counts the calls and stops of the page's own audio.
COUNT_TONES = """
  window.tones = 0;
  const start = OscillatorNode.prototype.start;
  OscillatorNode.prototype.start = function (...at) {
    window.tones += 1;
    return start.apply(this, at);
  };
"""


def north(server: Any) -> str:
    """A batch in North that began two minutes ago, with its first readings; its id."""
    server.say("north/milk", "Cel", *[30.0] * 5, ago_s=130.0)
    begun = datetime.datetime.now(datetime.UTC) - datetime.timedelta(seconds=150)
    body = {
        "name": "North", "pot": "North", "thermometer": "north/milk",
        "started_at": begun.isoformat(), "ingredients": [{"name": "soybean"}],
        "target": {"value": 80, "unit": "degC", "approach": "rising"},
    }  # fmt: skip
    return str(server.post("/v1/batches", body)["id"])


def heat_over(server: Any) -> None:
    """Two minutes of milk that rises over its target of 80 degC, and stays there."""
    server.say("north/milk", "Cel", *[76.0 + 0.08 * n for n in range(100)], *[84.0] * 20)


def box(page: Page, words: str) -> Locator:
    return page.locator(".alarm").filter(has_text=words)


def test_alarms_are_seen_heard_acknowledged_and_shelved(
    server: Any, device: Any, screen: Any
) -> None:
    north(server)
    page = device.page
    page.add_init_script(COUNT_TONES)
    page.goto("/")
    expect(page.locator("#connection")).to_contain_text("Live")
    page.get_by_role("button", name="Start the shift").tap()
    expect(page.locator("#shift")).to_have_attribute("data-sound", "running")
    other = screen().page
    other.goto("/")
    expect(other.locator("#connection")).to_contain_text("Live")
    before = page.evaluate("window.tones")

    heat_over(server)

    foam, over = box(page, "may foam over"), box(page, "over the target of 80")
    expect(foam).to_have_attribute("data-state", "unacknowledged")
    expect(foam).to_contain_text("High, act within 20 s · not acknowledged")
    expect(foam).to_contain_text("can't see foam")
    expect(over).to_contain_text("Medium, act within 1 min")
    expect(page.locator(".alarm").first).to_contain_text("may foam over")  # the most urgent
    page.wait_for_function("count => window.tones > count", arg=before)
    for button in (
        foam.get_by_role("button", name="Heard"),
        foam.get_by_role("button", name="Shelve"),
    ):
        size = button.bounding_box()
        assert size is not None and size["height"] >= 72 and size["width"] >= 72

    foam.get_by_role("button", name="Heard").tap()
    expect(foam).to_have_attribute("data-state", "acknowledged")
    expect(box(other, "may foam over")).to_have_attribute("data-state", "acknowledged")

    over.get_by_role("button", name="Shelve").tap()
    expect(over).to_have_count(0)
    away = page.locator("#alarms-away li")
    expect(away).to_have_text(re.compile("over the target of 80.*shelved, 10 min left"))
    expect(box(other, "over the target")).to_have_count(0)
    (shelved,) = [a for a in server.get("/v1/alarms")["alarms"] if a["about"] == "over target"]
    assert (shelved["state"], shelved["why"]) == ("shelved", "put away on the Stove")

    page.reload()
    expect(away).to_have_count(1)
    away.get_by_role("button", name="Back now").tap()
    expect(over).to_have_attribute("data-state", "unacknowledged")
    expect(box(other, "over the target")).to_have_attribute("data-state", "unacknowledged")
    expect(page.locator("#alarms-put-away")).to_be_hidden()


def test_the_page_of_the_alarms_tells_their_history_and_rate(server: Any, device: Any) -> None:
    north(server)
    heat_over(server)
    page = device.page
    page.goto("/alarms")
    page.wait_for_function(
        "() => fetch('/v1/alarms').then(a => a.json())"
        ".then(said => said.alarms.some(a => a.about === 'over target'))"
    )
    page.reload()
    over = box(page, "over the target of 80")
    expect(over).to_contain_text("not acknowledged")
    expect(page.locator("[data-rate='last_day']")).to_contain_text(re.compile(r"^[1-9]"))
    page.get_by_text("What the figures are held against").tap()
    expect(page.get_by_text("EEMUA 191").first).to_be_visible()

    over.get_by_text("Take it out of service").tap()
    over.get_by_label("Why").fill("the probe is away to be checked")
    over.get_by_role("button", name="Take it out").tap()

    expect(over).to_contain_text("out of service: the probe is away to be checked")
    row = page.locator("tbody tr").filter(has_text="taken out of service")
    expect(row).to_contain_text("the probe is away to be checked")
    over.get_by_role("button", name="Return to service").tap()
    expect(over).to_contain_text("not acknowledged")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_on_the_alarms(server: Any, screen: Any, scheme: str) -> None:
    north(server)
    heat_over(server)
    page = screen(color_scheme=scheme).page
    page.goto("/")
    expect(box(page, "over the target")).to_have_count(1)

    for path in ("/", "/alarms"):
        page.goto(path)
        expect(box(page, "over the target")).to_have_count(1)
        found = Axe().run(page)
        assert found.violations_count == 0, found.generate_report()
