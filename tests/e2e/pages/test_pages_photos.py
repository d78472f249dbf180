"""Photos from the camera: on the pot's card and on the record, by a real browser."""

from __future__ import annotations

import io
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from PIL import Image
from playwright.sync_api import expect

pytestmark = pytest.mark.e2e


def picture(colour: str) -> dict[str, Any]:
    """Return a photo as the file chooser gives it."""
    out = io.BytesIO()
    Image.new("RGB", (800, 600), colour).save(out, "JPEG")
    return {"name": "curd.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()}


@pytest.fixture
def batch(server: Any) -> str:
    made = server.post("/v1/batches", {"name": "North, soybean", "pot": "North"})
    server.post(f"/v1/batches/{made['id']}/events", {"kind": "set"})
    return str(made["id"])


def test_a_photo_on_the_card_goes_with_the_latest_mark(
    server: Any, device: Any, batch: str
) -> None:
    page = device.page
    page.goto("/")
    button = page.locator(".camera").first
    expect(button).to_contain_text("Photo")
    assert button.bounding_box()["height"] >= 48
    page.locator("input[type=file]").first.set_input_files([picture("orange")])

    expect(page.locator("#toasts")).to_contain_text("The photo is in the record.")
    [kept] = server.get(f"/v1/batches/{batch}/photos")["photos"]
    [mark] = server.get(f"/v1/batches/{batch}/events")["events"]
    assert kept["of_record"] == mark["id"]


def test_the_record_shows_photos_with_their_words_and_takes_them_back(
    server: Any, device: Any, batch: str
) -> None:
    page = device.page
    page.goto(f"/batches/{batch}")
    form = page.locator("#photo-form")
    form.get_by_label("Of").select_option(label=form.locator("option").nth(1).inner_text())
    form.get_by_label("Words").fill("fine curd")
    form.locator("input[type=file]").set_input_files([picture("teal")])

    image = page.locator(".photos img")
    expect(image).to_be_visible()
    expect(page.locator(".photos li")).to_contain_text("Set, ")
    expect(page.locator(".photos li")).to_contain_text("fine curd")
    image.scroll_into_view_if_needed()
    page.wait_for_function("document.querySelector('.photos img').naturalWidth === 360")
    assert Axe().run(page).response["violations"] == []
    page.get_by_role("button", name="undo the photo").tap()
    expect(page.locator(".photos li")).to_have_count(0)


def test_what_is_no_picture_is_told_beside_the_form(server: Any, screen: Any, batch: str) -> None:
    opened = screen()
    opened.refusal_expected = 422
    opened.page.goto(f"/batches/{batch}")
    wrong = {"name": "x.jpg", "mimeType": "image/jpeg", "buffer": b"no picture"}
    opened.page.locator("#photo-form input[type=file]").set_input_files([wrong])

    expect(opened.page.locator("#photo-form .fault")).to_contain_text("is no picture")


def test_a_photo_is_sent_when_the_connection_is_back(server: Any, screen: Any, batch: str) -> None:
    opened = screen()
    opened.outage_expected = True
    opened.page.goto(f"/batches/{batch}")
    opened.page.route("**/photos?*", lambda route: route.abort())
    opened.page.locator("#photo-form input[type=file]").set_input_files([picture("navy")])
    expect(opened.page.locator("#toasts")).to_contain_text("tried again")
    opened.page.unroute("**/photos?*")

    expect(opened.page.locator(".photos img")).to_be_visible()
    assert len(server.get(f"/v1/batches/{batch}/photos")["photos"]) == 1
