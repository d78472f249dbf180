# SPDX-License-Identifier: MIT
"""The checks of an instrument in words: what is due, what is in force, what was done.

Pure presentation: imports only what is.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dashboards import formats
from dashboards.reader import Reader

Json = Mapping[str, Any]

CHECKS = {
    "ice": "ice point",
    "boil": "boiling point",
    "weight": "reference weight",
    "dip": "dip",
}
_DAY_S = 86_400.0
_ALWAYS = "1970-01-01"
_SPACE = "\N{NO-BREAK SPACE}"


def due_words(line: Json, reader: Reader) -> dict[str, Any]:
    """Return a kind of check, when it was last made, and whether it is due, in words."""
    name = CHECKS[line["kind"]]
    if line["state"] == "never":
        words = f"{name}: never checked"
    else:
        age = days(reader.age_s(line["last_at"]))
        words = f"{name}: checked {age}"
        if line["state"] == "old":
            words += f", longer ago than {line['every_s'] / _DAY_S:g} days"
    return {"kind": line["kind"], "words": words, "due": line["due"]}


def days(age_s: float) -> str:
    """Return how long ago something was, in days.

    Example:
        >>> days(3600.0), days(30 * 3600.0), days(40 * 86400.0)
        ('today', '1 day ago', '40 days ago')
    """
    count = int(age_s // _DAY_S)
    if count < 1:
        return "today"
    return f"{count} day{'' if count == 1 else 's'} ago"


def correction_words(one: Json, reader: Reader) -> dict[str, Any]:
    """Return how indications become values now: the line, its uncertainty, since when.

    Args:
        one: An instrument as the page is given it.
        reader: Whose units and clock.
    """
    found = one["correction"]
    return {
        "line": line_words(found, reader),
        "u": u_words(found, reader),
        "method": found["method"],
        "lag": lag_words(found),
        "from": [
            f"{CHECKS[check['kind']]}, checked {reader.moment(check['at'])}, in force "
            + since(check["valid_from"], reader)
            for check in one["in_force"]
        ],
    }


def since(valid_from: str, reader: Reader) -> str:
    """Return from when on a check is in force."""
    if valid_from.startswith(_ALWAYS):
        return "for all readings"
    return f"since {reader.moment(valid_from)}"


def line_words(found: Json, reader: Reader) -> str:
    """Return the line from indication to value in words.

    Example:
        >>> from dashboards.reader import reader_of
        >>> reader = reader_of({"kitchen": {}, "now": "2026-03-02T08:00:00Z"})
        >>> line_words({"scale": 1.0, "offset": 0.0, "unit": "kg"}, reader)
        'value = indication'
    """
    scale, offset = found["scale"], found["offset"]
    words = "value = indication"
    if scale != 1.0:
        words += f" \N{MULTIPLICATION SIGN} {scale:.5f}"
    if offset != 0.0:
        sign = "+" if offset > 0 else formats.MINUS
        words += f" {sign} {_amount(abs(offset), found['unit'], reader)}"
    return words


def u_words(found: Json, reader: Reader) -> str:
    """Return the standard uncertainty of a correction, "" where none is kept with it."""
    return _amount(found["u"], found["unit"], reader) if found["u"] else ""


def lag_words(found: Json) -> str:
    """Return the time constant of a probe, "" without one."""
    tau = found.get("time_constant_s")
    return "" if tau is None else f"{tau:.3g}{_SPACE}s"


def _amount(value: float, unit: str, reader: Reader) -> str:
    if unit == "degC":
        return formats.difference(value, reader.units, 2)
    if unit == "kg":
        return formats.mass(value, reader.units)
    return f"{value:g}{_SPACE}{unit}"


def history_rows(one: Json, reader: Reader) -> list[dict[str, Any]]:
    """Return the checks of an instrument, the latest first, those taken back marked."""
    rows = []
    for check in one["history"]:
        gone = check.get("gone")
        why = f": {gone['why']}" if gone and gone["why"] else ""
        rows.append(
            {
                "id": check["id"],
                "kind": CHECKS[check["kind"]],
                "at": reader.moment(check["at"]),
                "figures": check_words(check, reader),
                "force": since(check["valid_from"], reader),
                "note": check.get("note") or "",
                "who": check.get("who") or "",
                "gone": f"taken back {reader.moment(gone['at'])}{why}" if gone else "",
            }
        )
    return rows


def check_words(check: Json, reader: Reader) -> str:
    """Return what a check found, number by number."""
    if check["kind"] == "dip":
        return (
            f"time constant {check['time_constant_s']:.3g}{_SPACE}s, u {check['u_s']:.2g}{_SPACE}s"
        )
    if check["kind"] == "weight":
        indicated, reference = check["indicated_kg"], check["reference_kg"]
        return (
            f"showed {formats.mass(indicated, reader.units)} for "
            f"{formats.mass(reference, reader.units)}: factor {reference / indicated:.5f}"
        )
    indicated, reference = check["indicated_degc"], check["reference_degc"]
    off = formats.difference(reference - indicated, reader.units, 2)
    return (
        f"showed {formats.temperature(indicated, reader.units, 2)} for "
        f"{formats.temperature(reference, reader.units, 2)}: correction {off}, "
        f"u of the reference {formats.difference(check['u_reference_k'], reader.units, 2)}"
    )
