# SPDX-License-Identifier: MIT
"""The sections of an analysis as rows of figures: a name, and the figure or why there is none.

Pure presentation: imports only the standard library.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

Json = Mapping[str, Any]
Row = tuple[str, Json]

_OWN = frozenset(
    {"value", "unit", "u", "method", "from", "status", "why", "amount", "shown", "interval"}
)
# Told elsewhere or at length: solids, protein and fat stream by stream, and what practice does.
_LEFT_OUT = frozenset({"components", "hints", "nominal_mass"})


def is_figure(node: object) -> bool:
    """Return whether a piece of an analysis is a figure, or says why it isn't one."""
    if not isinstance(node, Mapping):
        return False
    return ("value" in node and "unit" in node) or ("status" in node and "why" in node)


def rows_of(name: str, section: Json) -> list[Row]:
    """Return the rows of one section.

    Where every figure of a section, or of a part of it, is missing for one and the same reason,
    that is one row.

    Args:
        name: What the section is called, "chilling" …
        section: As the interface gives it.
    """
    return _walk(_words(name), section)


def notes_of(section: Json) -> list[str]:
    """Return the notes of a section and of what stands in it, each once."""
    found: list[str] = []
    for key, node in section.items():
        if key == "notes" and isinstance(node, Sequence) and not isinstance(node, str):
            found += [str(note) for note in node]
        elif isinstance(node, Mapping) and key not in _LEFT_OUT:
            found += notes_of(node)
    return list(dict.fromkeys(found))


def _walk(name: str, node: Json) -> list[Row]:
    rows: list[Row] = [(name, node)] if is_figure(node) else []
    for called, below in _parts(node):
        rows += _walk(f"{name}: {called}", below)
    reasons = {row.get("why") for _, row in rows}
    if len(rows) > 1 and len(reasons) == 1 and None not in reasons:
        return [(name, rows[0][1])]
    return rows


def _parts(node: Json) -> Iterator[tuple[str, Json]]:
    """Return what stands in a section, each part with what it is called."""
    for key, below in node.items():
        if key in _OWN or key in _LEFT_OUT:
            continue
        if isinstance(below, Mapping):
            yield _words(key, first=False), below
        elif isinstance(below, Sequence) and not isinstance(below, str):
            for number, one in enumerate(below, 1):
                if isinstance(one, Mapping):
                    yield str(one.get("name") or f"{_words(key, first=False)} {number}"), one


def _words(key: str, *, first: bool = True) -> str:
    words = key.replace("_", " ")
    return words.capitalize() if first else words
