# SPDX-License-Identifier: MIT
"""What a hold asks for, in words, and what it may not ask for."""

from __future__ import annotations

from dataclasses import replace

import pytest

from api.process.hold_spec import duration_text, required_text
from api.process.holds import Basis, HoldSpec
from collector.errors import ProcessError

STAND = HoldSpec("stand", 900.0, low_degc=65.0, start="cover", end="ladle")


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"low_degc": None}, "open on both sides"),
        ({"below_boiling_k": 2.0}, "given twice"),
        ({"high_degc": 60.0}, "runs from 65 down to 60"),
        ({"least_s": 0.0}, "asks for nothing"),
        ({"least_s": -5.0}, "asks for nothing"),
        ({"longest_s": 800.0}, "below its least"),
        ({"low_degc": float("nan")}, "not a finite number"),
    ],
)
def test_a_hold_that_makes_no_sense_is_refused(changes: dict[str, float], message: str) -> None:
    with pytest.raises(ProcessError, match=message):
        replace(STAND, **changes)  # type: ignore[arg-type]


def test_a_hold_is_put_in_words() -> None:
    boil = HoldSpec("boil", 600.0, below_boiling_k=2.0, high_degc=105.0, unbroken=False)
    simmer = HoldSpec(
        "simmer", 0.0, high_degc=80.0, longest_s=5400.0, start="heat", basis=Basis.QUALITY
    )

    assert required_text(boil) == (
        "2.0 K below the local boiling point to 105.0 degC for at least 10 min, added up, "
        "from the first entry into it (safety)"
    )
    assert required_text(simmer) == (
        "80.0 degC or below for at most 1 h 30 min, unbroken, from heat (quality)"
    )


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0.0, "0.0 s"), (9.96, "10 s"), (59.6, "1 min"), (3600.0, "1 h"), (86399.9, "24 h")],
)
def test_lengths_of_time_are_put_in_words(seconds: float, text: str) -> None:
    assert duration_text(seconds) == text
