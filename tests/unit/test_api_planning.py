"""A pour planned ahead, and recipes scaled to the dry mass in hand."""

from __future__ import annotations

from typing import Any

import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.kitchen import Kitchen


def degc(value: float, **more: float) -> dict[str, Any]:
    return {"value": value, "unit": "degC", **more}


def kg(value: float, **more: float) -> dict[str, Any]:
    return {"value": value, "unit": "kg", **more}


def plan(client: TestClient, **body: Any) -> dict[str, Any]:
    answer = client.post("/v1/plan/pour", json=body)
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json()
    return found


WEIGHED = {"milk_mass": kg(3.0, u=0.005), "slurry_temperature": degc(20.0, u=0.5)}


def test_the_milk_temperature_for_a_slurry_and_back_meet(client: TestClient) -> None:
    there = plan(client, target=degc(75), slurry_mass=kg(0.25), **WEIGHED)
    hot = there["milk_temperature"]
    back = plan(client, target=degc(75), milk_temperature=degc(hot["value"], u=0.1), **WEIGHED)

    # 75 + 0.25 x 4.18 x 55 / (3 x 3.92): plain arithmetic.
    assert hot["value"] == pytest.approx(75 + 0.25 * 4.18 * 55 / (3 * 3.92), abs=0.01)
    assert hot["unit"] == "degC"
    assert 0 < hot["u"] < 1
    assert back["slurry_mass"]["value"] == pytest.approx(0.25, abs=1e-6)
    assert there["mixing_drop"]["value"] == pytest.approx(hot["value"] - 75)
    assert there["mixture"]["status"] == "not shown"


def test_with_both_given_the_mixture_is_told_too(client: TestClient) -> None:
    found = plan(
        client, target=degc(76), milk_temperature=degc(82, u=0.2), slurry_mass=kg(0.3, u=0.001),
        pot_mass=kg(1.2, u=0.05), **WEIGHED,
    )  # fmt: skip

    capacity = 3 * 3.92 + 1.2 * 0.5
    mixed = (capacity * 82 + 0.3 * 4.18 * 20) / (capacity + 0.3 * 4.18)
    assert found["mixture"]["value"] == pytest.approx(mixed, abs=0.01)
    assert found["mixing_drop"]["value"] == pytest.approx(82 - mixed, abs=0.01)
    # The milk's own error moves the mixture along, so that the drop is better known than it.
    assert found["mixing_drop"]["u"] < found["mixture"]["u"]


def test_fahrenheit_and_grams_are_taken_as_well(client: TestClient) -> None:
    found = plan(
        client,
        target={"value": 165, "unit": "degF"},
        milk_mass={"value": 3000, "unit": "g"},
        milk_temperature={"value": 180, "unit": "degF", "u": 0.9},
        slurry_temperature={"value": 70, "unit": "degF"},
    )

    # 0.1481 of the milk's mass at 3.92 and 4.18: computed by hand.
    assert found["slurry_mass"]["value"] == pytest.approx(3 * 0.1481, abs=0.0005)


def test_a_pot_by_its_name_and_a_milk_by_its_solids_are_reckoned_with(
    client: TestClient,
) -> None:
    client.post("/v1/pots", json={"name": "North", "empty": kg(1.2), "material": "aluminium"})
    bare = plan(client, target=degc(75), slurry_mass=kg(0.3), **WEIGHED)["milk_temperature"]
    soy = [{"name": "soybean"}]
    known = plan(
        client, target=degc(75), slurry_mass=kg(0.3), pot="North", ingredients=soy,
        milk_solids_fraction=0.09, **WEIGHED,
    )["milk_temperature"]  # fmt: skip

    assert known["value"] < bare["value"]
    assert known["u"] < bare["u"]
    assert "pot North" in known["from"]
    assert any("not weighed" in source for source in bare["from"])


def test_an_unknown_composition_is_said_and_a_usual_milk_taken(client: TestClient) -> None:
    found = plan(
        client, target=degc(75), slurry_mass=kg(0.3), ingredients=[{"name": "moonbean"}],
        milk_solids_fraction=0.09, **WEIGHED,
    )  # fmt: skip

    assert "moonbean is not known here. A usual milk is taken." in found["notes"][0]


def test_a_slurry_that_nobody_measured_is_as_warm_as_the_room_and_less_sure(
    client: TestClient,
) -> None:
    measured = plan(client, target=degc(75), slurry_mass=kg(0.3), **WEIGHED)
    guessed = plan(client, target=degc(75), slurry_mass=kg(0.3), milk_mass=kg(3.0))

    assert guessed["milk_temperature"]["u"] > measured["milk_temperature"]["u"]
    assert "assumed: slurry within 5 K of the room" in guessed["milk_temperature"]["from"]


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({}, "give slurry_mass"),
        ({"slurry_mass": kg(-0.1)}, "no mass to pour"),
        ({"slurry_mass": degc(20)}, "not a unit of mass"),
        ({"slurry_mass": kg(0.2), "milk_mass": kg(0)}, "no mass to pour"),
        ({"slurry_mass": kg(0.2), "target": degc(400)}, "no temperature of milk"),
        ({"slurry_mass": kg(0.2), "target": kg(75)}, "not a unit of temperature"),
        ({"milk_temperature": degc(70), "target": degc(75)}, "can't be reached"),
        ({"milk_temperature": degc(95), "target": degc(20.5)}, "kg of slurry for"),
        ({"slurry_mass": kg(0.2), "pot": "Nowhere"}, "is not known"),
        ({"slurry_mass": kg(0.2), "milk_solids_fraction": 0.1}, "ingredients"),
        ({"slurry_mass": kg(0.2), "cups": 3}, "Extra inputs"),
    ],
)
def test_nonsense_is_refused_in_the_one_form(
    client: TestClient, changed: dict[str, Any], said: str
) -> None:
    answer = client.post("/v1/plan/pour", json={"target": degc(75), **WEIGHED, **changed})

    assert answer.status_code in (404, 422), answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    assert said in answer.json()["detail"]
    assert answer.json()["do"]


def test_the_description_holds_an_example_that_works(client: TestClient, kitchen: Kitchen) -> None:
    described = create_app(kitchen).openapi()
    schema = described["components"]["schemas"]["PourPlanBody"]

    for example in schema["examples"]:
        assert client.post("/v1/plan/pour", json=example).status_code == 200


RECIPE: dict[str, Any] = {
    "name": "Soybean, gypsum",
    "ingredients": [{"name": "soybean", "share": 0.8}, {"name": "sesame", "share": 0.2}],
    "dry": {"value": 600, "unit": "g"},
    "steps": [
        {"kind": "soak", "stream": "soak_water", "mass_ratio": 3.0},
        {"kind": "grind", "masses": [{"stream": "water", "mass": {"value": 4.2, "unit": "kg"}}]},
        {"kind": "strain", "masses": [{"stream": "milk", "ratio": 5.6}]},
        {
            "kind": "addition",
            "masses": [
                {"stream": "coagulant", "mass": {"value": 20, "unit": "g"}},
                {"stream": "coagulant_water", "ratio": 0.4},
            ],
        },
    ],
}


def test_every_dose_water_and_expected_mass_is_scaled_to_the_dry_mass(client: TestClient) -> None:
    recipe = client.post("/v1/recipes", json=RECIPE).json()

    answer = client.get(f"/v1/recipes/{recipe['id']}", params={"dry": 1.2, "unit": "kg"})

    scaled = answer.json()["scaled"]
    found = {one["stream"]: one for one in scaled["masses"]}
    masses = {stream: one["mass"]["value"] for stream, one in found.items()}
    assert masses == pytest.approx(
        {"soak_water": 3.6, "water": 8.4, "milk": 6.72, "coagulant": 0.04, "coagulant_water": 0.48}
    )
    assert found["coagulant"]["role"] == "dose"
    assert found["water"]["role"] == "water"
    assert found["milk"]["role"] == "expected"
    assert found["coagulant"]["step"] == "step 4, addition"
    assert [one["mass"]["value"] for one in scaled["ingredients"]] == pytest.approx([0.96, 0.24])


def test_an_older_version_is_scaled_when_asked_for(client: TestClient) -> None:
    recipe = client.post("/v1/recipes", json=RECIPE).json()
    path = f"/v1/recipes/{recipe['id']}"
    client.post(path, json={**RECIPE, "steps": []})

    latest = client.get(path, params={"dry": 1}).json()["scaled"]
    first = client.get(path, params={"dry": 1, "version": 1}).json()["scaled"]

    assert latest["masses"] == []
    assert latest["notes"]
    assert len(first["masses"]) == 5
    assert client.get(path, params={"dry": 1, "version": 9}).status_code == 404
    assert "scaled" not in client.get(path).json()


@pytest.mark.parametrize(
    "query", [{"dry": 0}, {"dry": -1}, {"dry": "nan"}, {"dry": 1, "unit": "l"}]
)
def test_a_dry_mass_that_is_none_is_refused(client: TestClient, query: dict[str, Any]) -> None:
    recipe = client.post("/v1/recipes", json=RECIPE).json()

    assert client.get(f"/v1/recipes/{recipe['id']}", params=query).status_code == 422


def step(**more: Any) -> dict[str, Any]:
    return {**RECIPE, "steps": [{"kind": "grind", **more}]}


@pytest.mark.parametrize(
    "body",
    [
        {**RECIPE, "dry": None},
        {**RECIPE, "dry": kg(0)},
        {**RECIPE, "nominal_block": {"value": 350, "unit": "ml"}},
        step(masses=[{"stream": "water"}]),
        step(masses=[{"stream": "water", "ratio": 3, "mass": kg(1)}]),
        step(masses=[{"stream": "water", "mass": kg(-1)}]),
        step(press_mass=kg(0)),
        step(press_area={"value": 108, "unit": "cm"}),
        step(press_area={"value": 0, "unit": "cm2"}),
    ],
)
def test_a_recipe_with_a_mass_that_makes_no_sense_is_refused(
    client: TestClient, body: dict[str, Any]
) -> None:
    assert client.post("/v1/recipes", json=body).status_code == 422
