"""Batches side by side: figures, differences that stand out, curves on a common axis, effects."""

from __future__ import annotations

import csv
import io
from typing import Any

import numpy as np
import pytest

HEAT = "2026-03-02T07:00:00Z"
HEAT_S = 1_772_434_800.0


def pair(site: Any) -> tuple[str, str]:
    first = site.make(name="Monday", coagulant={"name": "gypsum"})
    site.weigh(first)
    second = site.make(name="Tuesday", coagulant={"name": "nigari"})
    site.weigh(second, coagulant=0.010, block=1.40)
    return first, second


def compared(site: Any, *batches: str, **query: Any) -> dict[str, Any]:
    answer = site.client.get("/v1/compare", params={"batch": batches, **query})
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json()
    return found


def heat(site: Any, senml: Any, series: str, rate_k_per_s: float, **batch: Any) -> str:
    """Make a batch whose milk is heated from 20 degC."""
    time_s = HEAT_S + np.arange(0.0, 900.0, 5.0)
    degc = 20.0 + rate_k_per_s * (time_s - HEAT_S)
    senml(
        *(
            {"n": series, "u": "Cel", "t": t, "v": round(v, 3)}
            for t, v in zip(time_s.tolist(), degc.tolist(), strict=True)
        )
    )
    made = site.make(thermometer=series, started_at="2026-03-02T06:59:00Z", **batch)
    site.post(f"/v1/batches/{made}/events", kind="heat", at=HEAT)
    return str(made)


def test_what_went_in_what_was_done_and_what_came_out_are_told_apart(site: Any) -> None:
    found = compared(site, *pair(site))

    differences = {one["name"]: one for one in found["differences"]}
    assert differences["kind of coagulant"]["group"] == "input"
    assert differences["kind of coagulant"]["summary"] == ("kind of coagulant: gypsum, then nigari")
    assert differences["coagulant"]["difference"]["value"] == pytest.approx(-0.002)
    assert differences["block"]["group"] == "outcome"
    assert differences["block"]["difference"]["value"] == pytest.approx(-0.15)
    assert differences["block"]["stands_out"] is True
    assert differences["milk"]["stands_out"] is False
    assert {one["group"] for one in found["standing_out"]} == {"input", "outcome"}


def test_figures_stand_side_by_side_with_their_reasons(site: Any) -> None:
    first, second = pair(site)
    bare = site.make(name="Wednesday")

    rows = {one["name"]: one for one in compared(site, first, second, bare)["figures"]}

    values = rows["block"]["values"]
    assert [v.get("value") for v in values] == [1.55, 1.40, None]
    assert values[2]["status"] == "not shown"
    assert [v.get("text") for v in rows["ingredients"]["values"]] == ["soybean"] * 3


def test_scores_are_compared_on_their_scale_alone(site: Any) -> None:
    first, second = pair(site)
    for batch, score, high in ((first, 3, 9), (second, 8, 9)):
        for taster in ("one", "two", "three"):
            body = {"quantity": "taste", "attribute": "firmness", "value": score, "who": taster}
            scale = {"low": 1, "high": high, "low_words": "soft", "high_words": "hard"}
            site.post(f"/v1/batches/{batch}/observations", **body, scale=scale)

    found = {one["name"]: one for one in compared(site, first, second)["differences"]}

    taste = found["taste, firmness, 1 to 9"]
    assert taste["difference"]["value"] == pytest.approx(5.0)
    assert taste["stands_out"] is True


def test_a_score_outside_its_scale_or_without_one_is_refused(site: Any) -> None:
    path = f"/v1/batches/{site.make()}/observations"
    scale = {"low": 1, "high": 9}
    for body in (
        {"value": 12, "scale": scale},
        {"value": 3},
        {"value": 3, "scale": {"low": 9, "high": 1}},
    ):
        answer = site.client.post(path, json={"quantity": "taste", **body})
        assert answer.status_code == 422, body


def test_curves_by_time_begin_at_the_heat(site: Any, senml: Any) -> None:
    first = heat(site, senml, "north/milk", 0.08, name="North")
    second = heat(site, senml, "south/milk", 0.05, name="South")

    curves = compared(site, first, second)["curves"]

    assert [c["zero_at"] for c in curves] == ["2026-03-02T07:00:00.000Z"] * 2
    assert {c["x_unit"] for c in curves} == {"s"}
    for curve, rate in zip(curves, (0.08, 0.05), strict=True):
        x, degc = np.array(curve["points"]).T
        assert np.interp(300.0, x, degc) == pytest.approx(20 + 300 * rate, abs=0.01)


def test_curves_by_temperature_meet_there_and_one_that_never_reached_it_says_so(
    site: Any, senml: Any
) -> None:
    first = heat(site, senml, "north/milk", 0.08, name="North")
    second = heat(site, senml, "south/milk", 0.05, name="South")

    query = {"align": "temperature", "temperature": 50}
    for curve in compared(site, first, second, **query)["curves"]:
        x, degc = np.array(curve["points"]).T
        assert np.interp(0.0, x, degc) == pytest.approx(50.0, abs=0.01)

    query["temperature"] = 80
    curves = compared(site, first, second, **query)["curves"]
    assert "points" in curves[0]
    assert curves[1]["why"] == "It never rose through 80 degC."


def test_curves_per_kilogram_need_the_mass_of_the_milk(site: Any, senml: Any) -> None:
    first = heat(site, senml, "north/milk", 0.04, name="North")
    second = heat(site, senml, "south/milk", 0.08, name="South")
    site.post(f"/v1/batches/{first}/weighings", stream="milk", mass={"value": 6, "unit": "kg"})

    curves = compared(site, first, second, align="per_kg")["curves"]

    x, degc = np.array(curves[0]["points"]).T
    assert np.interp(100.0, x, degc) == pytest.approx(20 + 600 * 0.04, abs=0.01)
    assert curves[0]["x_unit"] == "s/kg"
    assert curves[1]["why"] == "nobody weighed the milk"


def test_a_comparison_of_one_batch_or_of_none_that_exists_is_refused(site: Any) -> None:
    batch = site.make()

    for query in ({"batch": [batch]}, {"batch": [batch, batch]}, {}):
        assert site.client.get("/v1/compare", params=query).status_code == 422
    assert site.client.get("/v1/compare", params={"batch": [batch, "x"]}).status_code == 404
    wrong = {"batch": [batch, batch], "align": "colour"}
    assert site.client.get("/v1/compare", params=wrong).status_code == 422


def test_three_batches_of_each_way_give_an_effect_with_its_interval(site: Any) -> None:
    ways: list[list[str]] = [[], []]
    for way, blocks in enumerate(((1.50, 1.52, 1.49), (1.60, 1.63, 1.61))):
        for block in blocks:
            ways[way].append(site.make())
            site.weigh(ways[way][-1], block=block)
    query = {"first": ways[0], "second": ways[1]}

    answer = site.client.get("/v1/compare/effects", params=query)

    found = {one["name"]: one for one in answer.json()["effects"]}
    block = found["block"]
    # Means 1.50333 and 1.61333: by hand.
    assert block["difference"]["value"] == pytest.approx(0.11, abs=1e-9)
    assert block["interval"][0] < 0.11 < block["interval"][1]
    assert block["interval"][0] > 0.0
    assert block["batches"] == [3, 3]


def test_too_few_batches_of_a_way_give_the_reason_in_place_of_an_effect(site: Any) -> None:
    first, second = pair(site)
    query = {"first": [first], "second": [second]}

    found = site.client.get("/v1/compare/effects", params=query).json()["effects"]

    assert found
    assert all("too few" in one["difference"]["why"] for one in found)


def good(site: Any, senml: Any, number: int, rate_k_per_s: float, **batch: Any) -> str:
    """Make a closed batch that set."""
    made = heat(site, senml, f"pot{number}/milk", rate_k_per_s, pot="North", **batch)
    site.post(f"/v1/batches/{made}/observations", quantity="outcome", text="set")
    site.post(f"/v1/batches/{made}/events", kind="end", at="2026-03-02T07:30:00Z")
    return made


def band(site: Any, batch: str, **query: Any) -> dict[str, Any]:
    answer = site.client.get("/v1/compare/band", params={"batch": batch, **query})
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json()
    return found


def test_the_band_of_the_good_batches_runs_from_the_lowest_to_the_highest(
    site: Any, senml: Any
) -> None:
    rates = (0.05, 0.08, 0.06)
    chosen = [good(site, senml, number, rate) for number, rate in enumerate(rates)]
    weak = heat(site, senml, "pot8/milk", 0.01, pot="North")
    site.post(f"/v1/batches/{weak}/observations", quantity="outcome", text="weak")
    site.post(f"/v1/batches/{weak}/events", kind="end", at="2026-03-02T07:30:00Z")
    new = heat(site, senml, "pot9/milk", 0.07, pot="North")

    found = band(site, new)

    assert {one["id"] for one in found["batches"]} == set(chosen)
    assert found["alike"] == "pot North, without a recipe"
    assert "lowest, median and highest of 3 batches" in found["method"]
    x, low, middle, high, count = np.array(found["points"]).T
    for column, rate in ((low, 0.05), (middle, 0.06), (high, 0.08)):
        assert np.interp(300.0, x, column) == pytest.approx(20 + 300 * rate, abs=0.02)
    assert set(count.tolist()) == {3.0}


def test_without_two_good_batches_the_band_says_how_many_there_are(site: Any, senml: Any) -> None:
    good(site, senml, 1, 0.05)
    new = heat(site, senml, "pot9/milk", 0.07, pot="North")

    found = band(site, new)

    assert found["status"] == "not shown"
    assert found["why"].startswith("There is one other batch like it")
    assert site.client.get("/v1/compare/band", params={"batch": "x"}).status_code == 404


def test_curves_carry_their_marks_on_the_common_axis(site: Any, senml: Any) -> None:
    first = heat(site, senml, "north/milk", 0.04, name="North")
    second = heat(site, senml, "south/milk", 0.08, name="South")
    site.post(f"/v1/batches/{first}/events", kind="boil", at="2026-03-02T07:10:00Z")
    mass = {"value": 6, "unit": "kg"}
    for batch in (first, second):
        site.post(f"/v1/batches/{batch}/weighings", stream="milk", mass=mass)

    marks = compared(site, first, second)["curves"][0]["marks"]
    assert [(one["kind"], one["x"]) for one in marks] == [("heat", 0.0), ("boil", 600.0)]
    per_kg = compared(site, first, second, align="per_kg")["curves"][0]["marks"]
    assert per_kg[1]["x"] == pytest.approx(100.0)


def test_the_table_has_a_line_for_each_figure_of_each_batch(site: Any) -> None:
    first, second = pair(site)
    query = {"batch": [first, second], "format": "csv"}

    answer = site.client.get("/v1/compare", params=query)

    assert answer.headers["content-type"].startswith("text/csv")
    assert "attachment" in answer.headers["content-disposition"]
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    [block] = [r for r in rows if r["figure"] == "block" and r["batch"] == second]
    assert float(block["value"]) == 1.40
    assert block["unit"] == "kg"
    assert float(block["less the first"]) == pytest.approx(-0.15)
    assert block["larger than its uncertainty"] == "yes"


def test_a_name_that_looks_like_a_formula_stays_text_in_the_table(site: Any) -> None:
    first = site.make(name="=1+1")
    second = site.make(name="Tuesday")
    query = {"batch": [first, second], "format": "csv"}

    rows = list(csv.DictReader(io.StringIO(site.client.get("/v1/compare", params=query).text)))

    assert {r["batch name"] for r in rows} == {"'=1+1", "Tuesday"}
