"""Instruments and their checks in a real browser, against the real server."""

from __future__ import annotations

import itertools
import math
import re
import time
from collections.abc import Iterator
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, ViewportSize, expect

pytestmark = pytest.mark.e2e

DESKTOP: ViewportSize = {"width": 1280, "height": 900}
NUMBERS = itertools.count(1)


@pytest.fixture(scope="module")
def server(start_server: Any) -> Iterator[Any]:
    yield start_server()


@pytest.fixture
def probe(server: Any) -> str:
    """A probe of its own for each test, steady at 0.4 degC, that spoke a moment ago."""
    series = f"probe{next(NUMBERS)}/milk"
    server.say(series, "Cel", *[0.38 + 0.01 * (i % 5) for i in range(40)])
    return series


def card(page: Page, series: str) -> Any:
    return page.locator(f'.instrument[data-series="{series}"]')


def test_an_empty_page_teaches_and_the_first_reading_brings_the_instrument(
    start_server: Any, browser: Any
) -> None:
    kitchen = start_server()
    context = browser.new_context(base_url=kitchen.url, viewport=DESKTOP)
    page = context.new_page()
    page.goto("/instruments")
    expect(page.get_by_role("heading", name="No instrument has spoken yet")).to_be_visible()
    line = page.locator("#curl-line").inner_text()
    assert line.endswith(f"{kitchen.url}/v1/readings")
    assert '[{"n":"north/milk","u":"Cel","v":21.5}]' in line
    expect(page.get_by_role("button", name=re.compile("Copy"))).to_be_visible()
    assert Axe().run(page).violations_count == 0

    kitchen.say("north/milk", "Cel", 21.5)
    page.reload()

    expect(card(page, "north/milk").locator(".number")).to_have_text("21.5")
    context.close()


def test_a_reading_is_shown_as_it_comes_and_silence_is_told_in_words(
    server: Any, device: Any, probe: str
) -> None:
    silent = f"silent{next(NUMBERS)}/milk"
    server.say(silent, "Cel", 60.0, 60.5, ago_s=300.0)
    page = device.page
    page.goto("/instruments")
    one = card(page, probe)
    expect(one.locator(".number")).to_have_text("0.4")
    expect(page.locator("#connection")).to_contain_text("Live")

    server.say(probe, "Cel", 55.25)

    expect(one.locator(".number")).to_have_text(re.compile(r"55\.[23]"))
    expect(one.locator(".age")).to_contain_text("s ago")
    expect(one).to_contain_text("A reading every 1 s")
    expect(one).to_contain_text("no gap")
    expect(one).to_contain_text("timed by its own clock")
    other = card(page, silent)
    expect(other.locator(".age")).to_contain_text("Silent for 5 min")
    expect(other.locator(".now.stale .broken")).to_be_visible()
    expect(other.locator(".due .is-due")).to_have_count(3)
    expect(other).to_contain_text("Ice point: never checked due")


def test_the_last_hour_is_drawn(server: Any, screen: Any, probe: str) -> None:
    page = screen().page
    page.goto("/instruments")
    one = card(page, probe)
    one.get_by_text("Curve of the last hour").tap()

    expect(one.locator("svg.curve")).to_be_visible()
    expect(one.locator("svg.curve title")).to_have_text(f"{probe}: the last hour")


def test_an_ice_check_is_walked_through_worked_out_and_recorded(
    server: Any, device: Any, probe: str
) -> None:
    page = device.page
    page.goto("/instruments")
    card(page, probe).get_by_role("link", name=re.compile("ice point")).tap()
    expect(page.locator("#indication")).to_have_text(re.compile(r"0\.\d\d"))
    expect(page.locator("#steady")).to_contain_text("Steady: within 0.04")
    expect(page.get_by_role("button", name="Record this check")).to_be_disabled()

    page.get_by_role("button", name="Take this reading").tap()
    expect(page.get_by_label("It showed")).to_have_value("0.40")
    page.get_by_label("Note").fill("crushed ice")
    page.get_by_role("button", name="Work it out").tap()

    rows = page.locator("#arithmetic tr")
    expect(rows.filter(has_text="indication").first).to_contain_text("0.40 °C")
    expect(rows.filter(has_text="reference").first).to_contain_text("melting ice")
    expect(rows.filter(has_text="correction")).to_contain_text("\N{MINUS SIGN}0.40 °C")
    expect(page.locator("#before")).to_contain_text("value = indication; u 0.29 °C")
    expect(page.locator("#after")).to_contain_text(
        "value = indication \N{MINUS SIGN} 0.40 °C; u 0.18 °C"
    )
    page.get_by_role("button", name="Record this check").tap()

    expect(page.locator(".done")).to_contain_text(f"The check of {probe} is recorded.")
    one = card(page, probe)
    expect(one).to_contain_text("Ice point: checked today")
    expect(page.locator("#connection")).to_contain_text("Live")
    server.say(probe, "Cel", 0.4)
    expect(one.locator(".number")).to_have_text("0.0")
    expect(one).to_contain_text("value = indication \N{MINUS SIGN} 0.40 °C")
    [made] = server.get(f"/v1/instruments/{probe}/checks")["checks"]
    assert made["indicated_degc"] == pytest.approx(0.4)
    assert made["note"] == "crushed ice"


def test_a_check_is_taken_back_by_a_second_touch_and_stays_readable(
    server: Any, screen: Any, probe: str
) -> None:
    body = {"kind": "ice", "indicated": {"value": 0.5, "unit": "degC"}}
    server.post(f"/v1/instruments/{probe}/checks", body)
    page = screen().page
    page.goto("/instruments")
    one = card(page, probe)
    one.get_by_text("All checks (1)").tap()
    one.get_by_role("button", name=re.compile("take back")).tap()
    one.get_by_role("button", name="press again to do it").tap()

    expect(one).to_contain_text("Taken back")
    expect(one).to_contain_text("Ice point: never checked")
    assert server.get(f"/v1/instruments/{probe}/checks")["checks"] == []


def test_a_weight_check_takes_the_unit_that_people_read(server: Any, screen: Any) -> None:
    series = f"bench{next(NUMBERS)}/scale"
    server.say(series, "kg", *[1.98 + 0.002 * (i % 2) for i in range(40)])
    page = screen(DESKTOP).page
    page.goto(f"/instruments/check?series={series}&kind=weight")
    expect(page.locator("#steady")).to_contain_text("Steady")
    page.get_by_role("button", name="Take this reading").click()
    page.get_by_label("The weight is").fill("2")
    page.get_by_label("Unit of the weight").select_option("kg")
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator("#arithmetic tr").filter(has_text="factor")).to_contain_text("1.009")
    page.get_by_role("button", name="Record this check").click()

    expect(page.locator(".done")).to_be_visible()
    [made] = server.get(f"/v1/instruments/{series}/checks")["checks"]
    assert made["reference_kg"] == 2.0
    assert made["indicated_kg"] == pytest.approx(1.981, abs=0.0005)


def test_a_dip_is_worked_out_from_the_readings_of_the_plunge(server: Any, screen: Any) -> None:
    series = f"dipped{next(NUMBERS)}/milk"
    server.say(series, "Cel", 22.0, ago_s=60.0)
    page = screen().page
    page.goto(f"/instruments/check?series={series}&kind=dip")
    expect(page.locator("#connection")).to_contain_text("Live")
    page.get_by_role("button", name="It goes in now").tap()
    expect(page.locator("#dip-words")).to_contain_text("It went in at")
    # The probe sends what it kept: 2 s at 22 degC, then a plunge into 72 degC with a time constant
    # of 1 s. The page asks for what lies from 20 s before the touch on.
    now_s = time.time()
    pack = [
        {"n": series, "u": "Cel", "t": now_s - 12.0 + 0.1 * i,
         "v": 22.0 if i < 20 else round(72.0 - 50.0 * math.exp(-(0.1 * i - 2.0)), 3)}
        for i in range(120)
    ]  # fmt: skip
    sent = server.http.post(
        "/v1/readings", json=pack, headers={"Content-Type": "application/senml+json"}
    )
    assert sent.status_code == 200, sent.text
    expect(page.locator("#indication")).to_have_text("72.00")
    page.get_by_role("button", name="It has settled").tap()

    row = page.locator("#arithmetic tr").filter(has_text="time constant")
    expect(row).to_contain_text(re.compile(r"(0\.9|1\.0)\d s"))
    expect(page.locator("#after")).to_contain_text("time constant")


def test_wrong_numbers_are_told_beside_the_form_and_nothing_typed_is_lost(
    server: Any, screen: Any, probe: str
) -> None:
    tablet = screen()
    tablet.refusal_expected = 422
    page = tablet.page
    page.goto(f"/instruments/check?series={probe}&kind=ice")
    field = page.get_by_label("It showed")
    field.fill("cold")
    page.get_by_role("button", name="Work it out").tap()
    expect(page.locator("form .fault")).to_contain_text("“cold” is not a number")
    field.fill("31")
    page.get_by_role("button", name="Work it out").tap()
    expect(page.locator("form .fault")).to_contain_text("The probe showed 31.0")
    expect(field).to_have_value("31")
    expect(page.get_by_role("button", name="Record this check")).to_be_disabled()

    field.fill("0.2")
    page.get_by_role("button", name="Work it out").tap()
    expect(page.locator("#worked-out")).to_be_visible()
    field.fill("0.3")
    expect(page.locator("#worked-out")).to_be_hidden()
    page.get_by_role("link", name="Cancel").tap()
    expect(page.get_by_role("heading", name="Instruments", exact=True)).to_be_visible()
    assert server.get(f"/v1/instruments/{probe}/checks")["checks"] == []


def test_an_instrument_that_is_not_there_is_told_in_words(server: Any, screen: Any) -> None:
    opened = screen()
    opened.refusal_expected = 404
    opened.page.goto("/instruments/check?series=nothing")

    expect(opened.page.locator("main")).to_contain_text("'nothing' has never said anything.")


def test_an_instrument_is_put_into_a_batch_released_and_given_to_a_pot(
    server: Any, screen: Any, probe: str
) -> None:
    batch = server.post("/v1/batches", {"name": f"Bound {probe}", "pot": "North"})["id"]
    server.post("/v1/pots", {"name": "North", "empty": {"value": 2.3, "unit": "kg"}})
    page = screen().page
    page.goto("/instruments")
    one = card(page, probe)
    one.get_by_text("Put it in a place").tap()
    one.get_by_label("Open batch").select_option(batch)
    one.get_by_label("Place").select_option("block_core")
    one.get_by_role("button", name="It is there now").tap()

    expect(one).to_contain_text("North, in the block")
    [binding] = server.get(f"/v1/batches/{batch}")["bindings"]
    assert (binding["series"], binding["place"]) == (probe, "block_core")
    one.get_by_role("button", name=re.compile("release")).tap()
    one.get_by_role("button", name="press again to do it").tap()
    expect(one).to_contain_text("Not in an open batch.")
    one.get_by_role("button", name="It belongs to this pot").tap()
    expect(one).to_contain_text("North: reads its milk")
    [pot] = [p for p in server.get("/v1/pots")["pots"] if p["name"] == "North"]
    assert pot["thermometer"] == probe
    assert pot["empty"] == {"value": 2.3, "unit": "kg"}
    server.post(f"/v1/batches/{batch}/events", {"kind": "end"})


def test_name_and_limits_are_kept(server: Any, screen: Any, probe: str) -> None:
    tablet = screen()
    tablet.refusal_expected = 422
    page = tablet.page
    page.goto("/instruments")
    one = card(page, probe)
    one.get_by_text("Name and limits").tap()
    one.get_by_label("What people call it").fill("Long probe")
    one.get_by_label("Counts as silent after").fill("0")
    one.get_by_role("button", name="Keep it").tap()
    expect(one.locator(".settings-form .fault")).to_contain_text("0 s")
    one.get_by_label("Counts as silent after").fill("90")
    one.get_by_label("A check is due after").fill("14")
    one.get_by_label("Smallest step of its display").fill("0,1")
    one.get_by_role("button", name="Keep it").tap()

    expect(page.get_by_role("heading", name="Long probe")).to_be_visible()
    [known] = [i for i in server.get("/v1/instruments")["instruments"] if i["series"] == probe]
    assert known["name"] == "Long probe"
    assert (known["stale_after_s"], known["check_every_s"]) == (90.0, 14 * 86_400.0)
    assert known["display_step"] == {"value": 0.1, "unit": "K"}


def test_a_check_is_done_by_keyboard_alone(server: Any, screen: Any, probe: str) -> None:
    page = screen(DESKTOP).page
    page.goto(f"/instruments/check?series={probe}&kind=ice")
    page.get_by_role("button", name="Take this reading").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Work it out")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="The arithmetic")).to_be_focused()
    page.keyboard.press("Tab")
    expect(page.get_by_role("button", name="Record this check")).to_be_focused()
    page.keyboard.press("Enter")

    expect(page.locator(".done")).to_be_visible()


@pytest.mark.parametrize(
    ("width", "scheme"), [(390, "light"), (820, "dark"), (1280, "light"), (1280, "dark")]
)
def test_axe_finds_nothing_on_the_instruments_and_nothing_is_too_wide(
    server: Any, screen: Any, probe: str, width: int, scheme: str
) -> None:
    walk = f"/instruments/check?series={probe}&kind="
    for path in ("/instruments", f"{walk}ice", f"{walk}boil", f"{walk}dip"):
        opened = screen({"width": width, "height": 900}, color_scheme=scheme)
        page = opened.page
        page.goto(path)
        expect(page.locator("#connection")).to_contain_text("Live")
        page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")

        found = Axe().run(page)

        assert found.violations_count == 0, found.generate_report()
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        opened.context.close()
