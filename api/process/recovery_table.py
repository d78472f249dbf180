# SPDX-License-Identifier: MIT
"""Published recoveries: where an ingredient's solids, protein and fat end up.

Parsing is pure; `recovery_table` reads the packaged table once. Imports only the ground and what
is pure.
"""

from __future__ import annotations

import functools
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files

from api.process.ingredient_rows import Status
from collector.errors import ProcessError


@dataclass(frozen=True, slots=True)
class Recovery:
    """One published process.

    Attributes:
        ingredient: Which ingredient.
        process: What was done.
        fractions: By component and stream, the share of what the dry ingredient held [-].
        u_fraction: Relative standard uncertainty when used for another batch [-].
        notes: By stream, what the publication means by it where that is not the stream alone.
        source: The publication.
        status: How it is known.
    """

    ingredient: str
    process: str
    fractions: Mapping[str, Mapping[str, float]]
    u_fraction: float
    notes: Mapping[str, str]
    source: str
    status: Status


@functools.cache
def recovery_table() -> Mapping[str, Recovery]:
    """Return the packaged recoveries by ingredient, read once.

    Returns:
        Recoveries [-].

    Source:
        Each names its own.
    """
    text = files("api.process").joinpath("data/recoveries.toml").read_text(encoding="utf-8")
    return parse_recovery_table(text)


def parse_recovery_table(text: str) -> Mapping[str, Recovery]:
    """Return recoveries by ingredient from their text.

    Args:
        text: TOML.

    Returns:
        Recoveries [-].

    Raises:
        ProcessError: The text is no TOML, a key is missing, or a source or status isn't known.

    Source:
        Each names its own.
    """
    try:
        data = tomllib.loads(text)
        sources = data["source"]
        return {
            entry["ingredient"]: Recovery(
                ingredient=entry["ingredient"],
                process=entry["process"],
                fractions={key: dict(entry[key]) for key in ("solids", "protein", "fat")},
                u_fraction=float(entry["u_fraction"]),
                notes=dict(entry.get("notes", {})),
                source=sources[entry["source"]],
                status=Status(entry["status"]),
            )
            for entry in data["recovery"]
        }
    except (tomllib.TOMLDecodeError, KeyError, ValueError, TypeError) as error:
        raise ProcessError(
            f"The table of recoveries can't be read: {error!r}.",
            where="recoveries.toml",
            do="Mend the entry; each needs a source that is listed and a status.",
        ) from error
