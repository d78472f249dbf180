"""A recipe and the settings in words: in the reader's units, with who says what."""

from __future__ import annotations

from typing import Any

import pytest

from dashboards.reader import Reader, reader_of
from dashboards.recipe_view import recipe
from dashboards.recipe_words import hold_line, limit_line, step_lines, target_line
from dashboards.setup_view import said_by, size


def reader(**units: str) -> Reader:
    return reader_of(
        {
            "kitchen": {"name": "Fern Lane", "zone": "Europe/Vienna"},
            "now": "2026-03-02T09:20:00.000Z",
            "units": units,
        }
    )


def degc(value: float) -> dict[str, Any]:
    return {"value": value, "unit": "degC"}


def plain(text: str) -> str:
    return text.replace("\N{NO-BREAK SPACE}", " ")


def test_a_target_is_told_with_its_tolerance_and_its_side() -> None:
    target = {**degc(80), "tolerance": 2, "approach": "falling"}

    assert plain(target_line(target, reader())) == "80 °C ± 2 °C, coming from above"
    # 80 degC are 176 degF and 2 K are 3.6 degF (definition)
    fahrenheit = reader(temperature="degF")
    assert plain(target_line(target, fahrenheit)) == "176 °F ± 3.6 °F, coming from above"


@pytest.mark.parametrize(
    ("band", "words"),
    [
        ({"low": degc(65)}, "65 °C or warmer"),
        ({"high": degc(5)}, "5 °C or colder"),
        ({"low": degc(60), "high": degc(70)}, "60 °C to 70 °C"),
        (
            {"below_boiling": {"value": 2, "unit": "K"}, "high": degc(99)},
            "within 2 °C of the boiling point and under 99 °C",
        ),
    ],
)
def test_a_hold_is_told_with_its_band_its_clock_and_its_basis(
    band: dict[str, Any], words: str
) -> None:
    hold = {
        **band,
        "least": {"value": 13, "unit": "min"},
        "starts": "cover",
        "ends": "ladle",
        "unbroken": False,
        "basis": "safety",
    }

    said = plain(hold_line(hold, reader()))

    assert said == f"at least 13 min, {words}, from cover to ladle, may add up; for safety"


def test_a_limit_is_told_with_its_dead_band_in_the_readers_degrees() -> None:
    limit = {"side": "high", "value": 194, "unit": "degF", "dead_band": 1.8, "priority": "high"}

    assert plain(limit_line(limit, reader())) == "over 90 °C, dead-band 1 °C, priority high"


def test_amounts_of_a_step_are_told_by_the_dry_mass_or_as_masses() -> None:
    step = {
        "kind": "addition",
        "masses": [
            {"stream": "coagulant", "ratio": 0.03},
            {"stream": "coagulant_water", "mass": {"value": 8, "unit": "oz"}},
        ],
        "press_mass": {"value": 2, "unit": "kg"},
        "press_area": {"value": 108, "unit": "cm2"},
    }

    lines = [(name, plain(words)) for name, words in step_lines(step, reader())["lines"]]

    assert lines == [
        ("Press", "2 kg on 108 cm²"),
        ("Coagulant", "3 g for 100 g dry"),
        ("Coagulant water", "226.8 g"),  # 1 oz is 28.349523 g (definition)
    ]


@pytest.mark.parametrize(
    ("setting", "words"),
    [
        ({"key": "altitude_m", "value": 90.0, "by": "page", "file": 410.0,
          "at": "2026-03-02T08:15:00.000Z", "who": "Ana"},
         "Set here, 09:15 by Ana; the file or its default says 410 m."),
        ({"key": "name", "value": "A", "by": "file", "file": "A", "at": "", "who": ""},
         "As curdwright.toml says. What you save here wins over it."),
        ({"key": "zone", "value": "UTC", "by": "default", "file": "UTC", "at": "", "who": ""},
         "Not set: UTC is taken."),
        ({"key": "currency", "value": None, "by": "default", "file": None, "at": "", "who": ""},
         "Not set."),
    ],
)  # fmt: skip
def test_each_setting_says_who_says_so(setting: dict[str, Any], words: str) -> None:
    assert plain(said_by(setting, reader())["words"]) == words


def test_sizes_are_told_in_thousands_as_disks_are_sold() -> None:
    assert [size(n) for n in (0, 999, 1000, 3_400_000, 80_000_000_000)] == [
        "0 bytes", "999 bytes", "1.0 kB", "3.4 MB", "80.0 GB",
    ]  # fmt: skip


def test_the_first_pot_that_is_free_is_chosen_already() -> None:
    nothing = {"status": "not shown", "why": "no"}
    version = {
        "id": "r", "name": "Soy", "version": 1, "ingredients": [{"name": "soybean"}],
        "recorded_at": "2026-03-02T08:15:00.000Z", "changes": [],
    }  # fmt: skip
    plan: dict[str, Any] = {
        "dry": None, "scaled": None, "dose": None, "refused": [], "cautions": [], "starts": [],
        "yield": nothing, "block": nothing,
        "cost": {"for_dry": {"value": 1.0, "unit": "kg"}},
    }  # fmt: skip
    pour = {"applies": True, "target_degc": None, "milk_kg": None, "slurry_kg": None}
    pots = [{"name": "North", "holds": "today's"}, {"name": "Small", "holds": None}]

    shown = recipe(
        {"recipe": version, "versions": [version], "plan": plan, "asked": {}, "pots": pots,
         "instruments": [], "pour": pour},
        reader(),
    )  # fmt: skip

    assert [(pot["name"], pot["chosen"]) for pot in shown["pots"]] == [
        ("North", False),
        ("Small", True),
    ]
