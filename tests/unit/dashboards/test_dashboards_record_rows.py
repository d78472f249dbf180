"""The record as rows, as CSV and as text."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest

from dashboards.reader import reader_of
from dashboards.record_rows import COLUMNS, record_csv, record_rows
from dashboards.record_text import WIDTH, record_text

MASS = {"value": 0.7, "unit": "kg", "u": 0.001, "method": "weighed", "from": ["weighing a"]}


@pytest.fixture
def whole() -> dict[str, Any]:
    return {
        "made_at": "2026-03-02T16:00:00.000Z",
        "program": {"name": "curdwright", "version": "1"},
        "kitchen": {"name": "Fern Lane", "zone": "Europe/Vienna", "altitude_m": 180},
        "batch": {
            "id": "b1",
            "name": "Small, Monday",
            "state": "closed",
            "started_at": "2026-03-02T08:00:00.000Z",
            "ended_at": "2026-03-02T15:00:00.000Z",
            "ingredients": [{"name": "soybean", "lot": "sack 3"}],
            "events": [
                {"kind": "boil", "at": "2026-03-02T09:00:00.000Z", "note": "=1+1", "who": "ana"}
            ],
            "cautions": [{"about": "soybean", "text": "boil it", "source": "a paper"}],
            "chain": {"length": 3, "head": "abc"},
        },
        "instruments": [
            {
                "place": "milk",
                "series": "small/milk",
                "readings": {"count": 10},
                "correction": {"method": "ice point", "from": ["check c"]},
            }
        ],
        "weighings": [
            {"stream": "dry", "net_kg": 0.5, "u_kg": 0.001, "at": "2026-03-02T08:00:00.000Z",
             "u_from": "stated", "who": "", "note": None}
        ],
        "observations": [
            {"quantity": "taste", "attribute": "firmness", "value": 6, "unit": None, "u": None,
             "text": None, "at": "2026-03-02T15:00:00.000Z", "who": "ben"}
        ],
        "gone": [],
        "analysis": {
            "holds": [
                {"hold": "boil", "verdict": "met", "required": "at least 10 min above 95 degC",
                 "held_s": 640.0, "evidence": ["640 s in the band"], "from": ["series small/milk"]}
            ],
            "yield": {**MASS, "unit": "kg/kg", "notes": ["a note"]},
            "pressing": {"load": {"status": "not shown", "why": "nobody weighed it"}},
            "heat_treatment": {"references": [{"name": "r", "verdict": "met", "why": "long"}]},
            "balance": {
                "streams": [
                    {"stream": "pulp", "measured": MASS, "reconciled": MASS},
                    {"stream": "starch", "measured": {"status": "not applicable", "why": "none"},
                     "reconciled": MASS},
                ],
                "closure": MASS,
            },
        },
    }  # fmt: skip


def test_every_kind_of_record_has_its_row(whole: dict[str, Any]) -> None:
    found = {(row["section"], row["name"]) for row in record_rows(whole)}

    assert {
        ("batch", "kitchen"),
        ("instrument", "milk"),
        ("event", "boil"),
        ("weighing", "dry"),
        ("observation", "firmness"),
        ("hold", "boil"),
        ("yield", "Yield"),
        ("pressing", "Pressing: load"),
        ("heat_treatment", "r"),
        ("balance", "Balance: pulp: reconciled"),
        ("caution", "soybean"),
    } <= found
    assert not any("starch" in name for _, name in found)


def test_csv_keeps_numbers_whole_and_lets_no_text_become_a_formula(whole: dict[str, Any]) -> None:
    rows = list(csv.DictReader(io.StringIO(record_csv(whole))))

    assert tuple(rows[0]) == COLUMNS
    dry = next(row for row in rows if row["section"] == "weighing")
    assert (float(dry["value"]), dry["unit"], float(dry["u"])) == (0.5, "kg", 0.001)
    boil = next(row for row in rows if row["section"] == "event")
    assert boil["text"] == "'=1+1"
    assert boil["who"] == "ana"


def test_text_is_by_the_kitchen_s_clock_in_the_reader_s_units_and_fits_the_line(
    whole: dict[str, Any],
) -> None:
    data = {"kitchen": whole["kitchen"], "now": whole["made_at"]}
    text = record_text(whole, reader_of({**data, "units": {"mass": "oz"}}))

    assert "Mon 2 March 2026, 10:00:00" in text  # 09:00 UTC in Vienna
    assert "1 lb 1.637 oz" in text  # 0.5 kg over 0.45359237 kg: definition
    assert "met: at least 10 min above 95 °C" in text
    assert "not shown: nobody weighed it" in text
    assert max(len(line) for line in text.splitlines()) <= WIDTH
