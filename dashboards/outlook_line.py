# SPDX-License-Identifier: MIT
"""The one line of a card that says what is about to happen, and when.

Pure presentation: imports only what is. `static/js/outlook.js` writes the same words.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from dashboards import formats, times
from dashboards.reader import Reader

# Without news for so long the line goes away [s]; the scripts hold it so too.
STALE_AFTER_S = 30.0
_HOUR_S = 3600.0
_SPACE = "\N{NO-BREAK SPACE}"

Json = Mapping[str, Any]


def outlook_line(outlook: Json | None, reader: Reader) -> dict[str, Any] | None:
    """Return the line of a card, None where nothing is to be said.

    Args:
        outlook: As the interface gives it, None if it could not be had.
        reader: Who reads it.
    """
    if not outlook:
        return None
    chosen = _chosen(outlook, reader)
    if chosen is None:
        return None
    lead, part = chosen
    if "at" not in part:
        return {"text": lead, "computed": outlook["at"], "quiet": True}
    line = {"lead": lead, "computed": outlook["at"], "quiet": False}
    line |= {key: part[key] for key in ("at", "earliest", "latest")}
    text = _text(line, reader)
    return {**line, "text": text} if text else None


def _chosen(outlook: Json, reader: Reader) -> tuple[str, Json] | None:
    """Return the words that begin the line, and the part that it tells."""
    target, boil = outlook["target"], outlook["boil"]
    hold, chill = outlook["hold"], outlook["chill"]
    if hold.get("leaves"):
        return f"{hold['hold']}: leaves its band", hold["leaves"]
    if "at" in target:
        return _degrees(target["value_degc"], reader), target
    if str(target.get("why", "")).startswith("on this heat"):
        return f"On this heat it won't reach {_degrees(target['value_degc'], reader)}", target
    if "at" in boil and target.get("approach") != "rising":
        return "Boil", boil
    if "at" in chill:
        return f"{_degrees(chill['to_degc'], reader)} in the core", chill
    return None


def _degrees(value_degc: float, reader: Reader) -> str:
    shown = formats.plain(formats.to_shown(value_degc, reader.units), 1)
    return f"{shown.removesuffix('.0')}{_SPACE}{formats.degree(reader.units)}"


def _text(line: Json, reader: Reader) -> str:
    """Return the whole line, "" where it is stale or over."""
    left_s, soonest_s, latest_s = (-reader.age_s(line[key]) for key in ("at", "earliest", "latest"))
    if reader.age_s(line["computed"]) > STALE_AFTER_S or latest_s < 0.0:
        return ""
    if left_s <= 5.0:
        return f"{line['lead']} about now"
    step_s = _step_s(left_s)
    low_s = max(math.floor(soonest_s / step_s) * step_s, 0.0)
    high_s = math.ceil(latest_s / step_s) * step_s
    between = f"between {span(low_s)} and {span(high_s)}"
    return f"{line['lead']} in {about(left_s, low_s, high_s)}, {between}"


def _step_s(left_s: float) -> float:
    """Return how finely times are told, so that the line stays calm [s]."""
    if left_s < 60.0:
        return 5.0
    return 10.0 if left_s < _HOUR_S else 300.0


def about(left_s: float, low_s: float, high_s: float) -> str:
    """Return a time that is left in round words, none of them outside its interval.

    Args:
        left_s: [s], above 0.
        low_s: Start of the interval [s].
        high_s: Its end [s].

    Example:
        >>> about(243.0, 220.0, 270.0).split(), about(155.0, 140.0, 170.0)
        (['4', 'min'], '2:40')
    """
    if left_s < 57.5:
        return f"{max(math.floor(left_s / 5.0 + 0.5) * 5, 5)}{_SPACE}s"
    if left_s >= _HOUR_S:
        return times.duration(math.floor(left_s / 300.0 + 0.5) * 300.0)
    minutes = max(math.floor(left_s / 60.0 + 0.5), 1)
    if low_s <= 60.0 * minutes <= high_s:
        return f"{minutes}{_SPACE}min"
    return span(math.floor(left_s / 10.0 + 0.5) * 10.0)


def span(seconds: float) -> str:
    """Return minutes and seconds as a stop watch shows them; from an hour on in words.

    Args:
        seconds: [s], at least 0.

    Example:
        >>> span(220.0), span(5.0), span(3900.0).split()
        ('3:40', '0:05', ['1', 'h', '05', 'min'])
    """
    if seconds >= _HOUR_S:
        return times.duration(seconds)
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"
