"""The Stove in a real browser, against the real server."""

from __future__ import annotations

import re
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from dashboards.assets import has_uplot

pytestmark = pytest.mark.e2e

WARM = [20.0 + i for i in range(60)]


def start_north(page: Page, **fields: str) -> None:
    """Start a batch by the form of an empty Stove."""
    page.get_by_label("Name", exact=True).first.fill(fields.pop("name", "North, soybean"))
    page.get_by_label("Pot", exact=True).fill("North")
    page.get_by_label("Ingredient").fill("soybean")
    page.get_by_label("Thermometer in the milk").select_option("north/milk")
    for label, value in fields.items():
        page.get_by_label(label).fill(value)
    page.get_by_role("button", name="Start the batch").click()
    expect(page.get_by_role("heading", name="North", exact=True)).to_be_visible()


def figure(page: Page) -> Any:
    return page.locator('[data-live="temperature"] .number')


def batch_id(server: Any) -> str:
    return str(server.get("/v1/batches")["batches"][0]["id"])


def test_from_an_empty_stove_to_a_mark_and_its_undo(server: Any, device: Any) -> None:
    server.say("north/milk", "Cel", *WARM)
    server.say("north/scale", "kg", 3.56)
    page = device.page
    page.goto("/")
    expect(page.get_by_role("heading", name="No batch is open")).to_be_visible()
    page.get_by_label("Scale under the pot").select_option("north/scale")

    start_north(page, Temperature="90")

    expect(page.get_by_role("heading", name="No batch is open")).to_have_count(0)
    expect(figure(page)).to_have_text("79.0")
    expect(page.locator('[data-live="distance"]')).to_contain_text("below the target of 90.0")
    expect(page.locator('[data-live="mass"]')).to_contain_text("3.560 kg")
    if has_uplot():  # the readings of the last minute rose by 1 degC a second
        expect(page.locator('[data-live="rate"]')).to_contain_text("Rising 60.0 °C a minute")
    expect(page.locator(".cautions").first).to_contain_text("contains soybeans")

    server.say("north/milk", "Cel", 83.25)
    expect(figure(page)).to_have_text(re.compile(r"83\.[23]"))
    expect(page.locator('[data-live="distance"]')).to_contain_text("6.8")

    heat = page.locator('button.expected[data-mark="heat"]')
    box = heat.bounding_box()
    assert box is not None and box["height"] >= 72 and box["width"] >= 72
    heat.tap()
    expect(page.locator(".toast")).to_contain_text("Heat marked at")
    expect(page.locator(".recent li[data-event]")).to_contain_text("Heat")
    expect(page.locator('button.expected[data-mark="addition"]')).to_be_visible()

    page.locator(".toast").get_by_role("button", name="Undo").tap()
    expect(page.locator(".recent li[data-event]")).to_have_count(0)
    expect(page.locator('button.expected[data-mark="heat"]')).to_be_visible()
    history = server.get(f"/v1/batches/{batch_id(server)}/events?history=true")["events"]
    assert [(one["kind"], one["gone"]) for one in history] == [("heat", "withdrawn: undo")]


def test_a_mark_in_the_list_can_be_undone_later(server: Any, screen: Any) -> None:
    server.say("north/milk", "Cel", *WARM)
    page = screen().page
    page.goto("/")
    start_north(page)
    page.locator('button[data-mark="heat"]').first.tap()
    expect(page.locator(".recent li[data-event]")).to_have_count(1)
    page.reload()

    page.get_by_role("button", name=re.compile("undo Heat")).tap()

    expect(page.locator(".recent li[data-event]")).to_have_count(0)


def test_the_end_of_a_batch_asks_for_a_second_touch(server: Any, screen: Any) -> None:
    made = server.post("/v1/batches", {"name": "North"})
    page = screen().page
    page.goto("/")
    page.get_by_text("more…").tap()

    page.locator('button[data-mark="end"]').tap()
    expect(page.locator('button[data-mark="end"]')).to_contain_text("press again")
    assert server.get(f"/v1/batches/{made['id']}")["state"] == "planned"
    page.locator('button[data-mark="end"]').tap()

    expect(page.locator(".pot")).to_have_count(0)
    expect(page.get_by_role("heading", name="No batch is open")).to_be_visible()
    assert server.get(f"/v1/batches/{made['id']}")["state"] == "closed"


def test_a_mark_made_while_the_kitchen_is_away_is_kept_and_sent_with_its_own_time(
    server: Any, device: Any
) -> None:
    made = server.post("/v1/batches", {"name": "North", "pot": "North"})
    page = device.page
    page.goto("/")
    expect(page.locator("#connection")).to_contain_text("Live")
    device.outage_expected = True
    server.kill()
    expect(page.locator("#connection")).to_contain_text("Connection lost since")

    page.locator('button[data-mark="heat"]').first.tap()
    expect(page.locator(".recent .waiting")).to_contain_text("kept here, not sent yet")
    pressed_ms = page.evaluate("Date.now()")
    expect(page.locator("#connection")).to_contain_text("Waiting: 1")

    server.start()
    expect(page.locator("#connection")).to_contain_text("Connection is back")
    expect(page.locator(".recent li[data-event]")).to_contain_text("Heat")
    expect(page.locator(".recent .waiting")).to_have_count(0)
    [event] = server.get(f"/v1/batches/{made['id']}/events")["events"]
    at_ms = page.evaluate("at => Date.parse(at)", event["at"])
    assert abs(at_ms - pressed_ms) < 2000
    assert event["sent"]["at"]


def test_a_mark_that_waits_survives_that_the_page_is_closed(server: Any, screen: Any) -> None:
    made = server.post("/v1/batches", {"name": "North", "pot": "North"})
    tablet = screen()
    page = tablet.page
    page.goto("/")
    tablet.outage_expected = True
    server.kill()
    page.locator('button[data-mark="heat"]').first.tap()
    expect(page.locator(".recent .waiting")).to_have_count(1)
    page.close()
    server.start()

    later = tablet.context.new_page()
    later.goto("/")

    expect(later.locator(".recent li[data-event]")).to_contain_text("Heat")
    events = server.get(f"/v1/batches/{made['id']}/events")["events"]
    assert [one["kind"] for one in events] == ["heat"]


def test_a_notice_is_shown_sounded_and_acknowledged(server: Any, device: Any, screen: Any) -> None:
    server.say("north/milk", "Cel", *[70.0] * 20, ago_s=40)
    server.post(
        "/v1/batches",
        {"name": "North", "pot": "North", "thermometer": "north/milk",
         "target": {"value": 80, "unit": "degC", "approach": "rising"}},
    )  # fmt: skip
    page = device.page
    page.goto("/")
    expect(page.locator("#shift")).to_have_attribute("data-sound", "off")
    expect(page.locator("#shift-words")).to_contain_text("Sound is off")

    page.get_by_role("button", name="Start the shift").tap()
    expect(page.locator("#shift")).to_have_attribute("data-sound", "running")
    expect(page.locator("#shift-words")).to_contain_text("Sound is on.")

    other = screen().page
    other.goto("/")
    expect(other.locator("#connection")).to_contain_text("Live")

    server.say("north/milk", "Cel", *[70.0 + 0.6 * i for i in range(30)])
    passing = page.locator(".alarm").filter(has_text="passing 80")
    passing_there = other.locator(".alarm").filter(has_text="passing 80")
    expect(passing).to_have_count(1)
    expect(passing_there).to_have_count(1)

    passing.get_by_role("button", name="Heard").tap()
    expect(passing).to_have_count(0)
    expect(passing_there).to_have_count(0)
    page.wait_for_function(
        "() => fetch('/v1/alarms?history=true').then(a => a.json())"
        ".then(said => said.alarms.find(a => a.about === 'target').state === 'normal')"
    )
    page.reload()
    expect(page.locator("#connection")).to_contain_text("Live")
    expect(passing).to_have_count(0)


def test_the_call_is_loud_and_has_the_tones_that_it_should(server: Any, screen: Any) -> None:
    page = screen().page
    page.goto("/")

    heard = page.evaluate(
        """async () => {
          const { writeCall } = await import('/static/js/sound.js');
          const context = new OfflineAudioContext(1, 44100, 44100);
          writeCall(context, 0, 'high');
          const samples = (await context.startRendering()).getChannelData(0);
          const tone = (from) => {
            let crossings = 0;
            const begin = Math.round(from * 44100) + 1000;
            for (let i = begin; i < begin + 4410; i += 1)
              if (samples[i - 1] < 0 && samples[i] >= 0) crossings += 1;
            return crossings * 10;
          };
          const squares = samples.slice(0, 40000).reduce((sum, x) => sum + x * x, 0);
          return { tones: [0, 0.23, 0.46, 0.69].map(tone), rms: Math.sqrt(squares / 40000) };
        }"""
    )

    # The four tones are 880, 660, 880 and 660 Hz by design; a tenth of a second counts to 10 Hz.
    assert heard["tones"] == pytest.approx([880, 660, 880, 660], abs=10)
    assert heard["rms"] > 0.2


def test_a_silent_probe_looks_stale(server: Any, device: Any) -> None:
    server.say("north/milk", "Cel", *[70.0] * 20, ago_s=90)
    server.post("/v1/batches", {"name": "North", "thermometer": "north/milk"})
    page = device.page
    page.goto("/")

    stale = page.locator('[data-live="temperature"].stale .age')
    expect(stale).to_contain_text("stale: 1 min")

    server.say("north/milk", "Cel", 71.5)
    expect(figure(page)).to_have_text("71.5")
    expect(page.locator('[data-live="temperature"]')).not_to_have_class(re.compile("stale"))


def test_a_mark_that_the_kitchen_could_not_take_now_is_sent_again(server: Any, screen: Any) -> None:
    made = server.post("/v1/batches", {"name": "North"})
    tablet = screen()
    tablet.refusal_expected = 503
    tablet.page.route("**/events", lambda route: route.fulfill(status=503), times=1)
    tablet.page.goto("/")
    tablet.page.locator('button[data-mark="heat"]').first.tap()

    expect(tablet.page.locator(".recent li[data-event]")).to_contain_text("Heat")
    events = server.get(f"/v1/batches/{made['id']}/events")["events"]
    assert [one["kind"] for one in events] == ["heat"]


def test_a_pedal_marks_the_next_expected_mark_once(server: Any, screen: Any) -> None:
    made = server.post("/v1/batches", {"name": "North"})
    page = screen().page
    page.goto("/")
    page.get_by_role("button", name="Choose the key").tap()
    page.keyboard.press("PageDown")
    expect(page.locator("#chosen-key")).to_contain_text("PageDown")

    page.keyboard.down("PageDown")
    page.keyboard.down("PageDown")  # held down: the browser repeats the key
    page.keyboard.up("PageDown")
    expect(page.locator(".recent li[data-event]")).to_contain_text("Heat")
    page.keyboard.press("PageDown")  # a second press in the same moment is a slip
    expect(page.locator(".toast").last).to_contain_text("nothing was marked")

    events = server.get(f"/v1/batches/{made['id']}/events")["events"]
    assert [one["kind"] for one in events] == ["heat"]
    page.reload()
    expect(page.locator("#chosen-key")).to_contain_text("PageDown")


def test_two_devices_see_each_others_marks_and_batches(server: Any, screen: Any) -> None:
    first, second = screen().page, screen().page
    first.goto("/")
    second.goto("/")
    server.say("north/milk", "Cel", *WARM)
    first.reload()
    start_north(first)
    expect(second.get_by_role("heading", name="North", exact=True)).to_be_visible()

    second.locator('button[data-mark="heat"]').first.tap()

    expect(first.locator(".recent li[data-event]")).to_contain_text("Heat")


def test_after_a_kill_the_page_goes_on_by_itself(server: Any, screen: Any) -> None:
    server.say("north/milk", "Cel", *WARM)
    server.post("/v1/batches", {"name": "North", "thermometer": "north/milk"})
    tablet = screen()
    page = tablet.page
    page.goto("/")
    expect(figure(page)).to_have_text("79.0")
    tablet.outage_expected = True
    server.kill()
    expect(page.locator("#connection")).to_have_attribute("data-state", "lost")
    server.start()
    server.say("north/milk", "Cel", 84.5)

    expect(figure(page)).to_have_text("84.5")
    expect(page.locator("#connection")).to_have_attribute("data-state", "live")


def test_a_running_hold_counts_down(server: Any, screen: Any, recipe: dict[str, Any]) -> None:
    kept = server.post("/v1/recipes", recipe)
    made = server.post(
        "/v1/batches",
        {"name": "North", "pot": "North", "thermometer": "north/milk", "recipe": kept["id"]},
    )
    server.say("north/milk", "Cel", *[75.0] * 50)
    server.post(f"/v1/batches/{made['id']}/events", {"kind": "cover"})
    server.say("north/milk", "Cel", 74.9)
    page = screen().page
    page.goto("/")
    line = page.locator('.holds li[data-hold="covered hold"]')

    expect(line).to_contain_text("running")
    expect(line).to_contain_text(re.compile(r"1[23] min( \d\d s)? left"))
    before = line.inner_text()
    page.wait_for_function(
        "before => document.querySelector('.holds li[data-hold=\"covered hold\"]').innerText"
        " !== before",
        arg=before,
    )


def test_without_the_curve_library_the_picture_of_the_server_stays(
    server: Any, screen: Any
) -> None:
    server.say("north/milk", "Cel", *WARM)
    server.post("/v1/batches", {"name": "North", "thermometer": "north/milk"})
    tablet = screen()
    tablet.outage_expected = True
    tablet.page.route("**/static/vendor/*.js", lambda route: route.abort())
    tablet.page.goto("/")

    expect(tablet.page.locator(".picture svg.curve")).to_be_visible()
    expect(figure(tablet.page)).to_have_text("79.0")


def test_the_curve_is_drawn_by_the_library_where_the_build_brought_it(
    server: Any, screen: Any, drawn_curve: str
) -> None:
    server.say("north/milk", "Cel", *WARM)
    server.post("/v1/batches", {"name": "North", "thermometer": "north/milk"})
    page = screen().page
    page.goto("/")

    expect(page.locator(drawn_curve)).to_be_visible()
    if not has_uplot():
        assert "uplot" not in page.content().lower()
        return
    expect(page.locator(".picture svg.curve")).to_be_hidden()
    drawn = page.evaluate(
        """() => {
          const canvas = document.querySelector('.uplot canvas');
          const pen = canvas.getContext('2d');
          const pixels = pen.getImageData(0, 0, canvas.width, canvas.height).data;
          let blue = 0;
          for (let i = 0; i < pixels.length; i += 4)
            if (pixels[i] < 40 && pixels[i + 2] > 150 && pixels[i + 3] > 200) blue += 1;
          return blue;
        }"""
    )
    assert drawn > 300  # the line, in #0072b2


def test_the_reader_can_change_the_units(server: Any, screen: Any) -> None:
    server.say("north/milk", "Cel", *WARM)
    server.post("/v1/batches", {"name": "North", "thermometer": "north/milk"})
    page = screen().page
    page.goto("/")
    page.get_by_role("button", name=re.compile("change to °F")).tap()

    expect(figure(page)).to_have_text("174.2")  # 79 degC
    server.say("north/milk", "Cel", 80.0)
    expect(figure(page)).to_have_text("176.0")


def test_a_recipe_that_must_not_be_eaten_is_refused_in_words(server: Any, screen: Any) -> None:
    page = screen().page
    server.say("north/milk", "Cel", 20.0)
    page.goto("/")
    page.get_by_label("Name", exact=True).first.fill("North")
    page.get_by_label("Temperature").fill("eighty")
    page.get_by_role("button", name="Start the batch").click()

    expect(page.locator("#start .fault")).to_contain_text("“eighty” is not a number")
    assert server.get("/v1/batches")["batches"] == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_on_the_stove(
    server: Any, screen: Any, recipe: dict[str, Any], scheme: str, drawn_curve: str
) -> None:
    kept = server.post("/v1/recipes", recipe)
    server.say("north/milk", "Cel", *WARM)
    server.say("north/scale", "kg", 3.56)
    made = server.post(
        "/v1/batches",
        {"name": "North", "pot": "North", "thermometer": "north/milk", "scale": "north/scale",
         "recipe": kept["id"]},
    )  # fmt: skip
    server.post(f"/v1/batches/{made['id']}/events", {"kind": "heat"})
    tablet = screen(color_scheme=scheme)
    empty = screen(color_scheme=scheme)
    tablet.page.goto("/")
    expect(tablet.page.locator(drawn_curve)).to_be_visible()

    found = Axe().run(tablet.page)

    assert found.violations_count == 0, found.generate_report()
    server.post(f"/v1/batches/{made['id']}/events", {"kind": "end"})
    empty.page.goto("/")
    found = Axe().run(empty.page)
    assert found.violations_count == 0, found.generate_report()
