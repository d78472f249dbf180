# SPDX-License-Identifier: MIT
"""Energy factors of protein, fat, carbohydrate and fibre: sets of them, with their sources.

Parsing is pure; `energy_table` reads the packaged table once. Imports only the ground and what is
pure.
"""

from __future__ import annotations

import functools
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files

from api.process.ingredient_rows import Status
from collector.errors import ProcessError

# The thermochemical calorie, by definition.
KJ_PER_KCAL = 4.184


@dataclass(frozen=True, slots=True)
class EnergyFactors:
    """One set of factors.

    Attributes:
        key: "EU" …
        name: Whose it is.
        kj_per_g: By component [kJ/g].
        kcal_per_g: By component [kcal/g].
        counts_fibre: Fibre has a factor of its own; else it is within the carbohydrate.
        source: Where it comes from.
        status: How it is known.
    """

    key: str
    name: str
    kj_per_g: Mapping[str, float]
    kcal_per_g: Mapping[str, float]
    counts_fibre: bool
    source: str
    status: Status


@functools.cache
def energy_table() -> Mapping[str, EnergyFactors]:
    """Return the packaged sets of factors by key, read once.

    Returns:
        Factors [kJ/g, kcal/g].

    Source:
        Each set names its own.
    """
    text = files("api.process").joinpath("data/energy.toml").read_text(encoding="utf-8")
    return parse_energy_table(text)


def parse_energy_table(text: str) -> Mapping[str, EnergyFactors]:
    """Return sets of energy factors from their text.

    A set that states only kilocalories is turned into kilojoules by definition.

    Args:
        text: TOML.

    Returns:
        Factors by key [kJ/g, kcal/g].

    Raises:
        ProcessError: The text is no TOML, a key is missing, or a source or status isn't known.

    Source:
        Each set names its own; 1 kcal = 4.184 kJ, thermochemical calorie (definition).
    """
    try:
        data = tomllib.loads(text)
        found = {}
        for key, entry in data["set"].items():
            kcal = {name: float(value) for name, value in entry["kcal_per_g"].items()}
            stated = entry.get("kj_per_g") or {n: KJ_PER_KCAL * v for n, v in kcal.items()}
            missing = {"protein", "fat", "carbohydrate"} - kcal.keys()
            if missing or stated.keys() != kcal.keys():
                raise KeyError(f"{key}: {sorted(missing) or 'kJ and kcal of the same components'}")
            found[key] = EnergyFactors(
                key=key,
                name=entry["name"],
                kj_per_g={name: float(value) for name, value in stated.items()},
                kcal_per_g=kcal,
                counts_fibre="fibre" in kcal,
                source=data["source"][entry["source"]],
                status=Status(entry["status"]),
            )
    except (tomllib.TOMLDecodeError, KeyError, ValueError, TypeError, AttributeError) as error:
        raise ProcessError(
            f"The table of energy factors can't be read: {error!r}.",
            where="energy.toml",
            do="Mend the entry; each needs protein, fat, carbohydrate, a listed source, a status.",
        ) from error
    return found
