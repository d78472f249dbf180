"""What Instruments and its checks show."""

from __future__ import annotations

from typing import Any

import pytest

from dashboards.check_rows import check_words, due_words, line_words
from dashboards.instrument_view import age_words, health_words, value_words
from dashboards.reader import Reader, reader_of
from dashboards.render import render

Json = dict[str, Any]
NOW = "2026-03-02T09:20:00.000Z"
HEALTH = {
    "readings": 3600, "usual_interval_s": 1.0, "gaps": 0, "longest_gap_s": 0.0,
    "suspect_fraction": 0.0, "bad_fraction": 0.0, "from_arrival_fraction": 0.0, "reasons": [],
}  # fmt: skip


def said(text: Any) -> str:
    return str(text).replace("\u00a0", " ").replace("\u202f", " ")


@pytest.fixture
def reader() -> Reader:
    return reader_of({"kitchen": {"zone": "UTC"}, "now": NOW})


@pytest.fixture
def one() -> Json:
    """A probe with an ice check, in the milk of an open batch."""
    return {
        "series": "north/milk", "name": "Long <probe>", "kind": "thermometer", "unit": "Cel",
        "first_at": NOW, "stale_after_s": 30.0, "display_step": None, "note": None, "u": None,
        "check_every_s": None, "checks": 1,
        "correction": {"scale": 1.0, "offset": -0.4, "u": 0.18, "unit": "degC",
                       "method": "ice point only", "time_constant_s": 7.0, "from": []},
        "corrected": 79.6,
        "last": {"time": "2026-03-02T09:19:58.000Z", "value": 80.0, "unit": "Cel",
                 "quality": "good", "reason": "", "age_s": 2.0, "stale": False},
        "health": HEALTH, "curve": None,
        "bound": [{"id": "x1", "batch": "b1", "name": "Monday", "pot": "North", "place": "milk",
                   "from": None}],
        "at_pots": [{"pot": "North", "as": "thermometer"}],
        "due": [{"kind": "ice", "state": "fresh", "last_at": NOW, "every_s": 2592000.0,
                 "due": False},
                {"kind": "dip", "state": "never", "last_at": None, "every_s": None, "due": True}],
        "in_force": [{"id": "c1", "kind": "ice", "at": NOW, "valid_from": NOW, "valid_to": None}],
        "history": [], "places": ("milk",),
    }  # fmt: skip


def page(*instruments: Json, **more: Any) -> str:
    return render(
        "instruments",
        {"kitchen": {"name": "Fern Lane", "zone": "UTC"}, "now": NOW, "position": "r1.e1",
         "instruments": list(instruments), "open_batches": [], "pots": [], "saved": "",
         "base_url": "http://127.0.0.1:8710", **more},
    )  # fmt: skip


def test_a_card_says_what_it_reads_where_it_is_and_what_is_due(one: Json) -> None:
    shown = said(page(one))

    assert "Long &lt;probe&gt;" in shown
    assert '<span class="number">79.6</span> <span class="unit">°C</span>' in shown
    assert "North, in the milk" in shown
    assert "North: reads its milk" in shown
    assert "Dip: never checked <b>due</b>" in shown
    assert "Ice point: checked today</span>" in shown
    assert "value = indication \N{MINUS SIGN} 0.40 °C" in shown
    assert "in force since 09:20" in shown


def test_a_silent_instrument_says_since_when(one: Json, reader: Reader) -> None:
    one["last"] |= {"time": "2026-03-02T08:05:00.000Z", "age_s": 4500.0, "stale": True}

    assert said(age_words(one["last"], reader)) == "Silent for 1 h 15 min, since 08:05"
    assert 'class="now stale"' in page(one)


def test_values_are_shown_in_the_units_of_the_reader(one: Json) -> None:
    american = reader_of(
        {"kitchen": {}, "now": NOW, "units": {"temperature": "degF", "mass": "oz"}}
    )
    scale = {**one, "corrected": 3.56, "correction": {**one["correction"], "unit": "kg"}}

    assert value_words(one, american) == ("175.3", "°F")
    assert [said(part) for part in value_words(scale, american)] == ["7 lb 13.6", "oz"]
    assert value_words({**one, "corrected": None, "last": None}, american)[0] == "\N{EN DASH}"


def test_health_is_told_in_words() -> None:
    good = [said(line) for line in health_words(HEALTH)]
    poor = [
        said(line)
        for line in health_words(
            {**HEALTH, "gaps": 2, "longest_gap_s": 95.0, "suspect_fraction": 0.031,
             "bad_fraction": 0.0004, "from_arrival_fraction": 1.0}
        )
    ]  # fmt: skip

    assert good == ["A reading every 1 s, 3600 in the last hour", "no gap", "none suspect",
                    "none bad", "timed by its own clock"]  # fmt: skip
    assert poor[1:] == ["2 gaps, the longest of 1 min 35 s", "3.1 % suspect", "0.040 % bad",
                        "timed by the time of arrival"]  # fmt: skip
    assert health_words({"readings": 0}) == ["Nothing in the last hour"]


def test_checks_are_told_number_by_number(reader: Reader) -> None:
    ice = {"kind": "ice", "indicated_degc": 0.4, "reference_degc": 0.0, "u_reference_k": 0.05}
    weight = {"kind": "weight", "indicated_kg": 1.98, "reference_kg": 2.0}
    old = {"kind": "ice", "state": "old", "last_at": "2026-01-01T09:20:00.000Z",
           "every_s": 2592000.0, "due": True}  # fmt: skip

    assert said(check_words(ice, reader)) == (
        "showed 0.40 °C for 0.00 °C: correction \N{MINUS SIGN}0.40 °C, u of the reference 0.05 °C"
    )
    assert said(check_words(weight, reader)) == "showed 1.980 kg for 2.000 kg: factor 1.01010"
    assert due_words(old, reader)["words"] == (
        "ice point: checked 60 days ago, longer ago than 30 days"
    )
    assert said(line_words({"scale": 1.0101, "offset": 0.002, "unit": "kg"}, reader)) == (
        "value = indication \N{MULTIPLICATION SIGN} 1.01010 + 2.0 g"
    )


def test_the_empty_page_teaches_three_ways(one: Json) -> None:
    shown = page()

    for words in ("No instrument has spoken yet", "[[serial]]", "[[mqtt]]",
                  "http://127.0.0.1:8710/v1/readings"):  # fmt: skip
        assert words in shown


def test_a_check_page_says_what_it_is_held_against(one: Json) -> None:
    boiling = {"value": 99.38, "unit": "degC", "u": 0.44, "method": "", "from": ["altitude 180 m"]}
    data = {"kitchen": {"name": "Fern Lane", "zone": "UTC"}, "now": NOW, "position": "r1.e1",
            "instrument": one, "kinds": ("ice", "boil", "dip"), "kind": "boil",
            "boiling": boiling, "recent": [[1, 99.0, 0]]}  # fmt: skip

    shown = said(render("check", data))

    assert "99.38 °C, u 0.44 °C (altitude 180 m)" in shown
    assert "10 hPa move the boiling point by about 0.3 °C" in shown
    assert 'aria-current="page">boiling point' in shown
