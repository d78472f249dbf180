"""Where a number comes from, in words; and the sections of an analysis as a reader takes them."""

from __future__ import annotations

from typing import Any

from dashboards.figure_sections import sections_of, verdicts_of
from dashboards.origins import Origins
from dashboards.reader import reader_of


def test_records_are_called_by_what_they_say_and_grouped(record: dict[str, Any]) -> None:
    event, weighing = record["batch"]["events"][0], record["weighings"][0]
    said = Origins(record, reader_of(record)).grouped(
        {
            "from": [
                "north/milk",
                "lag of 9.0 s undone",
                f"event {event['id']}",
                f"weighing {weighing['id']}",
                f"weighing {weighing['id']}",
                "Choi and Okos 1986",
                "check 0a1b2c3d-4e5f (dip)",
            ]
        }
    )
    groups = dict(said)

    assert list(groups) == ["Series", "Marks", "Weighings", "Corrections", "Assumed and published"]
    assert groups["Series"] == ["north/milk"]
    assert groups["Marks"][0].startswith(f"{event['kind'].capitalize()} at ")
    assert len(groups["Weighings"]) == 1
    assert "mash" in groups["Weighings"][0]
    assert groups["Corrections"] == ["lag of 9.0 s undone", "check (dip), 0a1b2c3d"]


def test_a_record_that_no_longer_stands_is_called_by_its_kind(record: dict[str, Any]) -> None:
    origins = Origins(record, reader_of(record))

    assert origins.grouped({"from": ["event gone-0001"]}) == [("Marks", ["event gone-000"])]
    assert origins.grouped(None) == []


def test_what_is_missing_for_one_reason_stands_in_one_line() -> None:
    why = {"status": "not shown", "why": "no lot has a price"}
    other = {"status": "not shown", "why": "no nominal mass"}
    [cost] = sections_of({"cost": {"total": why, "per_100_g": why, "dry": other}})

    assert [(one["names"], one["why"]) for one in cost["missing"]] == [
        ("total, per 100 g", "no lot has a price"),
        ("dry", "no nominal mass"),
    ]


def test_a_rule_is_judged_once_and_its_legs_only_when_asked_for() -> None:
    rules = {
        "rules": [
            {"name": "two stages", "verdict": "met", "why": "fast",
             "legs": [{"name": "first", "verdict": "met", "why": "fast"}]}
        ]
    }  # fmt: skip

    assert [name for name, _, _ in verdicts_of(rules, legs=False)] == ["two stages"]
    assert [name for name, _, _ in verdicts_of(rules)] == ["two stages", "first"]
