# SPDX-License-Identifier: MIT
"""The outlook on the Stove: it comes with the page, is renewed by the stream, and grows stale."""

from __future__ import annotations

import re
from typing import Any

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.e2e

# Five minutes of milk that warms by 7 K/min.
WARMING = [20.0 + 7.0 / 60.0 * second for second in range(300)]
_COMPUTED = "document.querySelector('[data-live=\"outlook\"]').dataset.computed"


@pytest.fixture
def warming(server: Any) -> str:
    """A batch whose milk is on its way to 80 degC."""
    server.say("north/milk", "Cel", *WARMING)
    made = server.post(
        "/v1/batches",
        {
            "name": "North", "pot": "North", "thermometer": "north/milk",
            "target": {"value": 80, "unit": "degC", "approach": "rising"},
        },
    )  # fmt: skip
    return str(made["id"])


def test_the_line_comes_with_the_page_follows_the_stream_and_goes_when_it_is_stale(
    server: Any, screen: Any, warming: str
) -> None:
    page = screen().page
    page.goto("/")
    line = page.locator('[data-live="outlook"]')

    words = re.compile(r"^80\s°C in \d(:\d\d|\smin), between \d:\d0 and \d:\d0$")
    expect(line).to_have_text(words)
    assert line.get_attribute("aria-live") is None
    before = page.evaluate(_COMPUTED)
    server.say("north/milk", "Cel", 55.0)
    page.wait_for_function(f"before => {_COMPUTED} !== before", arg=before)
    expect(line).to_have_text(words)

    page.evaluate(
        f"() => {{ {_COMPUTED} = new Date({_COMPUTED}).toISOString().replace('20', '19'); }}"
    )
    expect(line).to_have_text("")


def test_the_script_and_the_page_say_the_same(server: Any, screen: Any, warming: str) -> None:
    asked = server.get(f"/v1/batches/{warming}/outlook")
    page = screen().page
    page.goto("/")
    line = page.locator('[data-live="outlook"]')
    expect(line).to_contain_text("80")
    said = page.evaluate(
        """async (outlook) => {
            const { takeOutlook } = await import("/static/js/outlook.js");
            const { kitchenNow } = await import("/static/js/clock.js");
            const move = kitchenNow() - Date.parse(outlook.at);
            const moved = (time) => new Date(Date.parse(time) + move).toISOString();
            for (const key of ["at", "earliest", "latest"]) {
                outlook.target[key] = moved(outlook.target[key]);
            }
            outlook.at = moved(outlook.at);
            const line = document.createElement("p");
            takeOutlook(line, outlook);
            return line.textContent;
        }""",
        asked,
    )

    assert re.fullmatch(r"80\s°C in \d(:\d\d|\smin), between \d:\d0 and \d:\d0", said)


def test_the_stream_tells_the_outlook_of_an_open_batch(server: Any, warming: str) -> None:
    with server.http.stream("GET", f"/v1/live?batch={warming}") as stream:
        lines = stream.iter_lines()
        event = next(line for line in lines if line.startswith("event: outlook"))
        data = next(lines)

    assert event == "event: outlook"
    assert f'"batch":"{warming}"' in data
    assert '"target":{"at":' in data
