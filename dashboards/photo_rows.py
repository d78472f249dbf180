# SPDX-License-Identifier: MIT
"""The photos of a record, each with what it shows in words.

Pure presentation: imports only what is.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dashboards.reader import Reader
from dashboards.steps import label

Json = Mapping[str, Any]


def photos(data: Json, reader: Reader) -> list[dict[str, str]]:
    """Return the photos among a record's observations, by time.

    Args:
        data: With "batch", "weighings" and "observations", as a page is given them.
        reader: Who reads it.
    """
    shown = {str(one["id"]): label(one["kind"]) for one in data["batch"].get("events") or []}
    for one in data.get("weighings") or []:
        shown[str(one["id"])] = f"weighing of {str(one['stream']).replace('_', ' ')}"
    return [
        _photo(one, shown, reader) for one in data.get("observations") or [] if one.get("photo")
    ]


def _photo(one: Json, shown: Mapping[str, str], reader: Reader) -> dict[str, str]:
    when = reader.moment(one["at"])
    of = shown.get(str(one.get("of_record")), "")
    parts = [part for part in (of, when, str(one.get("text") or "")) if part]
    return {
        "id": str(one["id"]),
        "sha256": str(one["photo"]["sha256"]),
        "when": when,
        "caption": ", ".join(parts),
        "alt": f"Photo: {', '.join(parts)}",
    }
