# SPDX-License-Identifier: MIT
"""A recipe's steps in words: targets, holds, limits and amounts, in the reader's units.

Pure presentation: imports only what is. Values are shown as they were said where the reader's
units can't say them.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dashboards import formats, times
from dashboards.reader import Reader
from dashboards.steps import HINTS, label

Json = Mapping[str, Any]

_KG_IN = {"kg": 1.0, "g": 1e-3, "mg": 1e-6, "lb": 0.45359237, "oz": 0.45359237 / 16.0}
_S_IN = {"s": 1.0, "min": 60.0, "h": 3600.0, "ms": 1e-3}
_CELSIUS = ("degC", "Cel", "°C", "C", "celsius")
_FAHRENHEIT = ("degF", "°F", "F", "fahrenheit")
_APPROACH = {"rising": ", coming from below", "falling": ", coming from above"}


def step_lines(step: Json, reader: Reader) -> dict[str, Any]:
    """Return a step as its card says it.

    Args:
        step: As the recipe keeps it.
        reader: Whose units.
    """
    lines: list[tuple[str, str]] = []
    if step.get("target"):
        lines.append(("Target", target_line(step["target"], reader)))
    if step.get("hold"):
        lines.append(("Hold", hold_line(step["hold"], reader)))
    if step.get("limit"):
        lines.append(("Alarm", limit_line(step["limit"], reader)))
    if step.get("press_mass"):
        area = step.get("press_area")
        on = f" on {area['value']:g} {area['unit'].replace('2', '²')}" if area else ""
        lines.append(("Press", measure(step["press_mass"], reader) + on))
    amounts = list(step.get("masses") or [])
    if step.get("mass_ratio") and step.get("stream"):
        amounts.append({"stream": step["stream"], "ratio": step["mass_ratio"]})
    lines += [(stream_name(one["stream"]), amount_line(one, reader)) for one in amounts]
    return {
        "label": label(step["kind"]),
        "hint": HINTS.get(step["kind"], ""),
        "note": step.get("note") or "",
        "lines": lines,
    }


def target_line(target: Json, reader: Reader) -> str:
    """Return a target: temperature, tolerance, and from which side."""
    text = temperature(target["value"], target["unit"], reader)
    if target.get("tolerance"):
        text += f" ± {difference(target['tolerance'], target['unit'], reader)}"
    return text + _APPROACH.get(target.get("approach") or "", "")


def hold_line(hold: Json, reader: Reader) -> str:
    """Return a hold: how long, in which band, between which marks, and what it is for."""
    parts = [f"at least {duration(hold['least'])}"]
    if hold.get("longest"):
        parts.append(f"at most {duration(hold['longest'])}")
    parts.append(band(hold, reader))
    starts = hold.get("starts") or "band"
    span = "from the moment it is in the band" if starts == "band" else f"from {starts}"
    if hold.get("ends"):
        span += f" to {hold['ends']}"
    parts.append(span)
    if hold.get("unbroken", True) is False:
        parts.append("may add up")
    return ", ".join(parts) + f"; for {hold.get('basis') or 'quality'}"


def band(hold: Json, reader: Reader) -> str:
    """Return the band of a hold."""
    low, high, below = hold.get("low"), hold.get("high"), hold.get("below_boiling")
    if below:
        by = difference(below["value"], below["unit"], reader)
        text = f"within {by} of the boiling point"
        return text + (f" and under {_degrees(high, reader)}" if high else "")
    if low and high:
        return f"{_degrees(low, reader)} to {_degrees(high, reader)}"
    if low:
        return f"{_degrees(low, reader)} or warmer"
    return f"{_degrees(high, reader)} or colder" if high else "no band"


def limit_line(limit: Json, reader: Reader) -> str:
    """Return a limit that raises an alarm."""
    side = "over" if limit["side"] == "high" else "under"
    text = f"{side} {temperature(limit['value'], limit['unit'], reader)}"
    if limit.get("dead_band"):
        text += f", dead-band {difference(limit['dead_band'], limit['unit'], reader)}"
    return f"{text}, priority {limit.get('priority') or 'as usual'}"


def amount_line(amount: Json, reader: Reader) -> str:
    """Return how much of a stream: by the dry mass, or as a mass."""
    if amount.get("ratio") is not None:
        if amount["stream"] == "coagulant":
            return f"{amount['ratio'] * 100:.3g} g for 100 g dry"
        return f"{amount['ratio']:.4g} kg for each kg dry"
    return measure(amount["mass"], reader)


def stream_name(stream: str) -> str:
    """Return the name of a stream as a label.

    Example:
        >>> stream_name("coagulant_water")
        'Coagulant water'
    """
    return stream.replace("_", " ").capitalize()


def temperature(value: float, unit: str, reader: Reader) -> str:
    """Return a temperature as it was said, in the reader's unit."""
    degc = to_degc(value, unit)
    if degc is None:
        return f"{value:g} {unit}"
    shown = formats.to_shown(degc, reader.units)
    return f"{round(shown, 1):g} {formats.degree(reader.units)}".replace("-", formats.MINUS)


def to_degc(value: float, unit: str) -> float | None:
    """Return a temperature in degC, None for a unit that isn't known here."""
    if unit in _CELSIUS:
        return value
    if unit in _FAHRENHEIT:
        return (value - 32.0) / 1.8
    return value - 273.15 if unit == "K" else None


def difference(value: float, unit: str, reader: Reader) -> str:
    """Return a temperature difference as it was said, in the reader's unit."""
    kelvin = value / 1.8 if unit in _FAHRENHEIT else value
    shown = kelvin * 1.8 if reader.units.temperature == "degF" else kelvin
    return f"{round(shown, 1):g} {formats.degree(reader.units)}"


def measure(said: Json, reader: Reader) -> str:
    """Return a mass as it was said, in the reader's unit; another measure as it is."""
    factor = _KG_IN.get(said["unit"])
    if factor is None:
        return f"{said['value']:g} {said['unit']}"
    kg = said["value"] * factor
    if reader.units.mass == "oz":
        return formats.mass(kg, reader.units)
    return f"{kg:.4g} kg" if kg >= 1.0 else f"{kg * 1000:.4g} g"


def duration(said: Json) -> str:
    """Return how long something lasts."""
    factor = _S_IN.get(said["unit"])
    if factor is None:
        return f"{said['value']:g} {said['unit']}"
    return times.duration(said["value"] * factor)


def _degrees(said: Json, reader: Reader) -> str:
    return temperature(said["value"], said["unit"], reader)
