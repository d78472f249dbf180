"""What Compare shows: its picture, its rows, its links."""

from __future__ import annotations

import re
from typing import Any

import pytest

from dashboards.compare_rows import figure_groups, standing_out
from dashboards.compare_view import picture_of
from dashboards.reader import reader_of
from dashboards.render import render

Json = dict[str, Any]


def quantity(value: float, unit: str, u: float) -> Json:
    return {"value": value, "unit": unit, "u": u, "method": "weighed", "from": []}


def line(number: int, name: str, outcome: str | None) -> Json:
    return {"id": f"b{number}", "name": name, "state": "closed", "outcome": outcome,
            "started_at": f"2026-03-0{number}T07:00:00.000Z", "ended_at": None, "pot": "North",
            "recipe": {"id": "r1", "version": 1, "name": "Soybean, gypsum"},
            "ingredients": []}  # fmt: skip


def curve(number: int, rate: float) -> Json:
    points = [[float(s), 20.0 + rate * s] for s in range(-600, 1200, 30)]
    marks = [{"kind": "heat", "at": "", "x": 0.0}, {"kind": "boil", "at": "", "x": 900.0}]
    return {"batch": f"b{number}", "series": "north/milk", "zero": "the heat", "x_unit": "s",
            "unit": "degC", "points": points, "marks": marks}  # fmt: skip


def difference(name: str, group: str, value: float, u: float, **more: Any) -> Json:
    return {"batch": "b2", "group": group, "name": name,
            "first": quantity(1.0, "kg", u), "second": quantity(1.0 + value, "kg", u),
            "difference": quantity(value, "kg", u), "z": abs(value) / u,
            "stands_out": abs(value) > 2 * u, "summary": "", **more}  # fmt: skip


@pytest.fixture
def data() -> Json:
    """Two batches whose block differs, whose milk does not, whose water one never weighed."""
    nobody = {"status": "not shown", "why": "Nobody weighed water at 20 degC."}
    figures = [
        {"group": "outcome", "name": "milk", "values": [quantity(1.0, "kg", 0.02)] * 2},
        {"group": "outcome", "name": "block",
         "values": [quantity(1.0, "kg", 0.01), quantity(1.2, "kg", 0.01)]},
        {"group": "input", "name": "water", "values": [quantity(3.0, "kg", 0.01), nobody]},
        {"group": "input", "name": "kind of coagulant",
         "values": [{"text": "gypsum"}, {"text": "nigari"}]},
    ]  # fmt: skip
    words = {"batch": "b2", "group": "input", "name": "kind of coagulant",
             "first": {"text": "gypsum"}, "second": {"text": "nigari"}, "difference": None,
             "z": None, "stands_out": True, "summary": ""}  # fmt: skip
    absent = {"batch": "b2", "group": "input", "name": "water",
              "first": quantity(3.0, "kg", 0.01), "second": nobody, "difference": nobody,
              "z": None, "stands_out": False, "summary": ""}  # fmt: skip
    compared = {
        "align": "time", "temperature": None,
        "batches": [line(1, "Monday", "weak"), line(2, "Tuesday & <co>", "set")],
        "curves": [curve(1, 0.05), curve(2, 0.08)],
        "figures": figures,
        "differences": [difference("milk", "outcome", 0.01, 0.03),
                        difference("block", "outcome", 0.2, 0.014), words, absent],
        "standing_out": [],
    }  # fmt: skip
    band = {"like": "b2", "alike": "recipe Soybean, gypsum", "outcome": "set", "x_unit": "s",
            "batches": [line(3, "Wednesday", "set"), line(4, "Thursday", "set")],
            "method": "lowest, median and highest of 2 batches at each point",
            "points": [[float(s), 20 + 0.06 * s, 22.0, 24 + 0.07 * s, 2.0]
                       for s in range(0, 900, 60)]}  # fmt: skip
    return {
        "kitchen": {"name": "Fern Lane", "zone": "Europe/Vienna"},
        "now": "2026-03-02T20:00:00.000Z", "units": {}, "position": "r1.e1",
        "address": {"batch": ["b1", "b2"], "align": "time", "temperature": "", "unit": "degC",
                    "q": "", "from": "", "to": ""},
        "axis_degc": 60.0, "faults": [], "span": [None, None], "found": [], "suggested": [],
        "any": True, "compared": compared, "band": band, "ways": None,
    }  # fmt: skip


def test_a_clear_difference_has_words_and_a_shape_and_stands_first(data: Json) -> None:
    outcome = {one["key"]: one for one in figure_groups(data["compared"], reader_of(data))}[
        "outcome"
    ]

    [block] = outcome["differing"]
    assert block["name"] == "Block"
    assert block["cells"][0]["difference"] is None
    said = block["cells"][1]["difference"]
    assert (said["shape"], said["clear"]) == ("higher", True)
    assert said["words"].replace("\u00a0", " ") == "200 g more than A (u 14 g)"
    [milk] = outcome["alike"]
    assert milk["cells"][1]["difference"]["shape"] == "same"
    assert "within twice its u" in milk["cells"][1]["difference"]["words"]


def test_what_differs_most_tells_the_outcome_first_and_what_cannot_be_shown(data: Json) -> None:
    [against] = standing_out(data["compared"], reader_of(data))

    assert [one["name"] for one in against["lines"]] == ["Block", "Kind of coagulant"]
    assert against["lines"][1]["words"] == "nigari; A: gypsum"
    assert against["missing"] == [{"name": "Water", "why": "B: Nobody weighed water at 20 °C."}]


def test_the_picture_names_its_lines_and_begins_a_little_before_the_heat(data: Json) -> None:
    drawn = picture_of(data, reader_of(data), "wide")

    assert 'data-from="-5"' in drawn
    assert "A  Monday" in drawn
    assert "Tuesday &amp; &lt;co&gt;" in drawn
    assert "2 good batches, lowest to highest" in drawn
    assert len(re.findall(r'<path d="M[\d. L]+" class="batch-\d"', drawn)) == 2
    dashes = dict(re.findall(r'class="batch-(\d)" stroke="[^"]+" stroke-width="2.5"([^>]*)', drawn))
    assert "dasharray" not in dashes["0"]
    assert "dasharray" in dashes["1"]
    assert ">boil</text>" in drawn
    assert "highest 113.6 °C" in drawn.replace("\u00a0", " ").replace("\u202f", " ")


def test_a_stretch_that_was_asked_for_is_what_is_drawn(data: Json) -> None:
    data["span"] = [2.0, 10.0]

    drawn = picture_of(data, reader_of(data), "narrow")

    assert 'data-from="2" data-to="10"' in drawn


def test_a_batch_without_a_curve_leaves_the_others_drawn_and_says_why(data: Json) -> None:
    data["compared"]["curves"][1] = {"batch": "b2", "status": "not shown", "why": "no probe"}

    page = render("compare", data)

    assert "no curve here. No probe" in page
    assert 'class="curve compared wide"' in page


def test_the_page_without_batches_teaches_and_a_name_is_never_markup(data: Json) -> None:
    assert "Tuesday &amp; &lt;co&gt;" in render("compare", data)
    empty = {**data, "compared": None, "band": None, "found": [], "any": False,
             "address": {**data["address"], "batch": []}}  # fmt: skip

    page = render("compare", empty)

    assert "Why did this one set, and that one not?" in page
    assert "No batch has been made yet." in page
