"""Compare in a real browser, against the real server."""

from __future__ import annotations

import csv
import io
import re
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import ViewportSize, expect

from api.times import format_s

pytestmark = pytest.mark.e2e

DESKTOP: ViewportSize = {"width": 1280, "height": 900}
MINUTES = 14


def heated(
    server: Any, number: int, rate_k_per_min: float, outcome: str | None, **more: Any
) -> str:
    """Make a batch that was heated by so much a minute, boiled and ended."""
    series = f"pot{number}/milk"
    start_s = time.time() - 3600.0
    pack = [
        {"n": series, "u": "Cel", "t": start_s + 10.0 * i,
         "v": round(20.0 + rate_k_per_min * i / 6.0, 2)}
        for i in range(6 * MINUTES)
    ]  # fmt: skip
    sent = server.http.post(
        "/v1/readings", json=pack, headers={"Content-Type": "application/senml+json"}
    )
    assert sent.status_code == 200, sent.text
    body = {
        "name": f"Batch {number}", "pot": "North", "thermometer": series,
        "ingredients": [{"name": "soybean"}], "started_at": format_s(start_s - 30), **more,
    }  # fmt: skip
    made = str(server.post("/v1/batches", body)["id"])
    for stream, mass in (("dry", 0.6), ("milk", 3.5), ("block", 1.0 + 0.2 * number)):
        weighed = {"stream": stream, "mass": {"value": mass, "unit": "kg"}}
        server.post(f"/v1/batches/{made}/weighings", weighed)
    for kind, minute in (("heat", 0.5), ("boil", 9), ("end", MINUTES)):
        event = {"kind": kind, "at": format_s(start_s + 60.0 * minute)}
        server.post(f"/v1/batches/{made}/events", event)
    if outcome:
        server.post(f"/v1/batches/{made}/observations", {"quantity": "outcome", "text": outcome})
    return made


@pytest.fixture(scope="module")
def server(start_server: Any) -> Iterator[Any]:
    yield start_server()


@pytest.fixture(scope="module")
def batches(server: Any) -> list[str]:
    """Three that set, and one that did not."""
    outcomes = ("set", "set", "set", "did not set")
    return [heated(server, i, 4.0 + i, outcome) for i, outcome in enumerate(outcomes)]


def test_batches_are_found_chosen_and_kept_in_the_address(
    server: Any, device: Any, batches: list[str]
) -> None:
    page = device.page
    page.goto("/compare")
    expect(
        page.get_by_role("heading", name="Why did this one set, and that one not?")
    ).to_be_visible()
    page.get_by_label(re.compile("Words in name")).fill("Batch 3")
    expect(page.locator("#found li")).to_have_count(1)
    page.get_by_role("link", name=re.compile("Add.*Batch 3")).tap()
    expect(page.locator(".chip")).to_have_count(1)
    page.get_by_label(re.compile("Words in name")).fill("batch 1 north")
    page.get_by_role("link", name=re.compile("Add.*Batch 1")).tap()

    expect(page.locator(".chip")).to_have_count(2)
    expect(page.locator(".chip").first).to_contain_text("Batch 3")
    page.reload()
    expect(page.locator(".chip")).to_have_count(2)
    page.get_by_role("link", name=re.compile("Put first.*Batch 1")).tap()
    expect(page.locator(".chip").first).to_contain_text("Batch 1")
    page.get_by_role("link", name=re.compile("Take out.*Batch 3")).tap()
    expect(page.locator(".chip")).to_have_count(1)
    assert batches[3] not in page.url


def test_curves_bands_and_differences_are_told_in_words_and_shapes(
    server: Any, device: Any, batches: list[str]
) -> None:
    page = device.page
    page.goto(f"/compare?batch={batches[0]}&batch={batches[3]}")

    picture = page.locator("#overlay svg:visible")
    expect(picture).to_have_count(1)
    expect(picture.locator("desc")).to_have_text(re.compile("A, Batch 0.*B, Batch 3", re.S))
    expect(page.locator('[data-part="curves"]')).to_contain_text(
        "lowest to the highest of 2 batches"
    )
    expect(picture.locator("path.band")).to_have_count(1)
    differs = page.locator('[data-part="differs"]')
    expect(differs).to_contain_text("Outcome: did not set; A: set")
    block = differs.locator("li").filter(has_text="Block").first
    expect(block).to_contain_text("600.0 g more than A")
    expect(block.locator(".shape.higher")).to_be_visible()
    row = page.locator('[data-part="table"] tr').filter(has_text="Block").first
    expect(row.locator(".difference.clear")).to_contain_text("more than A")
    dry = page.locator('[data-part="table"] tr').filter(has_text="Dry").first
    expect(dry.locator(".difference .shape.same")).to_be_visible()
    expect(dry).to_contain_text("as A")


def test_the_curves_are_read_at_any_place_by_touch_and_by_key(
    server: Any, screen: Any, batches: list[str]
) -> None:
    page = screen().page
    page.goto(f"/compare?batch={batches[0]}&batch={batches[2]}&from=0&to=10")
    slider = page.get_by_role("slider", name=re.compile("Read the curves at"))
    expect(page.locator("#read-place")).to_have_text("5.0 min")
    # 5 min after the heat, which went on half a minute after the first reading.
    expect(page.locator("#read-values dd")).to_have_text(["42.0 °C", "53.0 °C"])

    slider.focus()
    page.keyboard.press("End")
    expect(page.locator("#read-place")).to_have_text("10.0 min")
    expect(page.locator("#read-values dd")).to_have_text(["62.0 °C", "83.0 °C"])
    box = page.locator("#overlay svg:visible").bounding_box()
    assert box is not None
    page.mouse.click(box["x"] + box["width"] * 0.3, box["y"] + box["height"] * 0.5)
    expect(page.locator("#read-place")).not_to_have_text("10.0 min")


def test_the_axis_is_chosen_and_stays_in_the_address(
    server: Any, screen: Any, batches: list[str]
) -> None:
    page = screen().page
    page.goto(f"/compare?batch={batches[0]}&batch={batches[2]}")
    ready = page.locator("#read-values dd").first  # the page's script has begun
    expect(ready).to_be_visible()
    page.get_by_label("Lay them over each other by").select_option("per_kg")
    picture = page.locator("#overlay svg:visible").first  # before its style came, there are three
    expect(picture).to_contain_text("for each kilogram of milk")
    expect(ready).to_be_visible()
    page.get_by_label("Lay them over each other by").select_option("temperature")
    expect(picture).to_contain_text("minutes since 60 °C, rising")
    page.get_by_label("Temperature", exact=True).fill("45")
    page.get_by_role("button", name="Draw").tap()

    expect(picture).to_contain_text("minutes since 45 °C, rising")
    page.reload()
    expect(page.get_by_label("Temperature", exact=True)).to_have_value("45")


def test_picture_and_table_are_saved(
    server: Any, screen: Any, batches: list[str], tmp_path: Path
) -> None:
    page = screen(DESKTOP).page
    page.goto(f"/compare?batch={batches[0]}&batch={batches[3]}")
    saved = {}
    for role, name in (("link", "Picture as SVG"), ("button", "Picture as PNG"),
                       ("link", "Table as CSV")):  # fmt: skip
        with page.expect_download() as waiting:
            page.get_by_role(role, name=name).click()
        path = tmp_path / waiting.value.suggested_filename
        waiting.value.save_as(path)
        saved[path.suffix] = path.read_bytes()

    assert saved[".svg"].startswith(b"<svg ")
    assert b"Batch 3" in saved[".svg"]
    assert saved[".png"].startswith(b"\x89PNG\r\n")
    assert int.from_bytes(saved[".png"][16:20], "big") == 1920
    rows = list(csv.DictReader(io.StringIO(saved[".csv"].decode())))
    [block] = [r for r in rows if r["figure"] == "block" and r["batch"] == batches[3]]
    assert float(block["less the first"]) == pytest.approx(0.6)


def test_on_paper_the_shapes_stay_and_the_tools_go(
    server: Any, screen: Any, batches: list[str]
) -> None:
    page = screen().page
    page.goto(f"/compare?batch={batches[0]}&batch={batches[3]}")
    page.emulate_media(media="print")

    expect(page.locator("#overlay svg.wide")).to_be_visible()
    expect(page.locator("#overlay svg:visible")).to_have_count(1)
    block = page.locator('[data-part="differs"] li').filter(has_text="Block").first
    expect(block.locator(".shape.higher")).to_be_visible()
    for tool in ("#axis-form", "#finder", "#reading-line", ".exports"):
        expect(page.locator(tool)).to_be_hidden()


def test_a_wrong_address_is_told_and_the_rest_is_shown(
    server: Any, screen: Any, batches: list[str]
) -> None:
    page = screen().page
    page.goto(f"/compare?batch={batches[0]}&batch=nothing&align=colour&from=ten&q=zzz")

    fault = page.locator(".fault[role=alert]").first
    expect(fault).to_contain_text("There is no batch “nothing”; it is left out.")
    expect(fault).to_contain_text("“colour”")
    expect(fault).to_contain_text("“ten” is not a number")
    expect(page.locator(".chip")).to_have_count(1)
    expect(page.locator("main")).to_contain_text("No other batch has these words.")


def test_an_open_batch_is_drawn_on_as_it_goes(server: Any, screen: Any, batches: list[str]) -> None:
    made = server.post("/v1/batches", {"name": "Tonight", "thermometer": "tonight/milk"})["id"]
    server.say("tonight/milk", "Cel", *[30.0 + i for i in range(20)])
    page = screen().page
    page.goto(f"/compare?batch={made}&batch={batches[0]}")
    expect(page.locator("#connection")).to_contain_text("Live")

    server.post(f"/v1/batches/{made}/events", {"kind": "heat"})

    expect(page.locator("#overlay svg.wide")).to_contain_text("minutes since the heat")
    expect(page.locator("#overlay svg.wide text", has_text="heat").first).to_be_attached()
    server.post(f"/v1/batches/{made}/events", {"kind": "end"})


def test_three_of_each_way_show_an_effect_with_its_interval(server: Any, screen: Any) -> None:
    ids = [heated(server, 10 + i, 5.0, "set", pot="South" if i % 2 else "Small") for i in range(6)]
    page = screen(DESKTOP).page
    page.goto("/compare?" + "&".join(f"batch={one}" for one in ids))

    ways = page.locator('[data-part="ways"]')
    expect(ways).to_contain_text("By pot: 3 batches of “Small”, 3 of “South”")
    expect(ways.locator("tr").filter(has_text="Block")).to_contain_text(" to ")


@pytest.mark.parametrize(
    ("width", "scheme"), [(390, "light"), (820, "dark"), (1280, "light"), (1280, "dark")]
)
def test_axe_finds_nothing_on_compare_and_nothing_is_too_wide(
    server: Any, screen: Any, batches: list[str], width: int, scheme: str
) -> None:
    both = f"/compare?batch={batches[0]}&batch={batches[3]}"
    for path in ("/compare", both, f"{both}&batch={batches[1]}"):
        opened = screen({"width": width, "height": 900}, color_scheme=scheme)
        page = opened.page
        page.goto(path)
        if "batch" in path:
            expect(page.locator("#read-values dd").first).to_be_visible()
        page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")

        found = Axe().run(page)

        assert found.violations_count == 0, found.generate_report()
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        opened.context.close()
