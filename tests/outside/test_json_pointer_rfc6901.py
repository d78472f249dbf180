"""JSON pointers against the examples of RFC 6901 section 5 (from memory)."""

from __future__ import annotations

from decimal import Decimal

import pytest

from collector.errors import FrameError
from collector.frames.json_text import load_json
from collector.frames.pointer import find

# RFC 6901 section 5, the document and what each pointer evaluates to (from memory).
_DOCUMENT = rb"""{
  "foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5, "k\"l": 6,
  " ": 7, "m~n": 8
}"""


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("/foo", ["bar", "baz"]),
        ("/foo/0", "bar"),
        ("/", Decimal(0)),
        ("/a~1b", Decimal(1)),
        ("/c%d", Decimal(2)),
        ("/e^f", Decimal(3)),
        ("/g|h", Decimal(4)),
        ("/i\\j", Decimal(5)),
        ('/k"l', Decimal(6)),
        ("/ ", Decimal(7)),
        ("/m~0n", Decimal(8)),
    ],
)
def test_the_rfcs_pointers_find_the_rfcs_values(pointer: str, value: object) -> None:
    assert find(load_json(_DOCUMENT), pointer) == value


def test_the_empty_pointer_is_the_whole_document() -> None:
    document = load_json(_DOCUMENT)
    assert find(document, "") is document


# RFC 6901 section 4: no leading zeros, "-" is a member that does not exist; section 3: "~" must be
# followed by 0 or 1 (from memory).
@pytest.mark.parametrize(
    "pointer",
    ["/foo/00", "/foo/01", "/foo/-", "/foo/2", "/foo/-1", "/nope", "foo", "/m~n", "/m~2n",
     "/foo/0/x", "/foo/\u0660"],
)  # fmt: skip
def test_pointers_that_find_nothing_are_an_error(pointer: str) -> None:
    with pytest.raises(FrameError):
        find(load_json(_DOCUMENT), pointer)


def test_tilde_one_is_replaced_before_tilde_zero() -> None:
    # RFC 6901 section 4: "~01" is "~1", not "/" (from memory).
    assert find(load_json(b'{"~1": 5}'), "/~01") == Decimal(5)
