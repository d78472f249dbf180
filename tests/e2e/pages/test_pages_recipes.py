"""Recipes in a real browser, against the real server: the list, the card, the editor, the files."""

from __future__ import annotations

import json
import re
from pathlib import Path
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
SOY: dict[str, Any] = {
    "name": "Soybean, gypsum",
    "ingredients": [{"name": "soybean"}],
    "dry": {"value": 600, "unit": "g"},
    "coagulant": {"name": "gypsum"},
    "dose": {"value": 0.4, "unit": "g/100 g milk"},
    "who": "Ana",
    "steps": [
        {"kind": "grind", "masses": [{"stream": "water", "mass": {"value": 4.2, "unit": "kg"}}]},
        {"kind": "heat", "masses": [{"stream": "milk", "ratio": 7.5}],
         "limit": {"side": "high", "value": 90, "unit": "degC", "on_delay": {"value": 5,
                                                                             "unit": "s"}}},
        {"kind": "boil", "hold": {"name": "boil", "below_boiling": {"value": 2, "unit": "K"},
                                  "least": {"value": 10, "unit": "min"}, "ends": "addition"}},
        {"kind": "addition", "target": {"value": 80, "unit": "degC", "approach": "falling",
                                        "tolerance": 2},
         "masses": [{"stream": "coagulant_water", "ratio": 0.4}]},
        {"kind": "cover", "hold": {"name": "covered hold", "low": {"value": 65, "unit": "degC"},
                                   "least": {"value": 13, "unit": "min"}, "starts": "cover",
                                   "ends": "ladle"}},
        {"kind": "press", "press_mass": {"value": 2, "unit": "kg"},
         "press_area": {"value": 108, "unit": "cm2"}},
    ],
    "accept_by_itself": {"above": 0.9, "kinds": ["heat"]},
    "without": ["starch"],
}  # fmt: skip


@pytest.fixture(params=list(SIZES))
def any_device(request: pytest.FixtureRequest, screen: Any) -> Any:
    """A phone, a tablet, a desktop."""
    return screen(SIZES[request.param])


def step(page: Page, number: int) -> Any:
    return page.locator('[data-list="steps"] > li').nth(number - 1)


def save(page: Page) -> None:
    page.locator("#recipe-form button[type=submit]").click()


def latest(server: Any, recipe: str) -> dict[str, Any]:
    return dict(server.get(f"/v1/recipes/{recipe}"))


def test_from_an_ingredient_to_a_recipe_to_a_batch(server: Any, any_device: Any) -> None:
    server.say("north/milk", "Cel", 20.0, 20.5)
    server.post("/v1/pots", {"name": "North", "thermometer": "north/milk"})
    page = any_device.page
    page.goto("/recipes")
    expect(page.get_by_role("heading", name="No recipe yet")).to_be_visible()
    page.get_by_label("Made of").fill("soybean")
    page.get_by_role("button", name="Begin").click()

    expect(page.get_by_label("Dose", exact=True)).to_have_value("3")
    expect(page.locator("#reckoned")).to_contain_text("published: 70 to 85 °C")
    expect(page.locator("#reckoned")).to_contain_text("contains soybeans")
    page.get_by_label("Name", exact=True).fill("Soybean, first")
    page.get_by_label("Written for a dry mass of").fill("600")
    expect(page.locator("#reckoned .amounts")).to_contain_text("18 g")
    save(page)

    expect(page.get_by_role("heading", name="Soybean, first", level=1)).to_be_visible()
    expect(page.locator(".steps")).to_contain_text("at least 10 min, within 2 °C of the boiling")
    page.get_by_role("button", name="Start a batch from this").click()
    page.get_by_role("radio", name=re.compile("^North")).check()
    page.get_by_role("button", name="Start the batch").click()

    expect(page.get_by_role("heading", name="North", exact=True)).to_be_visible()
    [batch] = server.get("/v1/batches")["batches"]
    whole = server.get(f"/v1/batches/{batch['id']}")
    assert (whole["pot"], whole["thermometer"]) == ("North", "north/milk")
    assert (whole["recipe"]["name"], whole["recipe"]["version"]) == ("Soybean, first", 1)


def test_a_save_changes_only_what_was_changed_and_says_so(server: Any, screen: Any) -> None:
    made = server.post("/v1/recipes", SOY)
    page = screen(SIZES["tablet"]).page
    page.goto(f"/recipes/{made['id']}/change")
    expect(step(page, 4).locator('[data-part-of="target"] summary')).to_contain_text("80 °C")

    step(page, 4).locator('[data-part-of="target"] summary').click()
    step(page, 4).get_by_label("Temperature", exact=True).fill("78,5")
    page.get_by_label("Who changes it").fill("Ben")
    save(page)

    expect(page.locator(".versions")).to_contain_text("Version 2")
    expect(page.locator(".changes")).to_contain_text("Step 4, addition: target")
    expect(page.locator(".changes del")).to_contain_text("80 °C")
    expect(page.locator(".changes ins")).to_contain_text("78.5 °C")
    expect(page.locator(".changes li")).to_have_count(1)
    now = latest(server, made["id"])
    assert now["who"] == "Ben"
    skipped = ("version", "recorded_at", "who", "versions", "steps")
    assert {k: v for k, v in now.items() if k not in skipped} == {
        k: v for k, v in made.items() if k not in skipped
    }
    assert now["steps"][1]["limit"]["on_delay"] == {"value": 5.0, "unit": "s"}


def test_what_was_typed_is_kept_over_a_reload_until_it_is_saved(server: Any, screen: Any) -> None:
    made = server.post("/v1/recipes", SOY)
    page = screen(SIZES["tablet"]).page
    page.goto(f"/recipes/{made['id']}/change")
    page.get_by_label("Name", exact=True).fill("Soybean, softer")
    step(page, 1).get_by_label("How it is done").fill("twice, not a number 12x")
    expect(page.locator("#saved-words")).to_contain_text("kept in this browser")

    page.reload()

    expect(page.locator("#kept")).to_contain_text("were not saved")
    expect(page.get_by_label("Name", exact=True)).to_have_value("Soybean, softer")
    expect(step(page, 1).get_by_label("How it is done")).to_have_value("twice, not a number 12x")
    save(page)
    expect(page.get_by_role("heading", name="Soybean, softer", level=1)).to_be_visible()
    page.goto(f"/recipes/{made['id']}/change")
    expect(page.locator("#kept")).to_be_hidden()

    page.get_by_label("Name", exact=True).fill("Thrown away")
    expect(page.locator("#saved-words")).to_contain_text("kept")
    page.reload()
    page.get_by_role("button", name="Discard them").click()
    expect(page.get_by_label("Name", exact=True)).to_have_value("Soybean, softer")


@pytest.mark.parametrize("where", ["dose", "target", "hold", "shares", "name", "server"])
def test_a_fault_names_the_field_and_the_focus_is_there(
    server: Any, screen: Any, where: str
) -> None:
    made = server.post("/v1/recipes", SOY)
    device = screen(SIZES["phone"])
    page = device.page
    page.goto(f"/recipes/{made['id']}/change")
    expect(page.locator("#reckoned")).to_contain_text("Dose of gypsum")
    fault = page.locator("#recipe-form .fault")

    if where == "dose":
        field, said = page.get_by_label("Dose", exact=True), "The dose “lots” is not a number"
        field.fill("lots")
    elif where == "target":
        step(page, 4).locator('[data-part-of="target"] summary').click()
        field, said = (
            step(page, 4).get_by_label("Temperature", exact=True),
            "The target “hot” is not a number",
        )
        field.fill("hot")
        step(page, 4).locator('[data-part-of="target"] summary').click()
    elif where == "hold":
        step(page, 5).locator('[data-part-of="hold"] summary').click()
        field, said = step(page, 5).get_by_label("for at least"), "The least time is missing"
        field.fill("")
    elif where == "shares":
        page.get_by_role("button", name="Add an ingredient").click()
        row = page.locator('[data-list="ingredients"] > li').nth(1)
        page.locator('[data-list="ingredients"] > li').nth(0).get_by_label("Share").fill("70")
        row.get_by_label("Ingredient").fill("sesame")
        field, said = row.get_by_label("Share"), "add up to 90 %"
        field.fill("20")
    elif where == "name":
        field, said = page.get_by_label("Name", exact=True), "no name yet"
        field.fill(" ")
    else:  # only the server knows that a brine needs its strength
        device.refusal_expected = 422
        page.get_by_label("Coagulant", exact=True).fill("liquid nigari")
        page.get_by_label("Unit of the dose").select_option("mmol/L")
        field, said = page.get_by_label("Strength of a brine"), "is a brine"
    save(page)

    expect(fault).to_contain_text(said)
    expect(field).to_be_focused()
    expect(field).to_have_attribute("aria-invalid", "true")
    assert len(latest(server, made["id"])["versions"]) == 1


def test_two_who_change_one_recipe_are_told_and_lose_nothing(server: Any, screen: Any) -> None:
    made = server.post("/v1/recipes", SOY)
    device = screen(SIZES["tablet"])
    device.refusal_expected = 409
    page = device.page
    page.goto(f"/recipes/{made['id']}/change")
    server.post(f"/v1/recipes/{made['id']}", {**SOY, "note": "theirs", "who": "Cai"})
    page.get_by_label("Note").fill("mine")
    save(page)

    expect(page.locator("#recipe-form .fault")).to_contain_text("saved meanwhile by Cai")
    page.get_by_role("button", name="Save mine as version 3").click()

    expect(page.locator(".versions")).to_contain_text("Version 3")
    versions = latest(server, made["id"])["versions"]
    assert [one.get("note") for one in versions] == [None, "theirs", "mine"]


def test_steps_move_and_go_by_the_keyboard_alone(server: Any, screen: Any) -> None:
    made = server.post("/v1/recipes", SOY)
    page = screen(SIZES["desktop"]).page
    page.goto(f"/recipes/{made['id']}/change")
    step(page, 2).get_by_role("button", name="Move this step up").press("Enter")
    expect(step(page, 1).get_by_role("button", name="Move this step up")).to_be_focused()
    page.get_by_role("button", name="Add a step").press("Enter")
    added = step(page, 7)
    expect(added.get_by_label("What is done")).to_be_focused()
    added.get_by_label("What is done").select_option("chill")
    added.get_by_role("button", name="+ target").press("Space")
    expect(added.get_by_label("Temperature", exact=True)).to_be_focused()
    page.keyboard.type("5")
    step(page, 3).get_by_role("button", name=re.compile("Remove this step")).press("Enter")
    save(page)

    expect(page.get_by_role("heading", name="Versions")).to_be_visible()
    kinds = [one["kind"] for one in latest(server, made["id"])["steps"]]
    assert kinds == ["heat", "grind", "addition", "cover", "press", "chill"]
    assert latest(server, made["id"])["steps"][5]["target"]["value"] == 5.0


def test_the_dose_is_told_in_all_three_units_while_one_types(server: Any, screen: Any) -> None:
    made = server.post("/v1/recipes", SOY)
    page = screen(SIZES["desktop"]).page
    page.goto(f"/recipes/{made['id']}/change")
    line = page.locator("#dose-line")
    expect(line).to_contain_text("3 g/100 g by the dry ingredient")
    expect(line).to_contain_text("23.6")  # 4.068 g/L over 172.17 g/mol, by hand

    page.get_by_label("Unit of the dose").select_option("mmol/L")
    page.get_by_label("Dose", exact=True).fill("11,8")

    # 11.8 mmol/L of 172.17 g/mol in milk of 1017 g/L, by hand
    expect(line).to_contain_text("0.19976 g/100 g by the milk")
    save(page)
    expect(page.get_by_role("heading", name="Dose of gypsum")).to_be_visible()
    assert latest(server, made["id"])["dose"] == {"value": 11.8, "unit": "mmol/L"}


def test_a_pour_is_planned_both_ways(server: Any, any_device: Any) -> None:
    made = server.post("/v1/recipes", SOY)
    page = any_device.page
    page.goto(f"/recipes/{made['id']}")
    expect(page.get_by_label("Mixture wanted at")).to_have_value("80")
    expect(page.get_by_label("Milk", exact=True)).to_have_value("4.5")
    page.get_by_label("Slurry is at, if you know").fill("20")
    page.get_by_role("button", name="Tell me").click()
    # 4.5 kg at 3.9 and 0.258 kg at 4.18 kJ/(kg K): 60 K times 0.0614, by hand
    expect(page.locator("#poured")).to_contain_text(re.compile(r"Milk must be at\s*83\.\d"))

    page.get_by_text("how much slurry it takes").click()
    page.get_by_label("Milk is at").fill("cold")
    page.get_by_role("button", name="Tell me").click()
    expect(page.locator("#pour-form .fault")).to_contain_text("“cold” is not a number")
    expect(page.get_by_label("Milk is at")).to_be_focused()
    page.get_by_label("Milk is at").fill("83.6")
    page.get_by_role("button", name="Tell me").click()
    expect(page.locator("#poured")).to_contain_text("Slurry to pour")


def test_a_recipe_is_scaled_to_the_dry_mass_in_hand(server: Any, screen: Any) -> None:
    made = server.post("/v1/recipes", SOY)
    page = screen(SIZES["phone"]).page
    page.goto(f"/recipes/{made['id']}")
    page.get_by_label("Dry mass in hand").fill("1,5")
    page.get_by_label("Unit", exact=True).select_option("kg")
    page.get_by_role("button", name="Scale").click()
    expect(page.locator(".amounts")).to_contain_text("10.5 kg")
    expect(page.locator(".amounts")).to_contain_text("45 g")

    page.get_by_label("Dry mass in hand").fill("much")
    page.get_by_role("button", name="Scale").click()
    expect(page.get_by_role("alert").first).to_contain_text("'much' is not a number")


def test_a_recipe_travels_as_a_file(server: Any, screen: Any, tmp_path: Path) -> None:
    made = server.post("/v1/recipes", SOY)
    page = screen(SIZES["tablet"]).page
    page.goto(f"/recipes/{made['id']}")
    with page.expect_download() as download:
        page.get_by_role("link", name="Export as a file").click()
    file = tmp_path / download.value.suggested_filename
    download.value.save_as(file)
    assert json.loads(file.read_text(encoding="utf-8"))["form"] == "curdwright-recipe"

    page.goto("/recipes")
    page.get_by_label("Recipe file").set_input_files(file)
    page.get_by_role("button", name="Take it in").click()

    expect(page.get_by_role("heading", name="Soybean, gypsum", level=1)).to_be_visible()
    assert made["id"] not in page.url
    assert len(server.get("/v1/recipes")["recipes"]) == 2


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("no json at all", "it is no JSON"),
        ('{"some": "thing"}', "it does not say so"),
        ('{"form": "curdwright-recipe", "form_version": 9}', "is of form 9"),
        ('{"form": "curdwright-recipe", "form_version": 1, "recipe": {"name": "x", '
         '"ingredients": [{"name": "soybean", "share": 7}]}}', "less than or equal to 1"),
    ],
)  # fmt: skip
def test_a_wrong_file_is_a_clear_problem_and_changes_nothing(
    server: Any, screen: Any, tmp_path: Path, text: str, said: str
) -> None:
    file = tmp_path / "wrong.json"
    file.write_text(text, encoding="utf-8")
    device = screen(SIZES["phone"])
    device.refusal_expected = 422
    page = device.page
    page.goto("/recipes")
    page.get_by_label("Recipe file").set_input_files(file)
    page.get_by_role("button", name="Take it in").click()

    expect(page.locator("#import-form .fault")).to_contain_text(said)
    assert server.get("/v1/recipes")["recipes"] == []


def test_what_is_not_to_be_eaten_can_not_be_started(server: Any, screen: Any) -> None:
    made = server.post("/v1/recipes", {"name": "Trial", "ingredients": [{"name": "bitter almond"}]})
    page = screen(SIZES["tablet"]).page
    page.goto("/recipes")
    expect(page.locator(".recipe-list")).to_contain_text("not to be eaten")
    page.goto(f"/recipes/{made['id']}")
    expect(page.locator(".fault").first).to_contain_text("amygdalin")
    expect(page.get_by_role("button", name="Start a batch from this")).to_have_count(0)


def test_recipes_are_found_by_words(server: Any, screen: Any) -> None:
    server.post("/v1/recipes", SOY)
    server.post("/v1/recipes", {"name": "Morning", "ingredients": [{"name": "yellow pea"}]})
    page = screen(SIZES["phone"]).page
    page.goto("/recipes")
    page.get_by_label("Words in name").fill("PEA")
    page.get_by_role("button", name="Search").click()
    expect(page.locator(".recipe-list li")).to_have_count(1)
    expect(page.locator(".recipe-list")).to_contain_text("Morning")
    page.get_by_label("Words in name").fill("lentil")
    page.get_by_role("button", name="Search").click()
    expect(page.locator(".empty")).to_contain_text("No recipe has these words")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", list(SIZES))
def test_no_page_of_the_recipes_shuts_anybody_out(
    server: Any, screen: Any, size: str, scheme: str
) -> None:
    server.post("/v1/pots", {"name": "North"})
    made = server.post("/v1/recipes", SOY)
    server.post(f"/v1/recipes/{made['id']}", {**SOY, "note": "softer", "who": "Ben"})
    refused = server.post("/v1/recipes", {"name": "No", "ingredients": [{"name": "bitter almond"}]})
    page = screen(SIZES[size], color_scheme=scheme).page
    paths = ["/recipes", f"/recipes/{made['id']}", f"/recipes/{refused['id']}"]
    for path in [*paths, f"/recipes/{made['id']}/change", "/recipes/new?ingredient=sesame"]:
        page.goto(path)
        if path.startswith("/recipes/new") or path.endswith("change"):
            expect(page.locator("#reckoned")).to_contain_text("Cautions and allergens")
            page.locator("details.part").first.evaluate(
                "() => document.querySelectorAll('details.part').forEach(one => "
                "{ one.hidden = false; one.open = true; })"
            )
        found = Axe().run(page).response["violations"]
        assert found == [], (path, [(one["id"], one["nodes"][0]["html"]) for one in found])
        wider = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        assert wider <= 0, (path, wider)


HARD: list[dict[str, Any]] = [
    SOY,
    {"name": "Bare", "ingredients": [{"name": "pumpkin seed"}], "steps": [], "self_set": True},
    {
        "name": "Blend in degF and oz",
        "ingredients": [
            {"name": "soybean", "share": 0.7, "lot": "sack 3"},
            {"name": "sesame", "share": 0.3},
        ],
        "dry": {"value": 24, "unit": "oz"},
        "nominal_block": {"value": 1, "unit": "lb"},
        "milk_solids_fraction": 0.085,
        "coagulant": {"name": "liquid nigari", "strength_fraction": 0.3, "lot": "B"},
        "dose": {"value": 15, "unit": "mmol/L"},
        "note": "two\nlines",
        "steps": [
            {
                "kind": "heat",
                "masses": [
                    {"stream": "milk", "ratio": 6.5},
                    {"stream": "pulp", "mass": {"value": 2, "unit": "lb"}},
                ],
                "target": {"value": 194, "unit": "degF", "approach": "rising", "tolerance": 3},
            },
            {
                "kind": "boil",
                "hold": {
                    "name": "boil",
                    "below_boiling": {"value": 3.6, "unit": "degF"},
                    "least": {"value": 600, "unit": "s"},
                    "longest": {"value": 900, "unit": "s"},
                    "starts": "boil",
                    "unbroken": False,
                    "basis": "safety",
                },
                "limit": {
                    "side": "low",
                    "value": 190,
                    "unit": "degF",
                    "dead_band": 2,
                    "off_delay": {"value": 10, "unit": "s"},
                    "priority": "high",
                },
            },
            {
                "kind": "simmer",
                "hold": {
                    "name": "just below the boil",
                    "below_boiling": {"value": 4, "unit": "K"},
                    "high": {"value": 98, "unit": "degC"},
                    "least": {"value": 5, "unit": "min"},
                },
            },
            {"kind": "addition"},
            {
                "kind": "chill",
                "hold": {
                    "name": "cold",
                    "low": {"value": 1, "unit": "degC"},
                    "high": {"value": 5, "unit": "degC"},
                    "least": {"value": 2, "unit": "h"},
                },
            },
        ],
    },
]


@pytest.mark.parametrize("number", range(len(HARD)))
def test_the_form_gives_back_every_recipe_as_it_was(server: Any, screen: Any, number: int) -> None:
    made = server.post("/v1/recipes", HARD[number])
    page = screen(SIZES["desktop"]).page
    page.goto("/recipes")
    body = page.evaluate(
        "async recipe => { const form = await import('/static/js/recipe_form.js');"
        " return form.bodyOf(form.rawOf(recipe, {temperature: 'degC', mass: 'g'})); }",
        made,
    )

    again = server.post(f"/v1/recipes/{made['id']}", body)

    assert again["version"] == 2
    assert latest(server, made["id"])["versions"][1]["changes"] == []
