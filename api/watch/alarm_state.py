# SPDX-License-Identifier: MIT
"""The states of one alarm and how it goes from one to the next. Pure: no clock, no database.

States and words are those of ISA-18.2 and IEC 62682 (from memory). Beneath them two things are
kept, whether the condition holds and whether somebody has acknowledged it; shelving, suppression
and being out of service only hide them, so that nothing that is hidden can be lost.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass, replace


class State(enum.StrEnum):
    """What an alarm is at one moment."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned unacknowledged"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed"
    OUT_OF_SERVICE = "out of service"


class Action(enum.StrEnum):
    """What can happen to an alarm."""

    RAISED = "raised"
    RETURNED = "returned"
    ACKNOWLEDGED = "acknowledged"
    RE_ALARMED = "alarmed again"
    SHELVED = "shelved"
    UNSHELVED = "unshelved"
    SHELF_ENDED = "shelf time over"
    SUPPRESSED = "suppressed"
    RELEASED = "no longer suppressed"
    TAKEN_OUT = "taken out of service"
    PUT_BACK = "returned to service"


# Those that may call somebody: an operator hears an alarm after each of them.
CALLS = frozenset({Action.RAISED, Action.RE_ALARMED, Action.SHELF_ENDED, Action.RELEASED})


@dataclass(frozen=True, slots=True)
class AlarmState:
    """One alarm.

    Attributes:
        active: The condition holds, after dead-band and delays.
        acknowledged: Nobody needs to acknowledge it: somebody has, or it was never raised.
        calls: How often somebody was to be called by it, counted over its whole life.
        raised_s: When its condition last began to hold [s since 1970 UTC].
        acknowledged_s: When it was last acknowledged [s since 1970 UTC].
        since_s: When it came into the state it is in [s since 1970 UTC].
        shelved_until_s: When it comes back by itself; None if it isn't shelved [s since 1970 UTC].
        suppressed: Why it is suppressed by design; "" if it isn't.
        out_of_service: Why it is out of service; "" if it isn't.
    """

    active: bool = False
    acknowledged: bool = True
    calls: int = 0
    raised_s: float | None = None
    acknowledged_s: float | None = None
    since_s: float | None = None
    shelved_until_s: float | None = None
    suppressed: str = ""
    out_of_service: str = ""

    @property
    def state(self) -> State:
        """The state, in the standards' word."""
        if self.out_of_service:
            return State.OUT_OF_SERVICE
        if self.suppressed:
            return State.SUPPRESSED
        if self.shelved_until_s is not None:
            return State.SHELVED
        return self.beneath

    @property
    def beneath(self) -> State:
        """The state that it would be in if nothing hid it."""
        if self.active:
            return State.ACKNOWLEDGED if self.acknowledged else State.UNACKNOWLEDGED
        return State.NORMAL if self.acknowledged else State.RETURNED

    @property
    def hidden(self) -> bool:
        """Whether it is shelved, suppressed or out of service."""
        return self.state is not self.beneath


def after(
    alarm: AlarmState, action: Action, at_s: float, *, why: str = "", until_s: float | None = None
) -> AlarmState:
    """Return an alarm after something has happened to it.

    An action that doesn't apply changes nothing: the same object is returned.

    Args:
        alarm: Before it.
        action: What happens.
        at_s: When [s since 1970 UTC].
        why: The reason for suppressing it or taking it out of service.
        until_s: When a shelved alarm comes back by itself [s since 1970 UTC].
    """
    changed = _changed(alarm, action, at_s, why, until_s)
    if changed is alarm or changed.state is alarm.state:
        return changed
    return replace(changed, since_s=at_s)


def due(alarm: AlarmState, now_s: float, re_alarm_s: float | None) -> Action | None:
    """Return what happens to an alarm because time has passed, None if nothing does.

    Args:
        alarm: As it is.
        now_s: The present [s since 1970 UTC].
        re_alarm_s: An acknowledged alarm whose condition still holds after so long is to be
            acknowledged anew; None if never [s].
    """
    if alarm.shelved_until_s is not None and now_s >= alarm.shelved_until_s:
        return Action.SHELF_ENDED
    if re_alarm_s is None or alarm.state is not State.ACKNOWLEDGED:
        return None
    begun_s = max(alarm.acknowledged_s or 0.0, alarm.since_s or 0.0)
    return Action.RE_ALARMED if now_s - begun_s >= re_alarm_s else None


def _changed(
    alarm: AlarmState, action: Action, at_s: float, why: str, until_s: float | None
) -> AlarmState:
    match action:
        case Action.RAISED if not alarm.active:
            return _calling(replace(alarm, active=True, raised_s=at_s))
        case Action.RETURNED if alarm.active:
            return replace(alarm, active=False)
        case Action.ACKNOWLEDGED if not alarm.acknowledged:
            return replace(alarm, acknowledged=True, acknowledged_s=at_s)
        case Action.RE_ALARMED if alarm.active and alarm.acknowledged:
            return _calling(alarm)
        case Action.SHELVED if until_s is not None and until_s != alarm.shelved_until_s:
            return replace(alarm, shelved_until_s=until_s)
        case Action.SUPPRESSED if why and why != alarm.suppressed:
            return replace(alarm, suppressed=why)
        case Action.TAKEN_OUT if why and why != alarm.out_of_service:
            return replace(alarm, out_of_service=why)
        case Action.UNSHELVED | Action.SHELF_ENDED if alarm.shelved_until_s is not None:
            return _shown_again(replace(alarm, shelved_until_s=None))
        case Action.RELEASED if alarm.suppressed:
            return _shown_again(replace(alarm, suppressed=""))
        case Action.PUT_BACK if alarm.out_of_service:
            return _shown_again(replace(alarm, out_of_service=""))
    return alarm


def _calling(alarm: AlarmState) -> AlarmState:
    return replace(alarm, acknowledged=False, calls=alarm.calls + 1)


def _shown_again(alarm: AlarmState) -> AlarmState:
    """What holds when it comes out of hiding is to be acknowledged, whatever was said before."""
    return _calling(alarm) if alarm.active else alarm
