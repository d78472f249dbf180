"""Set-up in a real browser, against the real server: the walk, and that its settings hold."""

from __future__ import annotations

import re
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

pytestmark = pytest.mark.e2e

SIZES = {
    "phone": {"width": 390, "height": 844},
    "tablet": {"width": 820, "height": 1180},
    "desktop": {"width": 1280, "height": 900},
}


class _Service(BaseHTTPRequestHandler):
    """Takes any message, as a service for phones would."""

    def do_POST(self) -> None:
        self.rfile.read(int(self.headers.get("Content-Length") or 0))
        self.send_response(200)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, format: str, *args: Any) -> None:
        """Say nothing."""


@pytest.fixture
def service() -> Iterator[str]:
    """A service on a free loopback port; its address as apprise writes it."""
    server = HTTPServer(("127.0.0.1", 0), _Service)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield f"json://127.0.0.1:{server.server_address[1]}/notice"
    server.shutdown()
    thread.join()
    server.server_close()


@pytest.fixture
def new_server(server: Any) -> Any:
    """A server of which nothing is known: no configuration file, no record."""
    server.kill()
    (server.data_dir / "curdwright.toml").unlink()
    server.start()
    return server


@pytest.fixture(params=list(SIZES))
def any_device(request: pytest.FixtureRequest, screen: Any) -> Any:
    """A phone, a tablet, a desktop."""
    return screen(SIZES[request.param])


def opened(page: Page, step: str) -> Any:
    """Wait until a step is the open one."""
    found = page.locator(f"#{step}")
    expect(found).to_have_attribute("open", "")
    expect(page.locator("details.setup-step[open]")).to_have_count(1)
    return found


def state(page: Page, step: str) -> Any:
    return page.locator(f"#{step} > summary .done-state")


def test_the_whole_walk_of_a_new_kitchen(new_server: Any, any_device: Any, service: str) -> None:
    server, page = new_server, any_device.page
    server.say("north/milk", "Cel", 20.0, 21.5)
    page.goto("/")

    expect(page.get_by_role("heading", name="Set-up", level=1)).to_be_visible()
    step = opened(page, "kitchen")
    expect(step.get_by_label("Time zone")).to_have_value("Europe/Vienna")  # the device's own
    step.get_by_label("Name of the kitchen").fill("Fern Lane")
    step.get_by_role("button", name="Save and go on").click()

    step = opened(page, "place")
    expect(page.locator(".kitchen")).to_have_text("Fern Lane")
    step.get_by_label("Altitude, or the pressure").fill("1500")
    expect(page.locator("#boils")).to_contain_text(re.compile(r"9[45]\.\d"))
    step.get_by_role("button", name="Save and go on").click()

    step = opened(page, "units")
    step.get_by_label("Temperatures in").select_option("degF")
    step.get_by_label("Currency").fill("eur")
    step.get_by_role("button", name="Save and go on").click()

    step = opened(page, "instruments")
    expect(step).to_contain_text("north/milk")
    server.say("north/milk", "Cel", 33.25)
    expect(step).to_contain_text("33.25")  # it moves while one looks
    page.locator("#pots > summary").click()

    step = page.locator("#pots")
    step.get_by_label("Name", exact=True).fill("North")
    step.get_by_label("Its thermometer").select_option("north/milk")
    step.get_by_role("button", name="Save the pot").click()
    expect(state(page, "pots")).to_have_text("done")
    page.goto("/set-up#notices")

    step = opened(page, "notices")
    step.get_by_label("Name of a new route").fill("Phone")
    step.get_by_label("Its address").fill(service)
    with page.expect_navigation():  # the page comes anew, with its script
        step.get_by_role("button", name="Add it").click()
    page.locator("#notices").get_by_role("button", name="Send a test").click()
    expect(page.locator("#notices .result")).to_contain_text("It was taken")
    page.locator("#notices").get_by_role("button", name="Go on").click()

    step = opened(page, "data")
    expect(state(page, "notices")).to_have_text("done")
    expect(step).to_contain_text(str(server.data_dir))
    with page.expect_navigation():
        step.get_by_role("button", name="I know where it lies").click()

    step = opened(page, "phone")
    expect(step).to_contain_text("--host 0.0.0.0")
    step.get_by_role("button", name="Do it later").click()
    expect(state(page, "phone")).to_have_text("put off")
    expect(page.locator(".lead")).to_contain_text("7 of 8 done")

    page.get_by_role("button", name="Leave it for now").click()
    expect(page.get_by_role("heading", name="No batch is open")).to_be_visible()
    expect(page.locator(".foot")).to_contain_text("°F")

    any_device.outage_expected = True
    server.kill()
    server.start()
    page.goto("/")  # not led away again, and everything holds
    expect(page.locator(".kitchen")).to_have_text("Fern Lane")
    expect(page.locator(".foot")).to_contain_text("Europe/Vienna")


def test_set_up_can_be_left_at_once_and_is_not_forced_again(new_server: Any, screen: Any) -> None:
    page = screen(SIZES["phone"]).page
    page.goto("/")
    page.get_by_role("button", name="Leave it for now").click()
    expect(page.get_by_role("heading", name="No batch is open")).to_be_visible()
    page.goto("/")
    expect(page.get_by_role("heading", name="No batch is open")).to_be_visible()
    page.get_by_role("link", name="Set-up").click()
    expect(page.get_by_role("heading", name="Set-up", level=1)).to_be_visible()


def test_the_file_holds_again_when_it_is_asked_to(server: Any, screen: Any) -> None:
    page = screen(SIZES["tablet"]).page
    page.goto("/set-up#kitchen")
    step = opened(page, "kitchen")
    expect(step).to_contain_text("As curdwright.toml says")
    step.get_by_label("Name of the kitchen").fill("Other Lane")
    step.get_by_role("button", name="Save and go on").click()
    expect(page.locator(".kitchen")).to_have_text("Other Lane")
    page.goto("/set-up#kitchen")
    opened(page, "kitchen")
    expect(page.locator("#kitchen")).to_contain_text("default says Fern Lane")

    page.locator("#kitchen").get_by_role(
        "button", name=re.compile(r"say it again\s*: name")
    ).click()

    expect(page.locator(".kitchen")).to_have_text("Fern Lane")
    assert server.get("/v1/settings")["settings"]["name"]["by"] == "file"


@pytest.mark.parametrize(
    ("step", "label", "text", "said"),
    [
        ("kitchen", "Name of the kitchen", " ", "no name yet"),
        ("kitchen", "Time zone", "Mars/Olympus", "no such time zone"),
        ("place", "Altitude, or the pressure", "high", "“high” is not a number"),
        ("place", "Altitude, or the pressure", "90000", "less than or equal to 6000"),
        ("units", "Currency", "€€", "is no currency code"),
    ],
)
def test_a_wrong_value_is_told_and_the_focus_is_there(
    server: Any, screen: Any, step: str, label: str, text: str, said: str
) -> None:
    device = screen(SIZES["phone"])
    device.refusal_expected = 422
    page = device.page
    page.goto(f"/set-up#{step}")
    sheet = opened(page, step)
    sheet.get_by_label(label).fill(text)
    sheet.get_by_role("button", name="Save and go on").click()

    expect(sheet.locator(".fault")).to_contain_text(said)
    expect(sheet.get_by_label(label)).to_be_focused()
    assert {one["by"] for one in server.get("/v1/settings")["settings"].values()} <= {
        "file",
        "default",
    }


def test_the_walk_goes_by_the_keyboard_alone(server: Any, screen: Any) -> None:
    page = screen(SIZES["desktop"]).page
    page.goto("/set-up")
    page.locator("#data > summary").press("Enter")
    page.locator("#data").get_by_role("button", name="I know where it lies").press("Enter")
    expect(state(page, "data")).to_have_text("done")
    opened(page, "phone")
    expect(page.locator("#phone > summary")).to_be_focused()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", list(SIZES))
def test_set_up_shuts_nobody_out(server: Any, screen: Any, size: str, scheme: str) -> None:
    server.say("north/milk", "Cel", 20.0)
    server.post("/v1/pots", {"name": "North", "thermometer": "north/milk"})
    server.post("/v1/settings", {"name": "Fern Lane", "currency": "EUR"})
    server.post("/v1/notices/routes", {"name": "Phone", "address": "json://127.0.0.1:9/x"})
    page = screen(SIZES[size], color_scheme=scheme).page
    page.goto("/set-up")
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")

    found = Axe().run(page).response["violations"]

    assert found == [], [(one["id"], one["nodes"][0]["html"]) for one in found]
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    small = page.evaluate(
        "Array.from(document.querySelectorAll('main button, main input, main select, "
        "main summary')).filter(one => one.offsetParent && one.offsetHeight < 47)"
        ".map(one => one.outerHTML)"
    )
    assert small == []
