"""Recipes over HTTP: their versions and what changed, doses, files, and what they come to."""

from __future__ import annotations

from typing import Any

import pytest
from fastapi.testclient import TestClient

SOY: dict[str, Any] = {
    "name": "Soybean, gypsum",
    "ingredients": [{"name": "soybean"}],
    "dry": {"value": 600, "unit": "g"},
    "coagulant": {"name": "gypsum"},
    "steps": [
        {"kind": "grind", "masses": [{"stream": "water", "mass": {"value": 4.2, "unit": "kg"}}]},
        {"kind": "heat", "masses": [{"stream": "milk", "ratio": 7.5}]},
        {"kind": "addition", "target": {"value": 80, "unit": "degC", "approach": "falling"}},
        {"kind": "press"},
    ],
}


def made(client: TestClient, **more: Any) -> dict[str, Any]:
    answer = client.post("/v1/recipes", json={**SOY, **more})
    assert answer.status_code == 201, answer.text
    return dict(answer.json())


def test_each_version_says_who_made_it_when_and_what_changed(client: TestClient) -> None:
    first = made(client, who="Ana")
    steps = [dict(step) for step in SOY["steps"]]
    steps[2] = {"kind": "addition", "target": {"value": 78, "unit": "degC", "approach": "falling"}}
    steps.insert(2, {"kind": "boil"})
    body = {**SOY, "steps": steps, "who": "Ben", "replaces_version": 1}

    answer = client.post(f"/v1/recipes/{first['id']}", json=body)

    assert answer.status_code == 201
    read = client.get(f"/v1/recipes/{first['id']}").json()
    assert [(one["version"], one["who"]) for one in read["versions"]] == [(1, "Ana"), (2, "Ben")]
    assert read["versions"][0]["changes"] == []
    assert read["versions"][1]["recorded_at"] == "2026-03-02T08:15:00.000Z"
    assert read["versions"][1]["changes"] == [
        {"what": "step 3", "before": "", "after": "boil"},
        {
            "what": "step 4, addition: target",
            "before": "80 degC, falling",
            "after": "78 degC, falling",
        },
    ]


def test_a_version_made_from_an_older_one_is_refused_and_nothing_is_lost(
    client: TestClient,
) -> None:
    recipe = made(client)["id"]
    client.post(f"/v1/recipes/{recipe}", json={**SOY, "note": "first", "who": "Ana"})

    late = client.post(f"/v1/recipes/{recipe}", json={**SOY, "note": "late", "replaces_version": 1})

    assert late.status_code == 409
    assert "Version 2 of 'Soybean, gypsum' was saved meanwhile by Ana" in late.json()["detail"]
    assert len(client.get(f"/v1/recipes/{recipe}").json()["versions"]) == 2


def test_the_same_version_sent_twice_is_kept_once(client: TestClient) -> None:
    recipe = made(client)["id"]
    body = {**SOY, "id": "11111111-2222-4333-8444-555555555555", "replaces_version": 1}

    answers = [client.post(f"/v1/recipes/{recipe}", json=body) for _ in range(2)]

    assert [one.json()["version"] for one in answers] == [2, 2]


def test_a_batch_keeps_the_version_that_it_froze(client: TestClient) -> None:
    recipe = made(client)["id"]
    batch = client.post("/v1/batches", json={"name": "North", "recipe": recipe}).json()["id"]

    client.post(f"/v1/recipes/{recipe}", json={**SOY, "name": "Soybean, softer"})

    frozen = client.get(f"/v1/batches/{batch}").json()["recipe"]
    assert (frozen["version"], frozen["name"]) == (1, "Soybean, gypsum")


@pytest.mark.parametrize(
    ("dose", "grams"),
    [
        # By hand: 3 g for 100 g of 600 g dry; 0.4 % of 4500 g of milk; 23 mmol/L of 172.17 g/mol
        # in 4500 g of milk at 1017 g/L.
        ({"value": 3, "unit": "g/100 g dry"}, 18.0),
        ({"value": 0.4, "unit": "g/100 g milk"}, 18.0),
        ({"value": 23, "unit": "mmol/L"}, 17.522),
    ],
)
def test_a_dose_in_any_unit_becomes_the_mass_to_weigh(
    client: TestClient, dose: dict[str, Any], grams: float
) -> None:
    recipe = made(client, dose=dose)

    scaled = client.get(f"/v1/recipes/{recipe['id']}?dry=600&unit=g").json()["scaled"]

    assert recipe["dose"] == dose
    [salt] = [one for one in scaled["masses"] if one["stream"] == "coagulant"]
    assert salt["mass"]["value"] * 1000 == pytest.approx(grams, abs=0.001)
    assert salt["kind"] == "addition"


@pytest.mark.parametrize(
    ("change", "where", "words"),
    [
        ({"dose": {"value": 0.4, "unit": "g/100 g milk"}, "steps": [{"kind": "addition"}]},
         "dose", "no step says how much milk"),
        ({"dose": {"value": 3, "unit": "g/100 g dry"}, "steps": []}, "steps", "no step is"),
        ({"dose": {"value": 3, "unit": "g/100 g dry"}, "coagulant": None}, "coagulant", "of no"),
        ({"dose": {"value": 9, "unit": "mmol/L"}, "coagulant": {"name": "liquid nigari"}},
         "strength", "is a brine"),
        ({"dose": {"value": 9, "unit": "mmol/L"}, "coagulant": {"name": "moon dust"}},
         "coagulant", "'moon dust'"),
        ({"dry": {"value": 0, "unit": "g"}}, "dry", "not a mass"),
        ({"steps": [{"kind": "boil", "target": {"value": 9, "unit": "kg"}}]},
         "step 1, boil, target", "'kg' is not a unit of temperature"),
        ({"steps": [{"kind": "soak"}, {"kind": "boil", "hold": {
            "name": "b", "low": {"value": 99, "unit": "degC"}, "high": {"value": 9, "unit": "degC"},
            "least": {"value": 9, "unit": "min"}}}]}, "step 2, boil, hold", "99"),
    ],
)  # fmt: skip
def test_what_is_wrong_names_its_place_and_what_to_do(
    client: TestClient, change: dict[str, Any], where: str, words: str
) -> None:
    answer = client.post("/v1/recipes", json={**SOY, **change})

    assert answer.status_code == 422, answer.text
    assert answer.json()["where"] == where
    assert words in answer.json()["detail"]
    assert answer.json()["do"]


def test_a_recipe_goes_out_as_a_file_and_comes_back_as_the_same_recipe(client: TestClient) -> None:
    made_here = made(
        client,
        ingredients=[{"name": "soybean", "share": 0.7, "lot": "sack 3"}, {"name": "sesame"}],
        coagulant={"name": "gypsum", "lot": "bag 1"},
        dose={"value": 0.4, "unit": "g/100 g milk"},
        accept_by_itself={"above": 0.9, "kinds": ["heat"]},
    )
    exported = client.get(f"/v1/recipes/{made_here['id']}/file")
    assert 'filename="soybean-gypsum-v1.recipe.json"' in exported.headers["content-disposition"]

    back = client.post("/v1/recipes/import", json=exported.json())

    assert back.status_code == 201, back.text
    assert back.json()["id"] != made_here["id"]
    own = ("id", "recorded_at", "who", "ingredients", "coagulant")
    assert {k: v for k, v in back.json().items() if k not in own} == {
        k: v for k, v in made_here.items() if k not in own
    }
    assert back.json()["ingredients"][0] == {"name": "soybean", "share": 0.7}
    assert back.json()["coagulant"] == {"name": "gypsum"}
    assert len(client.get("/v1/recipes").json()["recipes"]) == 2


@pytest.mark.parametrize(
    ("file", "where"),
    [
        ({"hello": 1}, "body.form"),
        ({"form": "curdwright-recipe", "form_version": 2, "recipe": SOY}, "body.form_version"),
        ({"form": "curdwright-recipe", "form_version": 1, "recipe": {"name": "x"}},
         "body.recipe.ingredients"),
    ],
)  # fmt: skip
def test_a_file_of_another_form_is_refused(
    client: TestClient, file: dict[str, Any], where: str
) -> None:
    answer = client.post("/v1/recipes/import", json=file)

    assert answer.status_code == 422
    assert answer.json()["where"] == where
    assert client.get("/v1/recipes").json()["recipes"] == []


def plan(client: TestClient, recipe: dict[str, Any], **more: Any) -> dict[str, Any]:
    answer = client.post("/v1/plan/recipe", json={"recipe": recipe, **more})
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def test_a_draft_says_its_dose_in_all_three_units_and_keeps_nothing(client: TestClient) -> None:
    found = plan(client, {**SOY, "dose": {"value": 0.4, "unit": "g/100 g milk"}})

    # By hand: 0.4 g per 100 g of milk, 7.5 kg of it for a kilogram dry; 4.068 g/L over 172.17.
    assert found["dose"]["of_dry"]["value"] == pytest.approx(3.0)
    assert found["dose"]["of_milk"]["value"] == pytest.approx(0.4)
    assert found["dose"]["concentration"]["value"] == pytest.approx(23.63, abs=0.01)
    assert client.get("/v1/recipes").json()["recipes"] == []


def test_yield_and_cost_say_why_they_are_not_shown(client: TestClient) -> None:
    found = plan(client, SOY)

    assert found["yield"]["status"] == "not shown"
    assert "how much block to expect" in found["yield"]["why"]
    assert found["cost"]["total"]["why"].startswith("soybean: no lot of soybean")


def test_cost_goes_by_the_prices_last_paid(client: TestClient) -> None:
    price = {"currency": "EUR", "per": {"value": 1, "unit": "kg"}}
    for name, paid in (("soybean", "2.50"), ("gypsum", "10")):
        client.post("/v1/lots", json={"ingredient": name, "lot": "1", "price": paid, **price})
    block = {"kind": "press", "masses": [{"stream": "block", "ratio": 2.0}]}
    recipe = {
        **SOY,
        "dose": {"value": 3, "unit": "g/100 g dry"},
        "steps": [*SOY["steps"][:3], block],
        "nominal_block": {"value": 400, "unit": "g"},
    }

    found = plan(client, recipe, dry={"value": 2, "unit": "kg"})

    # By hand: 2 kg at 2.50 and 60 g at 10 a kilogram; 4 kg of block.
    assert found["cost"]["total"]["amount"] == "5.60"
    assert found["block"]["value"] == pytest.approx(4.0)
    assert found["cost"]["per_100_g"]["value"] == pytest.approx(0.14)
    assert found["cost"]["nominal_block"]["value"] == pytest.approx(0.56)


def test_yield_is_told_by_earlier_batches_of_the_recipe(client: TestClient) -> None:
    recipe = made(client)["id"]
    for block_kg in (1.2, 1.32):
        batch = client.post("/v1/batches", json={"name": "N", "recipe": recipe}).json()["id"]
        for stream, value in (("dry", 0.6), ("block", block_kg)):
            said = {"stream": stream, "mass": {"value": value, "unit": "kg"}}
            assert client.post(f"/v1/batches/{batch}/weighings", json=said).status_code == 201

    found = plan(client, SOY, recipe_id=recipe)

    assert found["yield"]["value"] == pytest.approx(2.1)  # mean of 2.0 and 2.2
    assert found["yield"]["u"] == pytest.approx(0.2 / 2**0.5)
    assert "mean of 2 earlier batches" in found["yield"]["method"]


def test_what_must_not_be_eaten_is_told_before_it_is_started(client: TestClient) -> None:
    recipe = {**SOY, "ingredients": [{"name": "bitter almond"}]}

    [refused] = plan(client, recipe)["refused"]

    assert "amygdalin" in refused["text"]
    kept = client.post("/v1/recipes", json=recipe).json()["id"]
    started = client.post("/v1/batches", json={"name": "N", "recipe": kept})
    assert started.status_code == 422


def test_starts_are_never_lent_from_one_ingredient_to_another(client: TestClient) -> None:
    blend = {**SOY, "ingredients": [{"name": "soybean"}, {"name": "sesame"}], "coagulant": None}

    soy, sesame = plan(client, blend)["starts"]

    by_field = {one["field"]: one for one in sesame["starts"]}
    assert by_field["target"]["text"] == "no published range is known"
    assert by_field["target"]["value"] is None
    assert next(one for one in soy["starts"] if one["field"] == "target")["low"] == 70.0
    assert all(one["status"] for one in soy["starts"])
