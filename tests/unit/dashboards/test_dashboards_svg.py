"""The pictures that the server draws: the curve, and the flow of masses."""

from __future__ import annotations

import re
from typing import Any
from xml.etree import ElementTree as ET

import pytest

from dashboards.flow import flow_diagram
from dashboards.flow_stages import flows_of, stages_of
from dashboards.formats import Units
from dashboards.svg_axes import rows_for, time_ticks, value_ticks
from dashboards.svg_curve import curve
from dashboards.svg_picture import Band, Mark, Picture, Point, described, gaps_ms
from dashboards.times import zone_of

SVG = "{http://www.w3.org/2000/svg}"
T0 = 1_772_439_300_000.0


def rising(minutes: int = 20, step_s: int = 5) -> list[Point]:
    return [(T0 + s * 1000.0, 20.0 + s / 60.0, "good") for s in range(0, minutes * 60, step_s)]


def parsed(text: str) -> ET.Element:
    return ET.fromstring(text)


def of_class(root: ET.Element, name: str) -> list[ET.Element]:
    return [one for one in root.iter() if name in (one.get("class") or "").split()]


def test_a_curve_without_usable_readings_is_no_picture() -> None:
    assert curve(Picture("x", [])) == ""
    assert curve(Picture("x", [(T0, None, "bad"), (T0 + 1, 20.0, "suspect")])) == ""


def test_the_picture_is_well_formed_whatever_its_names_hold() -> None:
    picture = Picture(
        '<North> & "South"',
        rising(),
        marks=[Mark(T0 + 60_000, "add <b>")],
        bands=[Band("rest & wait", "met", 25.0, None, T0, T0 + 300_000)],
        key="curve-1",
    )

    root = parsed(curve(picture))

    title = root.find(f"{SVG}title")
    assert title is not None and title.text == '<North> & "South"'
    assert root.get("aria-labelledby") == "curve-1-title curve-1-words"
    assert root.get("role") == "img"


def test_a_gap_breaks_the_line_and_is_never_drawn_across() -> None:
    points = [p for p in rising() if not 300_000 < p[0] - T0 < 420_000]

    root = parsed(curve(Picture("x", points)))

    path = of_class(root, "line")[0].get("d") or ""
    assert path.count("M") == 2
    assert len(of_class(root, "gap")) == 1


def test_a_short_pause_between_readings_is_no_gap() -> None:
    points = [p for p in rising() if not 300_000 < p[0] - T0 < 325_000]

    assert gaps_ms([time for time, _, _ in points]) == []
    assert (of_class(parsed(curve(Picture("x", points))), "line")[0].get("d") or "").count("M") == 1


def test_suspect_and_bad_readings_are_drawn_beside_the_line_and_not_in_it() -> None:
    points = rising()
    points[10] = (points[10][0], 85.0, "suspect")
    points[11] = (points[11][0], 22.0, "suspect")
    points[20] = (points[20][0], None, "bad")

    root = parsed(curve(Picture("x", points)))

    assert len(of_class(root, "doubt")) == 3
    assert "85" not in described(Picture("x", points))


def test_a_hold_is_told_by_its_word_and_its_pattern_not_by_colour_alone() -> None:
    verdicts = ["met", "not met", "not shown"]
    bands = [Band("hold", verdict, 22.0, 25.0, T0, T0 + 300_000) for verdict in verdicts]

    root = parsed(curve(Picture("x", rising(), bands=bands, key="c")))

    fills = [one.get("fill") for one in of_class(root, "band")]
    assert fills == ["url(#c-kept)", "url(#c-broken)", "url(#c-open)"]
    said = [one.text for one in root.iter(f"{SVG}text")]
    assert [f"hold: {verdict}" in said for verdict in verdicts] == [True, True, True]


def test_the_target_lies_where_the_axis_says_in_either_unit() -> None:
    for units in (Units(), Units(temperature="degF")):
        root = parsed(curve(Picture("x", rising(), target=30.0, units=units)))
        y = float(re.findall(r"M[\d.]+ ([\d.]+)H", of_class(root, "target")[0].get("d") or "")[0])
        scale = {}
        for tick in of_class(root, "tick"):
            number = (tick.text or "").split(" ")[0]
            if tick.get("text-anchor") == "end":
                scale[float(number)] = float(tick.get("y") or 0) - 4.5
        (low, y_low), (high, y_high) = sorted(scale.items())[0], sorted(scale.items())[-1]
        wanted = 30.0 if units.temperature == "degC" else 86.0
        assert y == pytest.approx(y_low + (wanted - low) * (y_high - y_low) / (high - low), abs=0.3)


def test_labels_of_marks_that_come_close_together_go_into_rows() -> None:
    marks = [Mark(T0 + 300_000 + i * 2000, word) for i, word in enumerate(["addition", "cover"])]

    root = parsed(curve(Picture("x", rising(), marks=marks)))

    places = {
        one.text: float(one.get("y") or 0)
        for one in root.iter(f"{SVG}text")
        if one.text in ("addition", "cover")
    }
    assert places["cover"] > places["addition"]


def test_labels_have_a_halo_so_that_a_line_does_not_cross_the_words() -> None:
    root = parsed(curve(Picture("x", rising(), marks=[Mark(T0 + 60_000, "heat")])))

    label = next(one for one in root.iter(f"{SVG}text") if one.text == "heat")
    assert label.get("paint-order") == "stroke"


def test_the_description_tells_range_gap_target_verdicts_and_marks() -> None:
    points = [p for p in rising() if not 300_000 < p[0] - T0 < 420_000]
    words = described(
        Picture(
            "x",
            points,
            marks=[Mark(T0 + 120_000, "boil"), Mark(T0, "heat")],
            bands=[Band("rest", "not shown", 22.0, None, T0, T0 + 300_000)],
            target=30.0,
            zone=zone_of("Europe/Vienna"),
        )
    )

    assert words == (
        "From 09:15 to 09:34, lowest 20.0 °C, highest 39.9 °C. One gap, the longest 2 min. "
        "Target 30.0 °C. rest: not shown. Marks: heat 09:15, boil 09:17."
    )


def test_mass_curves_are_in_kilograms_or_pounds() -> None:
    points: list[Point] = [(t, v / 10.0, q) for t, v, q in rising() if v is not None]

    assert " kg</text>" in curve(Picture("x", points, quantity="mass"))
    assert " lb</text>" in curve(Picture("x", points, quantity="mass", units=Units(mass="oz")))


def test_time_ticks_stand_on_round_times_of_the_kitchens_clock() -> None:
    # Asia/Kolkata is 5 h 30 min ahead of UTC.
    zone = zone_of("Asia/Kolkata")

    ticks = time_ticks(T0, T0 + 6 * 3_600_000, zone)

    assert [(tick / 60_000 + 330) % 60 for tick in ticks] == [0.0] * len(ticks)
    assert 4 <= len(ticks) <= 9


def test_value_ticks_are_round_and_inside() -> None:
    assert value_ticks(-3.0, 12.0) == [0.0, 5.0, 10.0]
    assert value_ticks(79.2, 80.9) == [79.5, 80.0, 80.5]


def test_labels_beyond_the_last_row_still_get_one() -> None:
    rows = rows_for([(0, 100)] * 9, most=3)

    assert len(rows) == 9
    assert set(rows) == {0, 1, 2}


def test_the_flow_is_drawn_to_scale(balance: dict[str, Any]) -> None:
    root = parsed(flow_diagram(balance, Units()))

    heights = {}
    for path in [*of_class(root, "weighed"), *of_class(root, "suspect")]:
        found = re.match(r"M([\d.]+) ([\d.]+)H([\d.]+)V([\d.]+)H", path.get("d") or "")
        if found:
            heights["dry"] = float(found[4]) - float(found[2])
    thickest = max(
        float(bottom) - float(top)
        for path in of_class(root, "suspect")
        for top, bottom in re.findall(r"M[\d.]+ ([\d.]+)H.*?V([\d.]+)C", path.get("d") or "")
    )
    # Dry 0.600 kg against mash 4.4885 kg, as reconciled.
    assert heights["dry"] / thickest == pytest.approx(0.6 / 4.4885, rel=0.01)


def test_suspects_are_named_in_the_flow_by_a_word_and_a_pattern(balance: dict[str, Any]) -> None:
    root = parsed(flow_diagram(balance, Units()))

    said = [one.text for one in root.iter(f"{SVG}text")]
    assert "mash: suspect" in said and "pulp: suspect" in said
    assert {one.get("fill") for one in of_class(root, "suspect")} == {"url(#flow-suspect)"}


def test_streams_that_nobody_weighed_look_computed(balance: dict[str, Any]) -> None:
    flows = flows_of(balance)

    assert flows["soaked"].look == "computed"
    assert flows["milk"].look == "weighed"
    assert "soaked 1.320 kg, computed" in flow_diagram(balance, Units())


def test_a_step_that_is_left_out_is_not_drawn_and_its_weighed_stream_is(
    balance: dict[str, Any],
) -> None:
    stages = stages_of(flows_of(balance))

    names = [stage.name for stage in stages]
    assert names == ["soak", "grind", "strain", "set"]
    assert stages[2].main_out.name == "milk"


def test_a_balance_without_any_mass_has_no_picture() -> None:
    assert flow_diagram({"streams": []}, Units()) == ""
