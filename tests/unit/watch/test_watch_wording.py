from __future__ import annotations

from typing import Any

import pytest

from api.process.hold_spec import HoldSpec
from api.records.batches import Batch, Kept
from api.watch.crossing import Crossing, Direction
from api.watch.targets import Watched, watched_targets
from api.watch.wording import Telling, hold_words, late_note, target_words

NOW_S = 1_772_439_300.0  # 2026-03-02T08:15:00Z
BOIL = {
    "kind": "boil",
    "hold": {
        "name": "boil",
        "below_boiling": {"value": 2, "unit": "K"},
        "least": {"value": 10, "unit": "min"},
    },
}
ADDITION = {"kind": "addition", "target": {"value": 80, "unit": "degC"}}
COVER = {"kind": "cover"}


def batch(*steps: dict[str, Any], marked: tuple[str, ...] = (), **body: Any) -> Batch:
    recipe = {"id": "r", "version": 1, "name": "Soybean, gypsum", "steps": list(steps)}
    made = {"name": "Monday", "pot": "North", **({"recipe": recipe} if steps else {}), **body}
    events = tuple(
        Kept(f"e{n}", n, "event", n, "", "", {"kind": kind}) for n, kind in enumerate(marked)
    )
    return Batch("b", "Monday", "running", 0, 0, made, events=events)


def only(found: Batch) -> Watched:
    watched = watched_targets(found)
    assert len(watched) == 1
    return watched[0]


def crossing(
    direction: Direction = Direction.FALLING, at_s: float = NOW_S, **more: Any
) -> Crossing:
    fields = {"before_s": at_s - 1.0, "shown_s": at_s, "value_degc": 80.0, **more}
    return Crossing(direction, at_s, **fields)


def said(watched: Watched, found: Crossing, *, ready: bool) -> str:
    return target_words(watched, found, Telling("North", NOW_S, "UTC"), ready=ready).text


def test_an_armed_target_says_what_to_do() -> None:
    words = target_words(
        only(batch(BOIL, ADDITION)), crossing(), Telling("North", NOW_S, "UTC"), ready=True
    )

    assert words.text == "North: 80 degC. Add the coagulant now."
    assert (words.title, words.priority) == ("North: add the coagulant", "high")


def test_without_a_recipe_it_says_only_what_is_seen() -> None:
    own = only(batch(target={"value": 82, "unit": "degC"}))

    assert own.act_after is None
    words = target_words(
        own,
        crossing(Direction.RISING, value_degc=82.1),
        Telling("North", NOW_S, "UTC"),
        ready=False,
    )
    assert words.text == "North: passing 82 degC, rising"
    assert "add" not in (words.title + words.text).lower()


def test_a_temperature_is_said_in_the_unit_it_was_written_in() -> None:
    own = only(batch(target={"value": 176, "unit": "degF"}))

    assert own.target.value_degc == pytest.approx(80.0)
    assert said(own, crossing(), ready=False) == "North: passing 176 degF, falling"


def test_what_lies_back_says_when_it_was_and_asks_for_nothing_now() -> None:
    armed = only(batch(BOIL, ADDITION))

    text = said(armed, crossing(at_s=NOW_S - 300.0, value_degc=77.5), ready=True)

    assert text == ("North: passed 80 degC, falling at 08:10 (5 min ago); 77.5 degC when last read")


def test_a_pot_far_past_its_target_is_not_told_to_be_at_it() -> None:
    armed = only(batch(BOIL, ADDITION))

    assert said(armed, crossing(value_degc=76.0), ready=True) == (
        "North: passed 80 degC, falling; 76.0 degC when last read"
    )


def test_a_target_that_was_passed_before_its_hold_is_told_so() -> None:
    armed = only(batch(BOIL, ADDITION))

    assert said(armed, crossing(value_degc=78.2, already=True), ready=True) == (
        "North: 78.2 degC, below 80 degC already when the hold before it is complete"
    )


def test_the_target_of_another_step_names_it() -> None:
    heat = {"kind": "heat", "target": {"value": 95, "unit": "degC", "approach": "rising"}}
    watched = only(batch(heat, COVER))

    assert watched.act_after is None
    assert said(watched, crossing(Direction.RISING, value_degc=95.0), ready=False) == (
        "North: 95 degC, rising: the target of heat"
    )


def test_a_hold_before_the_addition_makes_it_falling_and_arms_it() -> None:
    armed = only(batch(BOIL, ADDITION))

    assert (armed.target.approach, armed.target.after) == ("falling", ("boil",))
    assert armed.act_after == ("boil",)


def test_the_batch_has_the_last_word_on_the_temperature_of_the_addition() -> None:
    armed = only(batch(BOIL, ADDITION, target={"value": 84, "unit": "degC"}))

    assert (armed.said, armed.target.value_degc) == ("84 degC", 84.0)
    assert armed.act_after == ("boil",)


def test_a_boil_without_a_hold_asks_for_nothing_on_the_way_up() -> None:
    assert not only(batch({"kind": "boil"}, ADDITION)).rising_acts
    assert only(batch({"kind": "heat"}, ADDITION)).rising_acts


def test_a_self_set_batch_is_never_asked_for_a_coagulant() -> None:
    assert only(batch(BOIL, ADDITION, self_set=True)).act_after is None


def test_a_recipe_without_an_addition_asks_for_none() -> None:
    assert only(batch(BOIL, target={"value": 80, "unit": "degC"})).act_after is None


def test_steps_outside_the_pot_are_not_read_from_the_milk() -> None:
    chill = {"kind": "chill", "target": {"value": 5, "unit": "degC"}}

    assert watched_targets(batch(BOIL, chill)) == []


@pytest.mark.parametrize("mark", ["addition", "cover", "ladle", "end"])
def test_the_mark_of_the_addition_or_of_what_follows_silences_it(mark: str) -> None:
    for found in (batch(BOIL, ADDITION, COVER), batch(target={"value": 80, "unit": "degC"})):
        marked = batch(*(found.recipe or {}).get("steps", ()), marked=("heat", mark))
        assert not only(found).silenced(found)
        assert only(found).silenced(marked)


def test_the_mark_that_heating_has_begun_does_not_silence_its_target() -> None:
    heat = {"kind": "heat", "target": {"value": 95, "unit": "degC"}}
    boil = {"kind": "boil"}

    assert not only(batch(heat, boil)).silenced(batch(heat, boil, marked=("heat",)))
    assert only(batch(heat, boil)).silenced(batch(heat, boil, marked=("heat", "boil")))


def test_a_hold_says_its_name_and_its_time() -> None:
    spec = HoldSpec("covered hold", 780.0, low_degc=65.0)

    fresh = hold_words(spec, NOW_S - 1.0, Telling("North", NOW_S, "UTC")).text
    late = hold_words(spec, NOW_S - 600.0, Telling("North", NOW_S, "Asia/Tokyo")).text

    assert fresh == "North: hold complete: covered hold, 13 min"
    assert late == "North: hold complete at 17:05 (10 min ago): covered hold, 13 min"


def test_a_message_that_leaves_late_says_so() -> None:
    assert late_note(NOW_S - 30.0, NOW_S, "UTC") == ""
    assert late_note(NOW_S - 3 * 3600.0, NOW_S, "UTC") == (
        " (Sent late: this was at 05:15, 3 h ago.)"
    )
