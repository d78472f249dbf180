# SPDX-License-Identifier: MIT
"""The sections of an analysis as a reader takes them: verdicts, figures, and what is missing.

Pure presentation: imports only what is.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from dashboards.figure_rows import notes_of, rows_of

Json = Mapping[str, Any]
SECTIONS = (
    ("yield", "Yield and recoveries"),
    ("heat_treatment", "Heat treatment"),
    ("chilling", "Chilling"),
    ("cost", "Cost"),
    ("coagulant", "Dose of the coagulant"),
    ("pressing", "Pressing"),
    ("heating", "Heating"),
    ("nutrition", "Nutrition"),
    ("by_products", "By-products"),
)


def sections_of(analysis: Json, *, leave_out: Sequence[str] = ()) -> list[dict[str, Any]]:
    """Return the sections that an analysis has, each with what it shows and what it can't.

    Args:
        analysis: As the interface gives it.
        leave_out: Keys of sections that are not to be shown.
    """
    return [
        _section(key, title, analysis[key])
        for key, title in SECTIONS
        if analysis.get(key) and key not in leave_out
    ]


def verdicts_of(node: Any, name: str = "", *, legs: bool = True) -> Iterator[tuple[str, str, str]]:
    """Return name, verdict and reason of everything in a section that was judged.

    Args:
        node: A section, or a part of one.
        name: What it is called.
        legs: Also the legs of a rule, each by itself.
    """
    if isinstance(node, Mapping):
        name = str(node.get("name") or node.get("ingredient") or name)
        if "verdict" in node:
            yield name or "verdict", str(node["verdict"]), str(node.get("why") or "")
        for key, below in node.items():
            if legs or key != "legs":
                yield from verdicts_of(below, name, legs=legs)
    elif isinstance(node, list):
        for below in node:
            yield from verdicts_of(below, name, legs=legs)


def _section(key: str, title: str, node: Json) -> dict[str, Any]:
    rows = [(_short(name, key), figure) for name, figure in rows_of(key, node)]
    return {
        "key": key,
        "title": title,
        "verdicts": [
            {"name": name, "verdict": verdict, "why": why}
            for name, verdict, why in verdicts_of(node, legs=False)
        ],
        "rows": [(name, figure) for name, figure in rows if figure.get("value") is not None],
        "missing": _missing([(n, f) for n, f in rows if f.get("value") is None]),
        "notes": notes_of(node),
    }


def _short(name: str, key: str) -> str:
    """Return a row's name without what its heading says already."""
    parts = name.split(": ")
    if len(parts) > 1 and parts[0].casefold() == key.replace("_", " "):
        parts = parts[1:]
    kept = [part for i, part in enumerate(parts) if i == 0 or part != parts[i - 1]]
    return ": ".join(kept[-2:] if key == "chilling" else kept)


def _missing(rows: Sequence[tuple[str, Json]]) -> list[dict[str, str]]:
    """Return what can't be shown, names with one and the same reason together."""
    found: dict[tuple[str, str], list[str]] = {}
    for name, figure in rows:
        found.setdefault((str(figure["status"]), str(figure["why"])), []).append(name)
    return [
        {"names": ", ".join(dict.fromkeys(names)), "status": status, "why": why}
        for (status, why), names in found.items()
    ]
