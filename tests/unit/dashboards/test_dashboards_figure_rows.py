"""Sections of an analysis as rows."""

from __future__ import annotations

from dashboards.figure_rows import notes_of, rows_of

MASS = {"value": 0.7, "unit": "kg", "u": 0.001, "method": "weighed", "from": ["weighing a"]}
GONE = {"status": "not shown", "why": "no press is marked"}


def test_a_section_that_is_one_figure_is_one_row() -> None:
    assert rows_of("yield", MASS) == [("Yield", MASS)]


def test_figures_below_a_figure_and_in_lists_become_rows_of_their_own() -> None:
    section = {
        **MASS,
        "soak_uptake": GONE,
        "blocks": [{"mass": MASS}, {"mass": MASS}],
        "ingredients": [{"name": "soybean", "cost": MASS}],
        "estimate": True,
        "interval": [1.0, 2.0],
    }

    assert [name for name, _ in rows_of("yield", section)] == [
        "Yield",
        "Yield: soak uptake",
        "Yield: blocks 1: mass",
        "Yield: blocks 2: mass",
        "Yield: soybean: cost",
    ]


def test_one_reason_for_all_is_said_once() -> None:
    assert rows_of("pressing", {"load": GONE, "drain": GONE}) == [("Pressing", GONE)]


def test_notes_are_gathered_once_each() -> None:
    section = {"notes": ["a", "b"], "pulp": {"notes": ["b", "c"]}, "name": "x"}

    assert notes_of(section) == ["a", "b", "c"]
