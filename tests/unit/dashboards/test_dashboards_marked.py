"""How pages and records tell what the detector suggested, and who made a mark."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from dashboards.marked import marked_by
from dashboards.render import render

Json = dict[str, Any]


def proposal(number: int, state: str = "open", **more: Any) -> Json:
    return {
        "n": number,
        "kind": "boil",
        "at": f"2026-03-02T08:4{number}:10.000Z",
        "u_s": 6.2,
        "seen_at": f"2026-03-02T08:4{number}:40.000Z",
        "confidence": 0.956,
        "why": "A climb of 3.1 K/min ends at 99.2 degC; water boils here at 99.4 degC.",
        "state": state,
        "detector": "marks 1",
        **more,
    }


def with_proposals(data: Json, *proposals: Json) -> Json:
    copied = copy.deepcopy(data)
    (copied["batches"][0] if "batches" in copied else copied)["proposals"] = list(proposals)
    return copied


def test_a_card_asks_about_the_open_proposal_that_was_seen_last(stove: Json) -> None:
    page = render("stove", with_proposals(stove, proposal(1), proposal(2), proposal(3, "accepted")))

    assert page.count('class="proposal"') == 1
    assert 'data-accept="2"' in page and 'data-dismiss="2"' in page
    assert "<b>Boiling since <time" in page
    assert ">09:42:10</time>?</b>" in page  # Vienna's clock
    assert "96 % sure. A climb of 3.1 K/min ends at 99.2 °C" in page
    assert "1 more" in page


@pytest.mark.parametrize("state", ["accepted", "dismissed", "already marked"])
def test_a_card_asks_nothing_that_was_answered(stove: Json, state: str) -> None:
    assert 'class="proposal"' not in render("stove", with_proposals(stove, proposal(1, state)))


def test_a_card_leaves_the_target_to_its_alarm_and_the_expected_mark_where_it_is(
    stove: Json,
) -> None:
    target = {**proposal(2), "kind": "target"}
    assert 'class="proposal"' not in render("stove", with_proposals(stove, target))

    page = render("stove", with_proposals(stove, proposal(1), target))

    assert page.index('class="mark expected"') < page.index('class="proposal"')
    assert 'data-accept="1"' in page


def test_a_scale_offers_its_weighing_with_what_stood_there(stove: Json) -> None:
    offer = {
        "id": "o1", "stream": "milk", "series": "north/scale", "net_kg": 3.56,
        "at": "2026-03-02T08:44:10.000Z", "tare": "North",
    }  # fmt: skip
    told = copy.deepcopy(stove)
    told["batches"][0]["offers"] = [
        offer,
        {**offer, "id": "o2", "tare": {"value": 0.35, "unit": "kg"}},
    ]

    page = render("stove", told)

    assert "<b>3.560 kg</b> on the scale" in page and "<b>Milk?</b>" in page
    assert "without the pot North" in page
    assert "without 0.35 kg that stood there" in page
    assert 'data-take="o1"' in page and 'data-leave="o2"' in page


def test_a_record_lists_all_that_was_seen_with_its_state(record: Json) -> None:
    dismissed = proposal(2, "dismissed", dismissal={"id": "d", "why": "a lid was lifted"})
    undone = proposal(3, "dismissed", undone={"id": "e"})

    page = render("record", with_proposals(record, proposal(1), dismissed, undone))

    assert "What the detector saw" in page
    assert page.count("<tr data-proposal=") == 3
    assert "dismissed: a lid was lifted" in page
    assert "its mark was undone" in page
    assert page.count("data-dismiss=") == 1  # only what is open can be refused
    assert page.count("data-accept=") == 3


def test_a_mark_of_the_detectors_says_so_on_card_and_record(stove: Json, record: Json) -> None:
    for page, data in (("stove", stove), ("record", record)):
        told = copy.deepcopy(data)
        batch = (told["batches"][0] if page == "stove" else told)["batch"]
        batch["events"][1] |= {
            "by": "detector", "proposal": 1, "confidence": 0.956, "accepted": "by a person",
            "who": "Ama",
        }  # fmt: skip

        assert "marked by the detector (96 % sure), accepted by Ama" in render(page, told)
        assert "marked by the detector" not in render(page, data)


def test_nobody_is_named_where_nobody_was_asked() -> None:
    by_recipe = {"by": "detector", "accepted": "by itself", "who": ""}

    assert marked_by(by_recipe).endswith("accepted by itself, as the recipe says")
    assert marked_by({"by": "detector", "accepted": "by a person", "who": ""}).endswith(
        "accepted by a person"
    )
    assert marked_by({"by": "person"}) == marked_by({}) == ""
