from __future__ import annotations

import io
import json
import logging
import math
from collections.abc import Iterator

import pytest

from collector.log import log_to, say


@pytest.fixture
def stream() -> Iterator[io.StringIO]:
    root = logging.getLogger()
    handlers, level = root.handlers, root.level
    stream = io.StringIO()
    log_to(stream)
    yield stream
    root.handlers, root.level = handlers, level


def test_a_line_is_one_json_object_with_its_facts(stream: io.StringIO) -> None:
    say(logging.getLogger("collector.x"), "connected", port="/dev/a", lines=3)
    (line,) = stream.getvalue().splitlines()
    found = json.loads(line)
    assert found.pop("time").endswith("Z")
    assert found == {
        "level": "info",
        "from": "collector.x",
        "event": "connected",
        "port": "/dev/a",
        "lines": 3,
    }


def test_what_json_cannot_hold_is_written_as_text(stream: io.StringIO) -> None:
    circle: list[object] = []
    circle.append(circle)
    say(logging.getLogger("x"), "odd", value=math.nan, data=b"\x00", circle=circle)
    found = json.loads(stream.getvalue())
    assert found["value"] == "nan"
    assert found["data"] == "b'\\x00'"


def test_a_fact_can_not_overwrite_the_time_or_the_event(stream: io.StringIO) -> None:
    say(logging.getLogger("x"), "real", time="never", event="other")
    found = json.loads(stream.getvalue())
    assert found["event"] == "real"
    assert found["time"] != "never"


def test_an_exception_brings_its_trace_on_the_same_line(stream: io.StringIO) -> None:
    try:
        raise ValueError("two\nlines")
    except ValueError:
        logging.getLogger("x").exception("failed")
    (line,) = stream.getvalue().splitlines()
    assert "ValueError: two" in json.loads(line)["trace"]
