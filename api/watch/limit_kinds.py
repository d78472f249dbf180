# SPDX-License-Identifier: MIT
"""The kinds of limits: priority, dead-band, delays, and how long there is to respond. Pure.

The figures are starting points from common practice; a recipe's own limit may say others. None of
them decides a verdict.
"""

from __future__ import annotations

from dataclasses import dataclass

PRIORITIES = ("low", "medium", "high")

NO_KILL_STEP = (
    "A log is no kill step: the verdict on the hold is judged on the readings themselves, not on "
    "this alarm."
)
CAN_NOT_SEE_FOAM = (
    "It can't see foam: it tells by the temperature alone, and no forecast withdraws it. Foam, "
    "steam and hot milk scald."
)
UNSAFE_IF_LATE = (
    "Curd that cooled too slowly may be unsafe; local codes and your food-safety authority decide."
)
SCALD = "Steam and hot milk scald."


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of alarm.

    Attributes:
        priority: "low", "medium" or "high", unless the limit itself says another.
        unit: Of what is judged and of its limit.
        dead_band: [unit]
        on_delay_s: [s]
        off_delay_s: [s]
        respond_s: The time to respond within, after which it has less use [s].
        respond: What to do.
        caution: What to mind; may be empty.
        re_alarm_s: An acknowledged alarm that still holds calls again after this; None if it
            doesn't [s].
    """

    priority: str
    unit: str
    dead_band: float
    on_delay_s: float
    off_delay_s: float
    respond_s: float
    respond: str
    caution: str = ""
    re_alarm_s: float | None = None


KINDS: dict[str, Kind] = {
    "target": Kind("medium", "degC", 0.5, 0.0, 0.0, 60.0, "Do what the step asks for.", SCALD),
    "hold": Kind("medium", "degC", 0.5, 0.0, 0.0, 300.0, "Go on to the next step."),
    "button": Kind(
        "medium", "s", 0.0, 0.0, 0.0, 300.0, "Mark the step by touch if it has happened."
    ),
    "near target": Kind("low", "s", 30.0, 0.0, 30.0, 60.0, "Have the coagulant at hand."),
    "over target": Kind(
        "medium", "degC", 0.5, 5.0, 10.0, 60.0, "Take it off the heat, or pour now.", SCALD
    ),
    "near the edge": Kind(
        "low", "degC", 0.5, 10.0, 10.0, 120.0, "Bring it back toward the middle of its band."
    ),
    "left the band": Kind(
        "medium", "degC", 0.5, 10.0, 10.0, 60.0, "Bring it back into its band.", NO_KILL_STEP, 600.0
    ),
    "may foam over": Kind(
        "high", "degC", 2.0, 0.0, 30.0, 20.0, "Stir, and turn the heat down.", CAN_NOT_SEE_FOAM
    ),
    "heat lost": Kind(
        "medium", "K/min", 0.3, 30.0, 30.0, 180.0, "See whether the heat is still on.", SCALD
    ),
    "step limit": Kind("medium", "degC", 0.5, 5.0, 10.0, 60.0, "Do what the step asks for."),
    "chilling at risk": Kind(
        "medium", "s", 120.0, 60.0, 120.0, 600.0,
        "Cool it faster: fresh cold water, ice, smaller pieces.", UNSAFE_IF_LATE,
    ),
    "chilling missed": Kind(
        "high", "s", 0.0, 0.0, 0.0, 600.0, "Keep it apart, and decide what becomes of it.",
        UNSAFE_IF_LATE,
    ),
    "series silent": Kind(
        "medium", "s", 0.0, 0.0, 5.0, 60.0, "Look at the instrument, its cable and its battery.",
        "Until it speaks again no alarm that needs it can be raised.", 600.0,
    ),
    "series bad": Kind(
        "medium", "s", 0.0, 0.0, 5.0, 60.0, "Look at the instrument, its cable and its battery.",
        "Until it speaks well again no alarm that needs it can be raised.", 600.0,
    ),
    "scale unstable": Kind(
        "low", "s", 0.0, 0.0, 10.0, 300.0, "See that nothing touches the pot or the scale."
    ),
    "batch silent": Kind("low", "h", 0.0, 0.0, 0.0, 86_400.0, "Mark its end if it has ended."),
    "disk low": Kind(
        "medium", "MB", 50.0, 30.0, 60.0, 86_400.0,
        "Make room on the disk that holds the data folder.",
        "When it is full no reading can be kept.", 86_400.0,
    ),
    "forwarder behind": Kind(
        "low", "min", 1.0, 60.0, 60.0, 86_400.0,
        "Look at the network and at the central engine; nothing is lost meanwhile.",
    ),
}  # fmt: skip


def higher(one: str, other: str) -> str:
    """Return the higher of two priorities.

    Example:
        >>> higher("low", "high"), higher("medium", "low")
        ('high', 'medium')
    """
    return max(one, other, key=PRIORITIES.index)
