"""The pages as the server writes them, from invented data."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from html.parser import HTMLParser
from typing import Any

import pytest
from jinja2 import UndefinedError

from dashboards.render import render

Json = dict[str, Any]
Change = Callable[[Json, str, Any], Json]
_VOID = {"meta", "link", "input", "br", "img", "hr", "path", "circle", "rect"}


class Reader(HTMLParser):
    """Reads a page: words, ids, labels, buttons; and that every element is closed."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.words: list[str] = []
        self.ids: list[str] = []
        self.labelled: set[str] = set()
        self.fields: list[dict[str, str | None]] = []
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        self.elements.append((tag, found))
        if tag not in _VOID:
            self.open.append(tag)
        if found.get("id"):
            self.ids.append(str(found["id"]))
        if tag == "label" and found.get("for"):
            self.labelled.add(str(found["for"]))
        if tag in ("input", "select"):
            found["inside"] = "label" if "label" in self.open else ""
            self.fields.append(found)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        if tag in _VOID:
            return
        while self.open and self.open[-1] in ("li", "p", "option") and self.open[-1] != tag:
            self.open.pop()
        assert self.open and self.open[-1] == tag, f"</{tag}> closes {self.open[-3:]}"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        if data.strip() and self.open[-1:] != ["script"]:
            self.words.append(" ".join(data.split()))

    @property
    def text(self) -> str:
        return " ".join(self.words)


def facts_of(page: str) -> Json:
    start = page.index('id="page-facts">') + len('id="page-facts">')
    found: Json = json.loads(page[start : page.index("</script>", start)])
    return found


def test_every_page_is_well_formed_with_ids_that_occur_once(stove: Json, record: Json) -> None:
    line = {"id": "x", "name": "a", "state": "closed", "started_at": stove["now"],
            "pot": None, "recipe": None, "ingredients": [], "outcome": None}  # fmt: skip
    problem = {"title": "Not Found", "detail": "There is no batch.", "where": "", "do": ""}
    pages = [
        render("stove", stove),
        render("record", record),
        render("batches", {**stove, "batches": [line], "next": "x"}),
        render("pair", stove),
        render("problem", {**stove, "problem": problem}),
    ]
    for page in pages:
        read = Reader(page)
        assert not read.open
        assert len(read.ids) == len(set(read.ids))


def test_every_field_has_a_label(stove: Json, record: Json) -> None:
    for page in (render("stove", stove), render("record", record)):
        read = Reader(page)
        assert read.fields
        for field in read.fields:
            assert field["inside"] or field.get("id") in read.labelled, field


def test_a_page_asks_for_nothing_of_another_host(stove: Json, record: Json) -> None:
    for page in (render("stove", stove), render("record", record)):
        for tag, attributes in Reader(page).elements:
            for name in ("src", "href", "action"):
                address = attributes.get(name)
                assert address is None or address.startswith(("/", "#")), (tag, address)


def test_a_page_holds_no_script_or_style_of_its_own(stove: Json, record: Json) -> None:
    for page in (render("stove", stove), render("record", record)):
        for tag, attributes in Reader(page).elements:
            assert "style" not in attributes, tag
            assert not [name for name in attributes if name.startswith("on")], tag
            if tag == "script":
                assert attributes.get("src") or attributes["type"] == "application/json"


def test_what_people_typed_is_never_markup(stove: Json, record: Json, changed: Change) -> None:
    nasty = "</script><script>alert(1)</script>&\"'"
    for page, data in (("stove", stove), ("record", record)):
        written = render(page, changed(changed(data, "name", nasty), "pot", nasty))
        assert "<script>alert" not in written
        assert "&lt;script&gt;alert(1)" in written
        assert nasty in facts_of(written)["batches"][0]["name"]
        assert "gypsum &amp; water &lt;stirred&gt;" in written


def test_the_card_arrives_with_its_figure_its_distance_and_its_hold(stove: Json) -> None:
    text = Reader(render("stove", stove)).text

    assert "72.0 °C" in text  # 76 degC - 0.4 degC/min for 10 min, as invented
    assert "Target was 80.0 °C from above" in text
    assert "covered hold running 3 min left" in text
    assert "boil met kept for 15 min" in text
    assert "Now Addition one slow stream, three strokes" in text
    assert "Next Cover the lid goes on" in text


@pytest.mark.parametrize(
    ("value", "approach", "words"),
    [
        (75.8, "rising", "4.2 °C to go, up to 80.0 °C"),
        (83.5, "falling", "3.5 °C to go, down to 80.0 °C"),
        (81.2, "rising", "1.2 °C past the target, above 80.0 °C"),
        (78.0, "falling", "2.0 °C past the target, below 80.0 °C"),
        (78.0, None, "2.0 °C below the target of 80.0 °C"),
        (80.2, "falling", "At the target of 80.0 °C"),
        (80.6, "falling", "0.6 °C to go, down to 80.0 °C, within tolerance"),
    ],
)
def test_the_distance_to_the_target_is_told_from_the_side_it_is_reached(
    stove: Json, value: float, approach: str | None, words: str
) -> None:
    item = stove["batches"][0]
    item["batch"]["events"] = item["batch"]["events"][:2]
    item["targets"][0]["approach"] = approach
    item["curve"]["readings"][-1][1] = value

    assert words in Reader(render("stove", stove)).text


def test_a_stale_reading_is_said_to_be_stale(stove: Json) -> None:
    fresh = render("stove", stove)
    late = render("stove", {**stove, "now": "2026-03-02T09:21:10.000Z"})

    assert "stale:" not in Reader(fresh).text
    assert "stale: 1 min 15 s old" in Reader(late).text
    assert 'class="figure stale"' in late


def test_the_next_mark_is_offered_first_and_every_kind_can_be_reached(stove: Json) -> None:
    buttons = [
        attributes["data-mark"]
        for tag, attributes in Reader(render("stove", stove)).elements
        if tag == "button" and attributes.get("data-mark")
    ]

    assert buttons[0] == "cover"
    assert len(buttons) == len(set(buttons)) == 16  # all kinds but the note, which has a form


def test_a_card_without_a_probe_says_so(stove: Json, changed: Change) -> None:
    page = render("stove", changed(changed(stove, "bindings", []), "thermometer", None))

    assert "No thermometer is bound to this batch." in Reader(page).text


def test_a_probe_that_left_the_milk_is_no_longer_shown_as_the_milk(
    stove: Json, changed: Change
) -> None:
    ladled = [
        {"id": "b1", "series": "north/milk", "place": "milk", "from": None,
         "to": "2026-03-02T09:15:00Z"}
    ]  # fmt: skip
    page = render("stove", changed(stove, "bindings", ladled))

    assert "The thermometer is no longer bound to this batch." in Reader(page).text
    assert facts_of(page)["batches"][0]["live"] is False


def test_the_scripts_are_told_what_they_need_to_go_on_from(stove: Json) -> None:
    facts = facts_of(render("stove", stove))

    assert facts["position"] == "r40.e9"
    assert facts["zone"] == "Europe/Vienna"
    assert facts["batches"][0]["probe"] == "north/milk"
    assert facts["batches"][0]["scale"] == "north/scale"
    assert facts["batches"][0]["expected"] == "cover"
    assert facts["instruments"][0]["scale"] == 1.0


def test_a_batch_that_can_not_be_computed_still_shows_its_temperature(stove: Json) -> None:
    item = stove["batches"][0]
    item["holds"], item["targets"], item["bands"] = [], [], []
    item["trouble"] = "hold rest: Its band runs from 80 down to 70 degC. Mend the recipe's hold."

    text = Reader(render("stove", stove)).text

    assert (
        "Holds and targets can't be shown: hold rest: Its band runs from 80 down to 70 °C." in text
    )
    assert "72.0 °C" in text


def test_more_open_batches_than_fit_are_pointed_at(stove: Json) -> None:
    assert "All open batches" not in render("stove", stove)
    assert 'href="/batches?state=open"' in render("stove", {**stove, "more_open": True})


def test_an_empty_stove_teaches_what_to_do_first(stove: Json) -> None:
    silent = Reader(render("stove", {**stove, "batches": [], "instruments": []})).text
    heard = Reader(render("stove", {**stove, "batches": []})).text

    assert "No instrument has been heard yet. Name its port or topic in curdwright.toml" in silent
    assert "3 series have been heard: north/milk" in heard


def test_the_page_says_that_a_locked_phone_hears_only_a_route(stove: Json) -> None:
    with_route = Reader(render("stove", stove)).text
    without = Reader(render("stove", {**stove, "routes": []})).text

    for text in (with_route, without):
        assert "A locked phone hears nothing from this page." in text
    assert "not proven yet: send a test" in with_route
    assert "with this page closed, nobody is called" in without


def test_routes_are_offered_for_change_on_the_kitchens_own_machine_only(stove: Json) -> None:
    assert 'id="route-form"' in render("stove", stove)
    assert 'id="route-form"' not in render("stove", {**stove, "local": False})


def test_cautions_of_the_ingredient_stand_on_the_card_and_the_others_once(stove: Json) -> None:
    text = Reader(render("stove", stove)).text

    assert "Soybean: contains soybeans (EU)" in text
    assert text.count("Steam and whey scald.") == 1


def test_the_record_shows_each_figure_with_its_uncertainty_and_origin(record: Json) -> None:
    text = Reader(render("record", record)).text

    assert "Milk at the start of the pour 80.21 °C u 0.31 °C where from" in text
    assert "Lost to the room and the vessel not shown the milk was not weighed" in text
    assert (
        "The pour is placed by the dip in the curve: from 10:09:54 (u 1.3 s) to 10:10:12 (u 2 s)."
    ) in text
    assert "It was marked at 10:10:30." in text
    assert "Series north/milk" in text
    assert "Closure before reconciliation 0.9780 u 0.0030" in text
    assert "Suspect: mash or pulp; no balance tells which." in text
    assert "mash 110.0 g too high, or pulp 110.0 g too low" in text
    assert "The weighings contradict each other." in text


def test_the_record_shows_what_was_taken_back_and_its_chain(record: Json) -> None:
    text = Reader(render("record", record)).text

    assert "Taken back or replaced (1)" in text
    assert "withdrawn: undo" in text
    assert "Chain of 9 records, head " + "ab" * 32 in text


def test_a_hold_that_was_not_met_shows_why_without_a_touch(record: Json) -> None:
    page = render("record", record)

    assert "a gap of 90 s could hide 58.1 °C" in Reader(page).text
    assert '<details class="from evidence" open><summary>why</summary>' in page


def test_a_batch_without_readings_weighings_or_holds_still_has_a_record(record: Json) -> None:
    bare = copy.deepcopy(record)
    bare["curve"], bare["targets"], bare["bands"] = None, [], []
    bare["batch"]["events"], bare["batch"]["cautions"] = [], []
    bare["weighings"], bare["observations"], bare["gone"] = [], [], []
    why = {"status": "not shown", "why": "nothing was weighed"}
    bare["analysis"] = {"holds": [], "balance": why, "addition": why, "revision": {}}

    text = Reader(render("record", bare)).text

    assert "No usable reading." in text
    assert "Not shown: nothing was weighed" in text
    assert "Nothing has been marked yet." in text
    assert "No hold was asked for" in text


def test_pages_are_written_in_the_readers_units(stove: Json, record: Json) -> None:
    units = {"temperature": "degF", "mass": "oz"}
    stove["batches"][0]["curve"]["readings"][-1][1] = 72.0

    live = Reader(render("stove", {**stove, "units": units})).text
    kept = Reader(render("record", {**record, "units": units})).text

    assert "161.6 °F" in live
    assert "80.21" not in kept
    assert "176.38 °F u 0.56 °F" in kept  # 80.21 degC, u 0.31 K
    assert "9 lb 15.1 oz" in kept  # 4.51 kg = 159.085 oz


def test_a_closed_batch_tells_whether_its_revision_still_holds(record: Json) -> None:
    issued = {"issued": 1, "issued_at": record["now"], "current": True}
    current = copy.deepcopy(record)
    current["analysis"]["revision"] = issued
    changed = copy.deepcopy(record)
    changed["analysis"]["revision"] = {**issued, "current": False}

    assert "issued 10:20 from the same inputs" in Reader(render("record", current)).text
    assert "Its inputs have changed since" in Reader(render("record", changed)).text


def test_the_list_keeps_its_search_when_it_goes_on(stove: Json) -> None:
    line = {"id": "x", "name": "North", "state": "closed", "started_at": stove["now"],
            "pot": "North", "recipe": None, "ingredients": [{"name": "yellow pea"}],
            "outcome": "weak"}  # fmt: skip
    data = {**stove, "batches": [line], "query": {"q": "pea & co", "state": "closed"}, "next": "x"}

    page = render("batches", data)

    assert "/batches?q=pea+%26+co&amp;state=closed&amp;after=x" in page
    assert "· North · yellow pea · weak" in Reader(page).text


def test_a_list_without_a_match_and_an_empty_kitchen_differ(stove: Json) -> None:
    empty = {**stove, "batches": [], "next": None}

    assert "No batch has been made yet." in Reader(render("batches", empty)).text
    searched = {**empty, "query": {"q": "teff"}}
    assert "No batch matches." in Reader(render("batches", searched)).text


def test_a_problem_is_told_in_its_three_parts(stove: Json) -> None:
    problem = {"title": "Not Found", "detail": "There is no batch 'x'.", "where": "x",
               "do": "Look at the list."}  # fmt: skip

    text = Reader(render("problem", {**stove, "problem": problem})).text

    assert "There is no batch 'x'. Where: x What to do: Look at the list." in text


def test_a_name_that_a_template_does_not_have_is_an_error_and_not_a_blank(stove: Json) -> None:
    broken = copy.deepcopy(stove)
    del broken["pots"]
    broken["batches"][0]["holds"] = [{"hold": "x", "required": "y", "verdict": "met"}]
    render("stove", broken)  # what is optional may be left out
    broken["routes"] = [{"id": "n1"}]

    with pytest.raises(UndefinedError):
        render("stove", broken)
