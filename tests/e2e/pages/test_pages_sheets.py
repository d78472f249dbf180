"""The record on paper, printed by a real browser from a usual batch of the simulated kitchen."""

from __future__ import annotations

import re
import time
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from api.demo.history import HISTORY, tell_history
from api.demo.site import Site
from api.demo.story import RECIPES

pytestmark = pytest.mark.e2e

A4_INSIDE_PX = {"width": 710, "height": 1050}  # 210 mm less two margins of 11 mm, at 96 px an inch
SMALLEST_PT = 8.0
_TOO_WIDE = """() => Array.from(document.querySelectorAll('.record *'))
  .filter((one) => one.getClientRects().length && !one.closest('svg') && !one.closest('.unseen'))
  .filter((one) => one.getBoundingClientRect().right > document.documentElement.clientWidth + 1)
  .map((one) => one.outerHTML.slice(0, 90))"""
_TOO_SMALL = """(px) => Array.from(document.querySelectorAll('.record *'))
  .filter((one) => one.getClientRects().length && !one.closest('svg') && !one.closest('.unseen'))
  .filter((one) => Array.from(one.childNodes).some((n) => n.nodeType === 3 && n.data.trim()))
  .filter((one) => parseFloat(getComputedStyle(one).fontSize) < px)
  .map((one) => one.outerHTML.slice(0, 90))"""


@pytest.fixture(scope="module")
def server(start_server: Any) -> Any:
    """A server that was told two finished batches."""
    running = start_server()
    site = Site(running.url)
    recipes = {name: site.post("/v1/recipes", body)["id"] for name, body in RECIPES.items()}
    for seed, past in enumerate(HISTORY, 1):
        tell_history(site, past, recipes[past.recipe], time.time_ns() // 1_000_000, seed=seed)
    return running


@pytest.fixture(params=["Small", "South"])
def batch(server: Any, request: pytest.FixtureRequest) -> str:
    found = server.get("/v1/batches?state=closed")["batches"]
    return str(next(one["id"] for one in found if one["pot"] == request.param))


def sheets_of(pdf: bytes) -> int:
    """Return how many pages a PDF of the browser's has."""
    return len(re.findall(rb"/Type /Page\b(?!s)", pdf))


def test_a_usual_batch_prints_on_two_sheets(screen: Any, batch: str) -> None:
    page = screen().page
    page.goto(f"/batches/{batch}")
    expect(page.locator("svg.flow")).to_be_visible()

    assert sheets_of(page.pdf(prefer_css_page_size=True)) <= 2


def test_on_paper_nothing_is_cut_off_and_no_text_is_below_eight_points(
    screen: Any, batch: str
) -> None:
    page = screen(A4_INSIDE_PX).page
    page.goto(f"/batches/{batch}")
    page.emulate_media(media="print")

    expect(page.locator('[data-part="part-heat_treatment"]')).to_be_visible()
    assert page.evaluate(_TOO_WIDE) == []
    assert page.evaluate(_TOO_SMALL, SMALLEST_PT * 96 / 72 - 0.01) == []
    for part in ("curve", "holds", "addition", "balance", "streams", "marks", "observations"):
        expect(page.locator(f'[data-part="{part}"]')).to_be_visible()
    for part in ("yield", "heat_treatment", "chilling", "cost"):
        expect(page.locator(f'[data-part="part-{part}"]')).to_be_visible()
    expect(page.locator(".seal")).to_contain_text("head")
    expect(page.locator(".tools")).to_be_hidden()


def test_an_action_and_a_review_are_recorded_by_keyboard_and_stand_on_the_page(
    server: Any, screen: Any, batch: str
) -> None:
    page = screen().page
    page.goto(f"/batches/{batch}")
    part = page.locator('[data-part="deviations"]')
    line = part.locator("li").filter(has_text="Late marks")
    line.locator("summary").focus()
    page.keyboard.press("Enter")
    line.get_by_label("Action").fill("marks are made at once from now on")
    line.get_by_label("By").fill("ana")
    page.keyboard.press("Enter")
    expect(line).to_contain_text("Done: marks are made at once from now on")

    reviews = page.locator('[data-part="reviews"]')
    reviews.locator("summary").focus()
    page.keyboard.press("Enter")
    reviews.get_by_label("Name").fill("ben")
    reviews.get_by_role("button", name="Sign it").tap()
    expect(reviews).to_contain_text("ben, ")
    assert Axe().run(page).response["violations"] == []


def test_a_number_opens_by_keyboard_to_say_where_it_comes_from(screen: Any, batch: str) -> None:
    page = screen().page
    page.goto(f"/batches/{batch}")
    row = page.locator('[data-part="addition"] tr').first
    row.locator("summary").focus()
    page.keyboard.press("Enter")

    opened = row.locator("details[open]")
    for words in ("standard uncertainty", "Series", "Marks", "Addition at", "Corrections", "lag"):
        expect(opened).to_contain_text(words)


def test_the_pdf_of_the_interface_has_two_sheets_too(server: Any, batch: str) -> None:
    answer = server.http.get(f"/v1/batches/{batch}/record.pdf", timeout=90)

    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")
    assert 1 <= sheets_of(answer.content) <= 2


def test_the_trial_form_prints_on_two_sheets_and_is_clean(screen: Any, batch: str) -> None:
    page = screen().page
    page.goto(f"/batches/{batch}/trial")
    expect(page.locator("svg.curve")).to_be_visible()

    assert sheets_of(page.pdf(prefer_css_page_size=True)) <= 2
    assert Axe().run(page).response["violations"] == []
