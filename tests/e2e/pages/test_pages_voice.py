"""The Stove speaks, sounds and writes large; push is offered where a browser can have it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from playwright.sync_api import expect

if TYPE_CHECKING:
    from tests.e2e.conftest import Until

pytestmark = pytest.mark.e2e

# Keeps what the page has the browser say, and the audio nodes that it starts.
HOOK = """
  window.spoken = []; window.tones = 0; window.shaken = 0;
  window.speechSynthesis.speak = (said) => { window.spoken.push([said.text, said.lang]); };
  const start = OscillatorNode.prototype.start;
  OscillatorNode.prototype.start = function (at) {
    window.tones += 1;
    return start.call(this, at);
  };
  navigator.vibrate = () => { window.shaken += 1; return true; };
"""
SHOWN = """async () => {
  const all = await (await navigator.serviceWorker.ready).getNotifications();
  return all.length ? [all[0].title, all[0].body, all[0].tag, all[0].requireInteraction] : null;
}"""
RECIPE: dict[str, Any] = {
    "name": "Soybean, gypsum",
    "ingredients": [{"name": "soybean"}],
    "steps": [{"kind": "addition", "target": {"value": 82, "unit": "degC", "approach": "rising"}}],
}


def pot(server: Any, name: str) -> str:
    recipe = server.post("/v1/recipes", RECIPE)
    body = {
        "name": name,
        "pot": name,
        "recipe": recipe["id"],
        "thermometer": f"{name.lower()}/milk",
    }
    server.say(f"{name.lower()}/milk", "Cel", *[70.0] * 5, ago_s=40)
    return str(server.post("/v1/batches", body)["id"])


def opened(screen: Any, **more: Any) -> Any:
    page = screen(**more).page
    page.add_init_script(HOOK)
    page.goto("/")
    expect(page.locator("#connection")).to_have_attribute("data-state", "live")
    return page


def spoken(page: Any) -> list[str]:
    return [text for text, _ in page.evaluate("window.spoken")]


def large(page: Any) -> Any:
    """What is written large: the most urgent call."""
    return page.locator("#alarm-list > .alarm[data-state=unacknowledged]:first-child .text")


def choose(page: Any, **wanted: str) -> None:
    for name, value in wanted.items():
        field = page.locator(f"#voice-form [name={name}]")
        if name == "again_s":
            field.select_option(value)
        else:
            field.fill(value)


def test_it_is_silent_until_it_is_touched_and_says_so(server: Any, screen: Any) -> None:
    pot(server, "North")
    page = opened(screen)

    server.say("north/milk", "Cel", 80.0, 81.0, 82.2)

    expect(large(page)).to_contain_text("Add the coagulant now")
    expect(page.locator("#shift-words")).to_contain_text("Sound is off")
    expect(page.locator("#voice")).to_contain_text("Until “Start the shift” is pressed")
    assert spoken(page) == [] and page.evaluate("window.tones") == 0


def test_after_a_touch_it_says_the_pot_the_temperature_and_what_to_do(
    server: Any, screen: Any, until: Until
) -> None:
    pot(server, "North")
    page = opened(screen)
    page.locator("#start-shift").tap()
    expect(page.locator("#shift")).to_have_attribute("data-sound", "running")
    tones = page.evaluate("window.tones")

    server.say("north/milk", "Cel", 80.0, 81.0, 82.2)

    until(lambda: len(spoken(page)) == 2, "it speaks")
    assert spoken(page) == ["The shift has begun.", "North pot, eighty-two. Pour now."]
    assert page.evaluate("window.spoken[1][1]") == "en"
    assert page.evaluate("window.tones") > tones
    assert page.evaluate("window.shaken") >= 1
    expect(large(page)).to_have_text("North: 82 °C. Add the coagulant now.")
    expect(page.locator("body")).to_have_attribute("data-calling", "high")
    page.locator(".alarm").get_by_role("button", name="Heard").tap()
    expect(large(page)).to_have_count(0)
    expect(page.locator("body[data-calling]")).to_have_count(0)


def test_it_speaks_and_writes_in_the_reader_s_unit(server: Any, screen: Any, until: Until) -> None:
    pot(server, "North")
    page = opened(screen)
    page.locator("footer button[data-unit=temperature]").tap()
    expect(page.locator("#connection")).to_have_attribute("data-state", "live")
    page.locator("#start-shift").tap()
    expect(page.locator("#shift")).to_have_attribute("data-sound", "running")

    server.say("north/milk", "Cel", 80.0, 81.0, 82.2)

    until(lambda: len(spoken(page)) == 2, "it speaks")
    assert spoken(page)[1] == "North pot, one hundred and eighty. Pour now."
    expect(large(page)).to_have_text("North: 180 °F. Add the coagulant now.")


def test_a_call_is_said_once_and_again_only_if_that_is_chosen(
    server: Any, screen: Any, until: Until
) -> None:
    pot(server, "North")
    page = screen().page
    page.add_init_script(HOOK)
    page.clock.install()
    page.goto("/")
    page.locator("#start-shift").tap()
    expect(page.locator("#shift")).to_have_attribute("data-sound", "running")
    server.say("north/milk", "Cel", 80.0, 81.0, 82.2)
    until(lambda: len(spoken(page)) == 2, "it speaks")
    tones = page.evaluate("window.tones")

    page.clock.run_for(35_000)
    assert len(spoken(page)) == 2
    assert page.evaluate("window.tones") > tones  # it goes on sounding
    choose(page, again_s="30")
    page.clock.run_for(13_000)

    assert len(spoken(page)) == 3
    assert len(set(spoken(page)[1:])) == 1


def test_in_quiet_hours_it_shows_and_neither_sounds_nor_speaks(server: Any, screen: Any) -> None:
    pot(server, "North")
    page = opened(screen)
    page.locator("#start-shift").tap()
    expect(page.locator("#shift")).to_have_attribute("data-sound", "running")
    choose(page, quiet_from="00:00", quiet_to="23:59")
    expect(page.locator("#voice-words")).to_contain_text("These are quiet hours")
    tones = page.evaluate("window.tones")

    server.say("north/milk", "Cel", 80.0, 81.0, 82.2)

    expect(large(page)).to_contain_text("Add the coagulant now")
    assert spoken(page) == ["The shift has begun."]
    assert page.evaluate("window.tones") == tones
    page.reload()
    expect(page.locator("#quiet-to")).to_have_value("23:59")


HOURS = [
    (("22:00", "06:00"), "23:10", True),
    (("22:00", "06:00"), "05:59", True),
    (("22:00", "06:00"), "06:00", False),
    (("13:00", "14:30"), "13:00", True),
    (("13:00", "14:30"), "14:30", False),
    (("13:00", ""), "13:30", False),
    (("13:00", "13:00"), "13:00", False),
]
WORDS = [
    ("South: passing 80.5 degC, rising", "degC", "South: passing eighty point five, rising"),
    ("82 degC", "degF", "one hundred and eighty"),  # 179.6, as precise as it was written
    ("82.0 degC", "degF", "one hundred and seventy-nine point six"),
    ("180 degF", "degC", "eighty-two"),
    ("82\u00a0°C", "degC", "eighty-two"),
    ("-3 °C", "degC", "minus three"),
    ("3 K too warm", "degC", "three too warm"),
    ("hold complete: boil, 10 min", "degC", "hold complete: boil, ten minutes"),
    ("passed 82 degC at 10:05", "degC", "passed eighty-two at 10:05"),
    ("a batch silent for 12 h", "degC", "a batch silent for twelve hours"),
    ("1250 MB left", "degC", "1250 MB left"),
]


def test_quiet_hours_may_go_over_midnight(server: Any, screen: Any) -> None:
    page = opened(screen)
    found = []

    for (begin, end), time, _ in HOURS:
        choose(page, quiet_from=begin, quiet_to=end)
        found.append(
            page.evaluate(
                "async (time) => (await import('/static/js/voice.js')).quietNow(time)", time
            )
        )

    assert found == [quiet for _, _, quiet in HOURS]


def test_written_words_are_spoken_ones(server: Any, screen: Any) -> None:
    page = opened(screen)

    said = page.evaluate(
        "async (all) => { const { spokenWords } = await import('/static/js/spoken.js');"
        " return all.map(([text, unit]) => spokenWords(text, unit)); }",
        [[text, unit] for text, unit, _ in WORDS],
    )

    assert said == [words for _, _, words in WORDS]


def test_push_is_offered_in_a_secure_context_only_and_says_why_elsewhere(
    server: Any, screen: Any
) -> None:
    secure = opened(screen)
    expect(secure.locator("#push-button")).to_be_visible()
    elsewhere = screen().page
    elsewhere.add_init_script("Object.defineProperty(window, 'isSecureContext', {value: false})")
    elsewhere.goto("/")

    expect(elsewhere.locator("#push-words")).to_contain_text("plain HTTP")
    expect(elsewhere.locator("#push-words")).to_contain_text("Serve the kitchen over HTTPS")
    expect(elsewhere.locator("#push-button")).to_be_hidden()


def test_a_pushed_message_is_shown_by_the_service_worker(
    server: Any, screen: Any, until: Until
) -> None:
    device = screen(permissions=["notifications"])
    page = device.page
    page.goto("/")
    scope = page.evaluate(
        "async () => { await navigator.serviceWorker.register('/push_worker.js', {scope: '/'});"
        " return (await navigator.serviceWorker.ready).scope; }"
    )
    debug = device.context.new_cdp_session(page)
    ids: list[str] = []
    debug.on(
        "ServiceWorker.workerRegistrationUpdated",
        lambda said: ids.extend(one["registrationId"] for one in said["registrations"]),
    )
    debug.send("ServiceWorker.enable")
    until(lambda: page.evaluate("true") and ids, "the browser knows the worker")
    message = (
        '{"kind":"notice","id":"9f1c4d5e","kitchen":"Fern Lane","title":"North: 82 degC",'
        '"text":"North: 82 degC. Add the coagulant now.","priority":"high",'
        '"at":"2026-03-02T08:15:00.000Z"}'
    )

    debug.send(
        "ServiceWorker.deliverPushMessage",
        {"origin": server.url, "registrationId": ids[-1], "data": message},
    )

    until(lambda: page.evaluate(SHOWN), "the notice is shown")
    assert scope == f"{server.url}/"
    assert page.evaluate(SHOWN) == [
        "North: 82 °C", "North: 82 °C. Add the coagulant now.", "9f1c4d5e", True,
    ]  # fmt: skip
