# SPDX-License-Identifier: MIT
"""Where a number comes from, in a reader's words: which series, marks, weighings, corrections.

The interface names a record by its id; here it is called by what it says. Pure presentation:
imports only what is.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from dashboards import formats
from dashboards.reader import Reader
from dashboards.steps import label

Json = Mapping[str, Any]
Groups = list[tuple[str, list[str]]]

_TITLES = ("Series", "Marks", "Weighings", "Seen by hand", "Corrections", "Assumed and published")
_NAMED = re.compile(r"^(series|event|weighing|observation|check|batch)s? ([^\s;,]+)(.*)$")
_OF_KIND = {
    "series": "Series", "event": "Marks", "weighing": "Weighings",
    "observation": "Seen by hand", "check": "Corrections",
}  # fmt: skip
_CORRECTED = ("calibration", "lag ", "check", "no check", "no reference weight")


class Origins:
    """Calls the records that a figure names by what they say."""

    def __init__(self, record: Json, reader: Reader) -> None:
        """Take what was recorded.

        Args:
            record: With "batch", "weighings" and "observations", as a page is given them.
            reader: Who reads it.
        """
        batch = record.get("batch") or {}
        self._said: dict[str, str] = {}
        self._series = {str(one["series"]) for one in batch.get("bindings") or []}
        for event in batch.get("events") or []:
            when = reader.clock(event["at"], seconds=True)
            self._said[str(event["id"])] = f"{label(event['kind'])} at {when}"
        for one in record.get("weighings") or []:
            mass = formats.mass(one["net_kg"], reader.units)
            when = reader.clock(one["at"])
            self._said[str(one["id"])] = f"{_words(one['stream'])} {mass} at {when}"
        for one in record.get("observations") or []:
            value = "" if one.get("value") is None else f" {one['value']:g} {one.get('unit') or ''}"
            said = f"{_words(one['quantity'])}{value.rstrip()} at {reader.clock(one['at'])}"
            self._said[str(one["id"])] = said

    def grouped(self, figure: Json | None) -> Groups:
        """Return the sources of a figure under their titles, each once.

        Args:
            figure: As the interface gives it.
        """
        found: dict[str, list[str]] = {}
        for source in (figure or {}).get("from") or []:
            title, words = self._one(str(source))
            lines = found.setdefault(title, [])
            if words not in lines:
                lines.append(words)
        return [(title, found[title]) for title in _TITLES if title in found]

    def _one(self, source: str) -> tuple[str, str]:
        named = _NAMED.match(source)
        if named and named[1] in _OF_KIND:
            return _OF_KIND[named[1]], self._of(named[1], named[2], named[3])
        if source in self._series:
            return "Series", source
        if source.startswith("mark "):
            return "Marks", source
        if source.startswith(_CORRECTED):
            return "Corrections", source
        return "Assumed and published", source

    def _of(self, kind: str, name: str, rest: str) -> str:
        if kind == "series":
            return name + rest
        if kind == "check":
            return f"check{rest}, {name[:8]}"
        return self._said.get(name, f"{kind} {name[:8]}") + rest


def _words(name: object) -> str:
    return str(name).replace("_", " ")


def plain(figure: Json | None) -> Groups:
    """Return the sources of a figure as they are named, on a page that has no record beside it."""
    sources: Sequence[Any] = (figure or {}).get("from") or []
    return [("", [str(one) for one in dict.fromkeys(sources)])] if sources else []
