# SPDX-License-Identifier: MIT
"""SenML packs in JSON into readings. Pure: the time that "now" means is an argument.

Source: RFC 8428 (seen in the author copy of July 2018), RFC 8798 and RFC 9100 (drafts seen). Where
the RFC leaves a choice, it is made here:

- A record of base fields alone carries them and says nothing; so does one with a base field and
  neither a name nor a value. Otherwise a base value in force is the value of a record without one.
- Text, boolean and data values, and a sum without a value, are no measurements: each is kept as a
  bad reading with what was said. A sum beside a value is left out.
- `boot` (a base field by its first letter, RFC 8428 section 12.2) and `seq` are taken for the
  instrument's boot id ("" for none any more) and running number, as section 4.4 allows; other
  receivers ignore them.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from collector.errors import FrameError
from collector.frames.json_text import load_json
from collector.frames.names import name_fault, shown
from collector.frames.protocol import unreadable
from collector.frames.senml_values import Said, reading_of
from collector.readings import Reading

DEFAULT_VERSION = 10
SECONDARY_UNITS_VERSION = 26  # 10 + 2^4: feature 4 of RFC 9100, secondary units

_TYPES: dict[str, type] = {
    "bn": str, "bt": Decimal, "bu": str, "bv": Decimal, "bs": Decimal, "bver": Decimal,
    "n": str, "u": str, "v": Decimal, "vs": str, "vb": bool, "vd": str,
    "s": Decimal, "t": Decimal, "ut": Decimal,
}  # fmt: skip
_TYPE_WORDS: dict[type, str] = {str: "a string", Decimal: "a number", bool: "true or false"}
_VALUES = ("v", "vs", "vb", "vd")
_BASES = ("bn", "bt", "bu", "bv", "bs", "bver", "boot")
_DATA = re.compile(r"[A-Za-z0-9_-]*", re.ASCII)
_BOOT = re.compile(r"[A-Za-z0-9\-:._]{0,64}", re.ASCII)


@dataclass(slots=True)
class _Bases:
    """The base fields in force."""

    name: str = ""
    time: Decimal | None = None
    unit: str = ""
    value: Decimal | None = None
    sum: Decimal | None = None
    version: int = DEFAULT_VERSION
    boot: str | None = None
    versions: set[int] = field(default_factory=set)

    def take(self, record: dict[str, Any]) -> None:
        self.name = record.get("bn", self.name)
        self.time = record.get("bt", self.time)
        self.unit = record.get("bu", self.unit)
        self.value = record.get("bv", self.value)
        self.sum = record.get("bs", self.sum)
        boot = record.get("boot")
        if isinstance(boot, str) and _BOOT.fullmatch(boot):
            self.boot = boot or None
        if "bver" in record:
            self.version = _version(record["bver"])
        self.versions.add(self.version)
        if len(self.versions) > 1:
            low, high = sorted(self.versions)
            raise FrameError(
                f"versions {low} and {high} in one pack (RFC 8428 section 4.4).",
                do="Give bver in the first record only.",
            )


def _version(number: Decimal) -> int:
    if number < 1 or number != number.to_integral_value():
        raise FrameError(f"bver {number} is not a positive whole number (RFC 8428 section 4.4).")
    if number > DEFAULT_VERSION and number != SECONDARY_UNITS_VERSION:
        raise FrameError(
            f"bver {number} needs features that are not understood (RFC 9100).",
            do="Send version 10, or 26 for secondary units.",
        )
    return int(number)


def _check(record: object) -> dict[str, Any]:
    if not isinstance(record, dict):
        raise FrameError("the record is not an object (RFC 8428 section 5).")
    for label, value in record.items():
        if label.endswith("_"):
            raise FrameError(
                f"the label {shown(label)} must be understood, and is not (RFC 8428 section 4.4)."
            )
        wanted = _TYPES.get(label)
        if wanted is not None and not isinstance(value, wanted):
            raise FrameError(f"{label} must be {_TYPE_WORDS[wanted]} (RFC 8428 table 2).")
    given = [label for label in _VALUES if label in record]
    if len(given) > 1:
        raise FrameError(f"{' and '.join(given)} in one record (RFC 8428 section 4.2).")
    data = record.get("vd")
    if data is not None and (_DATA.fullmatch(data) is None or len(data) % 4 == 1):
        raise FrameError("vd is not base64url without padding (RFC 8428 section 4.3).")
    return record


def _carries_only(record: dict[str, Any]) -> bool:
    """Tell whether a record only sets base fields."""
    known = [label for label in record if label in _TYPES or label == "boot"]
    has_base = any(label in _BASES for label in known)
    if has_base and all(label in _BASES for label in known):
        return True
    said = "n" in record or "s" in record or any(label in record for label in _VALUES)
    return has_base and not said and "bv" not in record


def _sequence(record: dict[str, Any]) -> int | None:
    number = record.get("seq")
    if isinstance(number, Decimal) and number == number.to_integral_value() and 0 <= number < 2**63:
        return int(number)
    return None


def _added(base: Decimal | None, own: Decimal | None) -> Decimal | None:
    if base is None or own is None:
        return base if own is None else own
    return base + own


def _resolve(record: dict[str, Any], bases: _Bases) -> Said | None:
    """Return what one record says with the base fields applied, None if it says nothing."""
    bases.take(record)
    if _carries_only(record):
        return None
    name = bases.name + record.get("n", "")
    fault = name_fault(name)
    if fault:
        raise FrameError(f"{fault} (RFC 8428 section 4.5.1).")
    other = next((record[label] for label in _VALUES[1:] if label in record), None)
    own_sum = record.get("s")
    value = record.get("v")
    if other is None and (own_sum is None or value is not None):
        value = _added(bases.value, value)
    total = _added(bases.sum, own_sum)
    if value is None and other is None and total is None:
        raise FrameError("the record has no value and no sum (RFC 8428 section 4.2).", do="Give v.")
    return Said(
        name=name,
        unit=record.get("u", bases.unit),
        value=value,
        other=other,
        data="vd" in record,
        sum=total,
        time=_added(bases.time, record.get("t")),
        version=bases.version,
        boot=bases.boot,
        sequence=_sequence(record),
    )


def parse_pack(data: bytes, *, now_ms: int) -> list[Reading]:
    """Return the readings of a SenML pack, resolved.

    Args:
        data: The pack in JSON, UTF-8.
        now_ms: The time of arrival, to which relative times refer [ms since 1970 UTC].

    Returns:
        One reading for each record that says something, oldest first; records of equal time keep
        their order. An unknown unit, no unit or an odd time makes a reading suspect.

    Raises:
        FrameError: A rule of the RFC is broken; nothing of the pack is to be kept as a reading.
    """
    pack = load_json(data)
    if not isinstance(pack, list):
        raise FrameError("the pack is not an array (RFC 8428 section 4.1).", do="Send [ … ].")
    if not pack:
        raise FrameError("the pack has no record (RFC 8428 section 11).", do="Send one or more.")
    bases = _Bases()
    readings: list[Reading] = []
    for number, record in enumerate(pack, start=1):
        try:
            said = _resolve(_check(record), bases)
        except FrameError as error:
            raise FrameError(error.what, where=f"record {number}", do=error.do) from error
        if said is not None:
            readings.append(reading_of(said, now_ms))
    readings.sort(key=lambda reading: reading.time_ms)
    return readings


@dataclass(frozen=True, slots=True)
class SenmlDecoder:
    """Decodes a SenML pack; its records name their own series."""

    def decode(self, data: bytes, *, channel: str, arrival_ms: int) -> list[Reading]:
        """Return the readings of the pack; see `Decoder.decode`."""
        try:
            return parse_pack(data, now_ms=arrival_ms)
        except FrameError as error:
            return unreadable(channel, str(error), data, arrival_ms)
