"""The record, the list and pairing in a real browser, against the real server."""

from __future__ import annotations

import itertools
import math
import re
import time
from collections.abc import Iterator
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

pytestmark = pytest.mark.e2e

WEIGHINGS_KG = {
    "dry": 0.6, "soaked": 1.32, "water": 3.19, "mash": 4.51, "pulp": 0.94, "milk": 3.56,
    "coagulant": 0.012, "coagulant_water": 0.243, "curd": 1.01, "whey": 2.795,
}  # fmt: skip


BOIL_S, COOL_S, AFTER_S = 60, 600, 240
NUMBERS = itertools.count(1)


def north_degc(second: int) -> float:
    """Return an invented pot: at the boil, cooling, the dip of a pour, slowly cooling [degC]."""
    if second < BOIL_S:
        return 98.0
    if second < BOIL_S + COOL_S:
        return 98.0 - 0.03 * (second - BOIL_S)
    since = second - BOIL_S - COOL_S
    return 76.0 - 0.005 * since + 4.0 * math.exp(-since / 6.0)


@pytest.fixture(scope="module")
def server(start_server: Any) -> Any:
    """One server for all tests of this file; each makes a batch of its own."""
    return start_server()


@pytest.fixture
def finished(server: Any, recipe: dict[str, Any]) -> Iterator[str]:
    """A batch with a curve of fifteen minutes, marks and weighings."""
    kept = server.post("/v1/recipes", recipe)
    length_s = BOIL_S + COOL_S + AFTER_S
    series = f"probe-{next(NUMBERS)}/milk"
    server.say(series, "Cel", *[round(north_degc(s), 3) for s in range(length_s)])
    made = server.post(
        "/v1/batches",
        {"name": "North, soybean", "pot": "North", "thermometer": series, "recipe": kept["id"]},
    )  # fmt: skip
    batch = str(made["id"])
    now_s = time.time()
    for kind, second in (("boil", 1), ("addition", BOIL_S + COOL_S + 9), ("cover", 700)):
        at = time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(now_s - length_s + second))
        server.post(f"/v1/batches/{batch}/events", {"kind": kind, "at": at})
    for stream, mass_kg in WEIGHINGS_KG.items():
        body = {"stream": stream, "mass": {"value": mass_kg, "unit": "kg"}}
        server.post(f"/v1/batches/{batch}/weighings", body)
    yield batch
    server.post(f"/v1/batches/{batch}/events", {"kind": "end"})


def test_the_record_shows_the_whole_batch(
    server: Any, device: Any, finished: str, drawn_curve: str
) -> None:
    page = device.page
    page.goto(f"/batches/{finished}")

    expect(page.get_by_role("heading", name="North, soybean")).to_be_visible()
    expect(page.locator(drawn_curve)).to_be_visible()
    holds = page.locator('[data-part="holds"]')
    expect(holds).to_contain_text("boil")
    expect(holds.locator('[data-verdict="met"]')).to_be_visible()
    expect(page.locator('[data-part="addition"]')).to_contain_text("Milk at the start of the pour")
    expect(page.locator("svg.flow")).to_be_visible()
    expect(page.locator('[data-part="balance"]')).to_contain_text("Closure before reconciliation")
    expect(page.locator(".seal")).to_contain_text("head")
    analysis = server.get(f"/v1/batches/{finished}/analysis")
    before = analysis["addition"]["before"]
    shown = page.locator('[data-part="addition"] tr').first.inner_text()
    number = re.search(r"([\d.]+) °C", shown)
    assert number is not None
    assert float(number[1]) == pytest.approx(before["value"], abs=before["u"])


@pytest.mark.parametrize("width", [360, 820, 1280])
def test_nothing_is_wider_than_the_screen_whatever_is_opened(
    server: Any, screen: Any, finished: str, width: int
) -> None:
    for path in (f"/batches/{finished}", "/", "/batches", "/pair"):
        page = screen({"width": width, "height": 800}).page
        page.goto(path)
        page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")

        assert page.evaluate("document.documentElement.scrollWidth") <= width, path


def test_a_mark_is_put_right_and_what_it_was_stays_readable(
    server: Any, screen: Any, finished: str
) -> None:
    page = screen().page
    page.goto(f"/batches/{finished}")
    row = page.locator('[data-part="marks"] tr[data-event]').filter(has_text="Cover")
    row.get_by_text("change").tap()
    field = row.get_by_label("Its time")
    before = field.input_value()
    clock = before[11:].split(":")
    minute = (int(clock[1]) + 59) % 60
    field.fill(f"{before[:11]}{clock[0]}:{minute:02d}:{clock[2]}" if minute != 59 else before)
    row.get_by_label("Note").fill("the lid went on late")
    row.get_by_role("button", name="Put right").tap()

    expect(page.locator('[data-part="marks"]')).to_contain_text("the lid went on late")
    expect(page.locator('[data-part="marks"]')).to_contain_text("Taken back or replaced (1)")
    events = server.get(f"/v1/batches/{finished}/events")["events"]
    [cover] = [one for one in events if one["kind"] == "cover"]
    local = page.evaluate(
        "at => new Date(at).toLocaleString('sv', { timeZone: 'Europe/Vienna' })", cover["at"]
    )
    assert local.replace(" ", "T")[:16] == field_minute(before, minute)


def field_minute(before: str, minute: int) -> str:
    """Return the field's text to the minute, with another minute unless that was :59."""
    return before[:16] if minute == 59 else f"{before[:14]}{minute:02d}"


def test_a_weighing_changes_the_balance_and_can_be_undone(
    server: Any, screen: Any, finished: str
) -> None:
    page = screen().page
    page.goto(f"/batches/{finished}")
    form = page.locator("#weighing-form")
    form.get_by_label("Stream").select_option("block")
    form.get_by_label("Mass").fill("0,87")
    form.get_by_label("Unit").select_option("kg")
    form.get_by_role("button", name="Record the weighing").tap()

    row = page.locator('[data-part="weighings"] tbody tr').filter(has_text="block")
    expect(row).to_contain_text("870")
    expect(page.locator(".streams").get_by_role("row", name=re.compile("^block"))).to_contain_text(
        "870"
    )
    row.get_by_role("button", name=re.compile("undo")).tap()
    expect(page.locator('[data-part="weighings"] tbody tr').filter(has_text="block")).to_have_count(
        0
    )


def test_a_mistyped_mass_is_told_beside_the_form_and_nothing_typed_is_lost(
    server: Any, screen: Any, finished: str
) -> None:
    tablet = screen()
    tablet.refusal_expected = 422
    page = tablet.page
    page.goto(f"/batches/{finished}")
    form = page.locator("#weighing-form")
    form.get_by_label("Mass").fill("-5")
    form.get_by_role("button", name="Record the weighing").tap()

    expect(form.locator(".fault")).to_contain_text("kg")
    expect(form.get_by_label("Mass")).to_have_value("-5")
    form.get_by_label("Mass").fill("half")
    form.get_by_role("button", name="Record the weighing").tap()
    expect(form.locator(".fault")).to_contain_text("“half” is not a number")


def test_what_was_seen_is_recorded_with_its_unit(server: Any, screen: Any, finished: str) -> None:
    page = screen().page
    page.goto(f"/batches/{finished}")
    form = page.locator("#observation-form")
    form.get_by_role("button", name="Record it").tap()
    seen = page.locator('[data-part="observations"] tr')
    expect(seen).to_contain_text(["outcomeset"])

    form.get_by_label("What", exact=True).select_option("hand_temperature")
    form.get_by_label("Value").fill("21.5")
    form.get_by_label("Of what").select_option("coagulant_water")
    form.get_by_role("button", name="Record it").tap()

    expect(seen.nth(1)).to_contain_text("21.5 °C, of the coagulant water")
    said = server.get(f"/v1/batches/{finished}/observations")["observations"]
    assert [(one["quantity"], one["unit"]) for one in said] == [
        ("outcome", None),
        ("hand_temperature", "degC"),
    ]


def test_on_paper_the_record_has_its_curve_and_no_tools(
    server: Any, screen: Any, finished: str, drawn_curve: str
) -> None:
    page = screen().page
    page.goto(f"/batches/{finished}")
    expect(page.locator(drawn_curve)).to_be_visible()

    page.emulate_media(media="print")

    expect(page.locator("#curve svg.curve")).to_be_visible()
    expect(page.locator(".uplot")).to_be_hidden()
    expect(page.locator("#weighing-form")).to_be_hidden()
    expect(page.get_by_role("button")).to_have_count(0)
    paper = page.pdf(format="A4", prefer_css_page_size=True)
    assert 1 <= len(re.findall(rb"/Type\s*/Page\b", paper)) <= 2


def test_a_batch_that_is_not_there_is_told_in_words(server: Any, screen: Any) -> None:
    tablet = screen()
    answer = server.http.get("/batches/nothing", headers={"Accept": "text/html"})
    assert answer.status_code == 404
    tablet.page.set_content(answer.text)

    expect(tablet.page.locator("main")).to_contain_text("There is no batch 'nothing'.")


def test_the_list_finds_a_batch_and_starts_another_like_it(
    server: Any, device: Any, finished: str
) -> None:
    word = f"evening-{next(NUMBERS)}"
    old = server.post("/v1/batches", {"name": f"South, yellow pea, {word}", "pot": "South"})
    page = device.page
    page.goto("/batches")
    expect(page.get_by_role("link", name="North, soybean").first).to_be_visible()
    page.get_by_label(re.compile("Words in name")).fill(f"{word} south")
    page.get_by_role("button", name="Search").tap()
    expect(page.locator(".batches li")).to_have_count(1)

    page.get_by_role("button", name=re.compile("Repeat that one")).tap()

    expect(page.get_by_role("heading", name="South", exact=True).first).to_be_visible()
    newest, oldest = server.get(f"/v1/batches?q={word}")["batches"]
    assert (newest["pot"], oldest["id"]) == ("South", old["id"])


def test_a_recipe_and_a_pot_are_three_touches_from_a_batch_that_is_then_ended(
    server: Any, device: Any, recipe: dict[str, Any]
) -> None:
    word = f"three-{next(NUMBERS)}"
    server.say(f"{word}/milk", "Cel", 20.0)
    server.post("/v1/recipes", {**recipe, "name": word})
    server.post("/v1/pots", {"name": f"Pot {word}", "thermometer": f"{word}/milk"})
    page = device.page
    page.goto("/batches")
    begin = page.locator("#begin-form")
    begin.get_by_label("Recipe").select_option(label=word)
    begin.get_by_label("Pot").select_option(label=f"Pot {word}")
    begin.get_by_role("button", name="Start").tap()

    expect(page).to_have_url(re.compile("/#pot-"))
    [made] = server.get(f"/v1/batches?q={word}")["batches"]
    assert (made["pot"], made["recipe"]["name"]) == (f"Pot {word}", word)
    assert server.get(f"/v1/batches/{made['id']}")["thermometer"] == f"{word}/milk"
    page.goto(f"/batches?q={word}&outcome=none&pot=Pot+{word}")
    expect(page.locator(".batches li")).to_have_count(1)
    page.get_by_role("button", name=re.compile("^End")).tap()
    page.get_by_role("button", name="Press again").tap()
    expect(page.locator(".batches .state")).to_have_text("closed")


def test_a_phone_from_elsewhere_is_paired_by_the_printed_address(server: Any, screen: Any) -> None:
    # A forwarded call is no local call: the header stands for another machine.
    phone = screen(extra_http_headers={"X-Forwarded-For": "192.0.2.7"})
    page = phone.page
    page.goto("/batches")
    expect(page.get_by_role("heading", name="Pair this device")).to_be_visible()
    assert "to=/batches" in page.url

    page.goto(f"/pair?to=/batches#{server.token()}")

    expect(page.get_by_role("heading", name="Batches")).to_be_visible()
    assert server.token() not in page.url
    page.goto("/")
    expect(page.locator("#connection")).to_contain_text("Live")
    expect(page.locator("#notices")).to_contain_text(
        "Routes are added on the kitchen's own machine"
    )


def test_a_wrong_token_is_told_beside_its_field(server: Any, screen: Any) -> None:
    phone = screen(extra_http_headers={"X-Forwarded-For": "192.0.2.7"})
    phone.refusal_expected = 403
    phone.page.goto("/pair")
    phone.page.get_by_label("Token").fill("wrong")
    phone.page.get_by_role("button", name="Pair").tap()

    expect(phone.page.locator(".fault")).to_contain_text("This is not the kitchen's token.")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_on_the_other_pages(
    server: Any, screen: Any, finished: str, scheme: str, drawn_curve: str
) -> None:
    for path in (f"/batches/{finished}", "/batches", "/pair"):
        tablet = screen(color_scheme=scheme)
        tablet.page.goto(path)
        if finished in path:
            expect(tablet.page.locator(drawn_curve)).to_be_visible()

        found = Axe().run(tablet.page)

        assert found.violations_count == 0, found.generate_report()
