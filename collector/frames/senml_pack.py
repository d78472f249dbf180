# SPDX-License-Identifier: MIT
"""Readings into a SenML pack in JSON. Pure.

Source: RFC 8428 (seen in the author copy of July 2018); strict where it lets a reader be lenient:
registered units, `e` in lower case, times absolute. `boot` and `seq` as in `senml.py`.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence

from collector.errors import FrameError
from collector.frames.names import name_fault
from collector.frames.senml_units import PRIMARY, SECONDARY, SPELT_OUT
from collector.frames.senml_values import RELATIVE_BELOW_S
from collector.readings import Reading
from collector.units import convert, kind_of

_IN_SENML: dict[str, str] = {
    "temperature": "Cel", "mass": "kg", "duration": "s", "power": "W", "energy": "J",
    "pressure": "Pa", "length": "m", "volume": "m3",
}  # fmt: skip
_SPELT_BACK = {word: symbol for symbol, word in SPELT_OUT.items()}
_EARLIEST_MS = int(RELATIVE_BELOW_S) * 1000


def format_pack(readings: Sequence[Reading]) -> bytes:
    """Return readings as one SenML pack.

    Args:
        readings: One or more, in any order. Units that SenML doesn't have are converted; quality is
            not carried. A reading without a value, or with a time before July 1978 that SenML would
            take for a relative one, is written as text with its reason, at its arrival.

    Returns:
        The pack, UTF-8.

    Raises:
        FrameError: There is no reading, or a name or a value that SenML can't carry.
    """
    if not readings:
        raise FrameError("a pack needs at least one reading.", do="Choose a longer stretch.")
    values = [_value(reading) for reading in readings]
    base_ms = _time_ms(readings[0])
    base_name = _common_start([reading.series for reading in readings])
    units = {unit for unit, _, _ in values}
    base_unit = units.pop() if len(units) == 1 else ""
    records = []
    boot: str | None = None
    for number, (reading, (unit, label, text)) in enumerate(zip(readings, values, strict=True)):
        fields = []
        if number == 0:
            fields += [("bn", json.dumps(base_name))] if base_name else []
            fields.append(("bt", _seconds(base_ms)))
            fields += [("bu", json.dumps(base_unit))] if base_unit else []
        if reading.boot != boot:
            boot = reading.boot
            fields.append(("boot", json.dumps(boot or "")))
        fields += _own_name(reading.series[len(base_name) :])
        fields += [("u", json.dumps(unit))] if unit and not base_unit else []
        fields += _own_time(_time_ms(reading) - base_ms)
        fields.append((label, text))
        fields += [("seq", str(reading.sequence))] if reading.sequence is not None else []
        records.append("{" + ",".join(f'"{key}":{value}' for key, value in fields) + "}")
    return ("[" + ",\n".join(records) + "]").encode("utf-8")


def _own_name(name: str) -> list[tuple[str, str]]:
    return [("n", json.dumps(name))] if name else []


def _own_time(offset_ms: int) -> list[tuple[str, str]]:
    return [("t", _seconds(offset_ms))] if offset_ms else []


def _common_start(names: Sequence[str]) -> str:
    for name in names:
        fault = name_fault(name)
        if fault:
            raise FrameError(f"{fault} (RFC 8428 section 4.5.1).")
    first, last = min(names), max(names)  # what these two share, all between them share
    if first == last:
        return first
    same = next(n for n in range(len(last)) if first[n : n + 1] != last[n])
    return first[: first.rfind("/", 0, same) + 1]


def _value(reading: Reading) -> tuple[str, str, str]:
    """Return the unit, the label and the JSON text of a reading's value."""
    if reading.value is None:
        return "", "vs", json.dumps(reading.reason or "no value")
    value, unit = reading.value, _SPELT_BACK.get(reading.unit, reading.unit)
    if not math.isfinite(value):
        raise FrameError(f"the value {value} of {reading.series!r} can't be written in JSON.")
    foreign = reading.unit not in PRIMARY or reading.unit in SPELT_OUT or unit in SECONDARY
    kind = kind_of(reading.unit)
    if foreign and kind is not None:
        value, unit = convert(value, reading.unit, _IN_SENML[kind]), _IN_SENML[kind]
    if reading.time_ms < _EARLIEST_MS:
        said = f"{value!r} {unit}, dated {reading.time_ms} ms after 1970 by the instrument"
        return "", "vs", json.dumps(said)
    return unit, "v", repr(value).lower()


def _time_ms(reading: Reading) -> int:
    return reading.time_ms if reading.time_ms >= _EARLIEST_MS else reading.arrival_ms


def _seconds(time_ms: int) -> str:
    sign = "-" if time_ms < 0 else ""
    whole, rest = divmod(abs(time_ms), 1000)
    return f"{sign}{whole}" + (f".{rest:03d}".rstrip("0") if rest else "")
