"""Invented data in the form that the HTTP interface gives, for the pages' tests."""

from __future__ import annotations

import copy
import math
from collections.abc import Callable
from typing import Any

import pytest

Json = dict[str, Any]

START_MS = 1_772_439_300_000  # 2026-03-02T08:15:00Z
NORTH = "11111111-1111-4111-8111-111111111111"
NOW = "2026-03-02T09:20:00.000Z"


def at(minutes: float) -> str:
    """Return a time that many minutes after the start, RFC 3339."""
    total_s = 8 * 3600 + 15 * 60 + round(minutes * 60)
    return f"2026-03-02T{total_s // 3600:02d}:{total_s % 3600 // 60:02d}:{total_s % 60:02d}.000Z"


def figure(value: float, unit: str, u: float, *sources: str) -> Json:
    """Return a computed quantity as the interface gives it."""
    return {"value": value, "unit": unit, "u": u, "method": "weighed", "from": list(sources)}


def missing(why: str) -> Json:
    """Return a result that can't be shown."""
    return {"status": "not shown", "why": why}


def temperature_degc(minutes: float) -> float:
    """Return an invented pot: up to the boil, down to the pour, then slowly cooling [degC]."""
    if minutes < 25:
        return 21.0 + 77.0 * minutes / 25.0
    if minutes < 40:
        return 98.0
    if minutes < 55:
        return 98.0 - 18.0 * (minutes - 40.0) / 15.0
    return 76.0 - 0.4 * (minutes - 55.0)


def readings_json() -> Json:
    """Return a curve with one gap of 90 s, one suspect and one bad reading."""
    points: list[list[Any]] = []
    for step in range(0, 65 * 12):
        minutes = step / 12.0
        if 58.0 < minutes < 59.5:
            continue
        value = round(temperature_degc(minutes) + 0.05 * math.sin(step), 3)
        points.append([START_MS + step * 5000, value, "good"])
    points[100][2] = "suspect"
    points[200][1:] = [None, "bad"]
    return {"series": "north/milk", "unit": "degC", "readings": points, "shown": 762, "of": 762}


def event(number: int, kind: str, minutes: float, note: str | None = None) -> Json:
    """Return one mark."""
    return {
        "id": f"e{number}",
        "kind": kind,
        "at": at(minutes),
        "note": note,
        "by": "person",
        "recorded_at": at(minutes),
        "who": "",
    }


@pytest.fixture
def batch() -> Json:
    """Return one open batch in the pot North, just after the pour."""
    return {
        "id": NORTH,
        "name": "North, soybean, Monday",
        "state": "running",
        "started_at": at(0),
        "ended_at": None,
        "start_moved": False,
        "pot": "North",
        "thermometer": "north/milk",
        "scale": "north/scale",
        "target": {"value": 80.0, "unit": "degC", "approach": "falling"},
        "recipe": {
            "id": "r1",
            "version": 3,
            "name": "Soybean, gypsum",
            "steps": [
                {"kind": "heat"},
                {"kind": "boil", "note": "stir the foam down"},
                {"kind": "addition", "note": "one slow stream, three strokes"},
                {"kind": "cover"},
                {"kind": "ladle"},
                {"kind": "press"},
            ],
        },
        "ingredients": [{"name": "soybean", "share": 1.0}],
        "self_set": None,
        "note": None,
        "bindings": [
            {"id": "b1", "series": "north/milk", "place": "milk", "from": None, "to": None},
            {"id": "b2", "series": "north/scale", "place": "under_pot", "from": None, "to": None},
        ],
        "events": [
            event(1, "heat", 0),
            event(2, "boil", 25),
            event(3, "addition", 55, "gypsum & water <stirred>"),
        ],
        "cautions": [
            {
                "kind": "allergen",
                "about": "soybean",
                "text": "contains soybeans (EU)",
                "source": "Regulation (EU) 1169/2011, annex II",
                "status": "seen",
            },
            {
                "kind": "process",
                "about": "scald and boil-over",
                "text": "Steam and whey scald.",
                "source": "common practice",
                "status": "common practice",
            },
        ],
        "chain": {"length": 9, "head": "ab" * 32},
    }


@pytest.fixture
def holds() -> list[Json]:
    """Return a hold that was met, one that is running, and one with a gap in it."""
    return [
        {
            "hold": "boil", "required": "at least 10 min above 96 degC", "basis": "safety",
            "verdict": "met", "least_s": 600.0, "started_at": at(25), "entered_at": at(25),
            "ended_at": at(40), "held_s": 900.0, "gap_s": 0.0,
            "margin": {"temperature": figure(1.9, "K", 0.3), "time": figure(300.0, "s", 2.0)},
            "evidence": ["15 min 00 s unbroken"], "from": ["series north/milk"],
        },
        {
            "hold": "covered hold", "required": "at least 13 min at 65 to 78 degC",
            "basis": "quality", "verdict": "running", "least_s": 780.0, "started_at": at(55),
            "entered_at": at(55), "ended_at": None, "held_s": 600.0, "gap_s": 0.0,
            "margin": None, "evidence": [], "from": [],
        },
        {
            "hold": "rest", "required": "at least 5 min above 60 degC", "basis": "safety",
            "verdict": "not shown", "least_s": 300.0, "started_at": at(57), "entered_at": at(57),
            "ended_at": at(63), "held_s": 270.0, "gap_s": 90.0, "margin": None,
            "evidence": ["a gap of 90 s could hide 58.1 degC"], "from": [],
        },
    ]  # fmt: skip


@pytest.fixture
def balance() -> Json:
    """Return a balance whose pulp was typed 100 g too low."""
    nobody = missing("Nobody weighed it.")
    none_here = {"status": "not applicable", "why": "The process has no starch."}
    rows: list[tuple[str, Json, Json]] = [
        ("dry", figure(0.6, "kg", 0.002), figure(0.6, "kg", 0.002)),
        ("soak_water", figure(1.8, "kg", 0.01), figure(1.8, "kg", 0.01)),
        ("soaked", nobody, figure(1.32, "kg", 0.01)),
        ("drained", figure(1.08, "kg", 0.005), figure(1.08, "kg", 0.005)),
        ("water", figure(3.19, "kg", 0.01), figure(3.19, "kg", 0.01)),
        ("mash", figure(4.51, "kg", 0.005), figure(4.4885, "kg", 0.0047)),
        ("pulp", figure(0.84, "kg", 0.01), figure(0.9258, "kg", 0.0082)),
        ("raw_milk", nobody, figure(3.5627, "kg", 0.0082)),
        ("starch", none_here, figure(0.0, "kg", 0.0)),
        ("milk", figure(3.56, "kg", 0.01), figure(3.5627, "kg", 0.0082)),
        ("coagulant", figure(0.012, "kg", 0.0005), figure(0.012, "kg", 0.0005)),
        ("coagulant_water", figure(0.243, "kg", 0.001), figure(0.243, "kg", 0.001)),
        ("curd", figure(1.01, "kg", 0.002), figure(1.01, "kg", 0.002)),
        ("whey", figure(2.795, "kg", 0.02), figure(2.8, "kg", 0.01)),
        ("evaporation", nobody, figure(0.0077, "kg", 0.03)),
        ("block", missing("Nobody weighed block."), nobody),
        ("press_whey", missing("Nobody weighed press whey."), nobody),
    ]
    return {
        "streams": [
            {"stream": name, "measured": measured, "reconciled": best, "checked": True}
            for name, measured, best in rows
        ],
        "closure": figure(0.978, "-", 0.003, "weighing w1"),
        "unaccounted": figure(0.11, "kg", 0.015, "weighing w1"),
        "test": {
            "statistic": 61.3, "degrees": 2, "limit": 5.991, "passed": False,
            "suspects": [["mash", "pulp"]],
            "suspect_sets": [
                {"streams": ["mash", "pulp"], "too_high_by_kg": [0.11, -0.11], "also": [],
                 "z": 7.82, "statistic_without": 0.2}
            ],
            "summary": "The weighings don't fit each other.",
        },
        "notes": ["Evaporation was not measured: none is assumed, with u = 1 % of the milk."],
    }  # fmt: skip


@pytest.fixture
def item(batch: Json, holds: list[Json]) -> Json:
    """Return a batch as the Stove is given it."""
    return {
        "batch": batch,
        "curve": readings_json(),
        "targets": [
            {"key": "step 2", "kind": "addition", "value_degc": 80.0, "approach": "falling",
             "tolerance_k": 1.0, "after": ["boil"]}
        ],
        "bands": [
            {"hold": "boil", "verdict": "met", "low": 96.0, "high": None, "from": at(25),
             "to": at(40)},
            {"hold": "covered hold", "verdict": "running", "low": 65.0, "high": 78.0,
             "from": at(55), "to": at(65)},
        ],
        "holds": holds,
    }  # fmt: skip


def instrument(series: str, kind: str, unit: str, value: float) -> Json:
    """Return one instrument, which spoke 2 s ago."""
    return {
        "series": series, "name": series, "kind": kind, "unit": unit, "first_at": at(0),
        "stale_after_s": 30.0, "checks": 0,
        "correction": {"method": "as indicated; the probe was never checked", "scale": 1.0,
                       "offset": 0.0, "u": 0.29, "unit": "degC", "time_constant_s": None,
                       "from": []},
        "last": {"time": at(64.97), "value": value, "unit": unit, "quality": "good", "reason": "",
                 "age_s": 2.0, "stale": False},
    }  # fmt: skip


@pytest.fixture
def stove(item: Json) -> Json:
    """Return the whole data of the Stove, with one open batch."""
    return {
        "kitchen": {"name": "Fern Lane", "zone": "Europe/Vienna"},
        "now": NOW,
        "position": "r40.e9",
        "local": True,
        "batches": [item],
        "instruments": [
            instrument("north/milk", "thermometer", "Cel", 72.0),
            instrument("north/scale", "scale", "kg", 3.812),
            instrument("small/milk", "thermometer", "Cel", 21.4),
        ],
        "pots": [{"name": "North"}, {"name": "South"}, {"name": "Small"}],
        "recipes": [{"id": "r1", "version": 3, "name": "Soybean, gypsum"}],
        "ingredients": [{"name": "soybean"}, {"name": "yellow pea"}, {"name": "sesame"}],
        "routes": [
            {"id": "n1", "name": "Phone", "address": "json://192.168.1.20", "proven_at": None,
             "waiting": 0, "alive_every_min": 5, "tell_stop": True, "alive_at": None,
             "alive_answer": "", "gone": ""}
        ],
        "alarms": [],
        "standing": [
            {"kind": "process", "about": "scald and boil-over", "text": "Steam and whey scald."}
        ],
    }  # fmt: skip


@pytest.fixture
def record(item: Json, holds: list[Json], balance: Json, stove: Json) -> Json:
    """Return the whole data of the Record."""
    analysis = {
        "holds": holds,
        "addition": {
            "before": figure(80.21, "degC", 0.31, "series north/milk"),
            "after": figure(76.4, "degC", 0.33, "series north/milk"),
            "indicated": figure(79.8, "degC", 0.35),
            "predicted_after": figure(76.1, "degC", 0.4, "weighing w3"),
            "loss": missing("the milk was not weighed"),
            "pour_start": {"at": at(54.9), "u": 1.31, "unit": "s"},
            "pour_end": {"at": at(55.2), "u": 2.04, "unit": "s"},
            "marked_at": at(55.5),
            "placed_by": "dip",
            "why": "",
        },
        "balance": balance,
        "yield": figure(1.68, "kg/kg", 0.004),
        "cost": missing("the cost is not computed by this version"),
        "revision": {"issued": None, "current": False},
    }
    return {
        **{key: stove[key] for key in ("kitchen", "now", "position", "local", "instruments")},
        "pots": [{"name": "North", "empty_kg": 2.31}, {"name": "South"}],
        **copy.deepcopy(item),
        "analysis": analysis,
        "weighings": [
            {"id": "w1", "stream": "mash", "at": at(-20), "mass": {"value": 4510, "unit": "g"},
             "net_kg": 4.51, "u_kg": 0.005, "u_from": "assumed", "as": "part", "basis": "net",
             "tare": None, "from_scale": None, "note": None}
        ],
        "observations": [
            {"id": "o1", "at": at(60), "quantity": "outcome", "value": None, "unit": None,
             "u": None, "text": "set", "of": None}
        ],
        "gone": [
            {"id": "e0", "kind": "addition", "at": at(54), "recorded_at": at(54), "who": "",
             "gone": "withdrawn: undo"}
        ],
    }  # fmt: skip


@pytest.fixture
def changed() -> Callable[[Json, str, Any], Json]:
    """Return a copy of some data with one key of its first batch changed."""

    def change(data: Json, key: str, value: Any) -> Json:
        copied = copy.deepcopy(data)
        whole = copied["batches"][0]["batch"] if "batches" in copied else copied["batch"]
        whole[key] = value
        return copied

    return change
