from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.client import topic_matches_sub

from collector.frames.topics import overlap

LEVELS = st.sampled_from(["a", "b", "", "$s"])
TOPICS = st.lists(LEVELS, min_size=1, max_size=4).map("/".join)
FILTERS = st.builds(
    lambda levels, rest: "/".join([*levels, *rest]),
    st.lists(st.one_of(LEVELS, st.just("+")), min_size=1, max_size=3),
    st.sampled_from([[], ["#"]]),
)


@pytest.mark.parametrize(
    ("one", "other", "expected"),
    [
        ("a", "a", True),
        ("a", "b", False),
        ("#", "a/b", True),
        ("a/#", "a", True),
        ("a/+", "a", False),
        ("a/+/c", "+/b/c", True),
        ("a/+/c", "+/b/d", False),
        ("#", "$SYS/broker", False),
        ("+/broker", "$SYS/broker", False),
        ("$SYS/#", "$SYS/broker", True),
        ("/a", "+/a", True),
        ("/a", "a", False),
    ],
)
def test_filters_overlap_where_a_topic_fits_both(one: str, other: str, expected: bool) -> None:
    assert overlap(one, other) is expected
    assert overlap(other, one) is expected


@given(FILTERS, FILTERS, TOPICS)
def test_no_topic_fits_two_filters_that_do_not_overlap(one: str, other: str, topic: str) -> None:
    if topic_matches_sub(one, topic) and topic_matches_sub(other, topic):
        assert overlap(one, other)
