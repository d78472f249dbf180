# SPDX-License-Identifier: MIT
"""What the page Compare is given: the batches chosen in its address, side by side.

What the address says wrongly is said in words, and the page is shown with the rest of it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from api import views
from api.aligning import Axis
from api.comparing import Told, effects_of, side_by_side, told
from api.good_batches import band_behind
from api.kitchen import Kitchen
from api.page_data import position
from api.process.alignment import Align
from api.process.comparison import Group
from api.process.effects import FEWEST
from collector.errors import UnitError, UnknownRecordError
from collector.units import to_canonical

Json = dict[str, Any]

MOST_CHOSEN = 8
MOST_FOUND = 12
DEFAULT_DEGC = 60.0
_LOWEST_DEGC, _HIGHEST_DEGC = -5.0, 120.0
# Words by which batches fall into two ways of working.
_WAYS = ("kind of coagulant", "recipe", "ingredients", "pot", "lots")


@dataclass(frozen=True, slots=True)
class Address:
    """What the page's address says, as it stands there.

    Attributes:
        batches: Ids of the chosen batches.
        align: "time", "temperature" or "per_kg".
        temperature: Where the curves meet, in `unit`.
        unit: "degC" or "degF".
        words: What is searched for.
        begin: Where the picture begins, in the axis' unit; "" for the usual place.
        end: Where it ends; "" for the usual place.
    """

    batches: Sequence[str] = ()
    align: str = "time"
    temperature: str = ""
    unit: str = "degC"
    words: str = ""
    begin: str = ""
    end: str = ""


def compare(kitchen: Kitchen, address: Address) -> Json:
    """Return what Compare shows.

    Args:
        kitchen: The open kitchen.
        address: What the page's address says.
    """
    where = position(kitchen)
    faults: list[str] = []
    ids = _chosen(kitchen, address.batches, faults)
    axis = _axis(address, faults)
    span = [_number(text, what, faults) for text, what in
            ((address.begin, "The beginning"), (address.end, "The end"))]  # fmt: skip
    if span[0] is not None and span[1] is not None and span[1] <= span[0]:
        faults.append(f"The picture can't end at {span[1]:g} and begin at {span[0]:g}.")
        span = [None, None]
    chosen = told(kitchen, ids)
    newest = max((one.batch for one in chosen), key=lambda batch: batch.started_ms, default=None)
    return {
        "position": where,
        "address": {
            "batch": ids,
            "align": str(axis.align),
            "temperature": address.temperature,
            "unit": address.unit,
            "q": address.words,
            "from": address.begin,
            "to": address.end,
        },
        "axis_degc": axis.temperature_degc,
        "faults": faults,
        "span": span,
        "found": _found(kitchen, address.words, ids),
        "suggested": [] if ids else _suggested(kitchen),
        "any": bool(kitchen.journal.batches(limit=1)),
        "compared": side_by_side(kitchen, chosen, axis) if chosen else None,
        "band": band_behind(kitchen, newest, axis, ids) if newest else None,
        "ways": _ways(chosen),
    }


def _chosen(kitchen: Kitchen, wanted: Sequence[str], faults: list[str]) -> list[str]:
    ids: list[str] = []
    for batch_id in dict.fromkeys(wanted):
        try:
            kitchen.journal.batch(batch_id)
        except UnknownRecordError:
            faults.append(f"There is no batch “{batch_id[:60]}”; it is left out.")
            continue
        ids.append(batch_id)
    if len(ids) > MOST_CHOSEN:
        faults.append(f"{len(ids)} batches are too many for one picture: the first "
                      f"{MOST_CHOSEN} are shown.")  # fmt: skip
    return ids[:MOST_CHOSEN]


def _axis(address: Address, faults: list[str]) -> Axis:
    try:
        align = Align(address.align or "time")
    except ValueError:
        faults.append(f"Curves can't be laid over each other by “{address.align[:40]}”; "
                      "they begin at the heat.")  # fmt: skip
        align = Align.TIME
    degc = DEFAULT_DEGC
    said = _number(address.temperature, "The temperature", faults)
    if said is not None:
        try:
            degc = to_canonical(said, address.unit, "temperature")
        except UnitError:
            faults.append(f"“{address.unit[:20]}” is no unit of temperature.")
        if not _LOWEST_DEGC <= degc <= _HIGHEST_DEGC:
            faults.append(f"{said:g} is no temperature of a pot; {DEFAULT_DEGC:g} degC is taken.")
            degc = DEFAULT_DEGC
    return Axis(align, degc)


def _number(text: str, what: str, faults: list[str]) -> float | None:
    said = text.strip().replace(",", ".").replace("\N{MINUS SIGN}", "-")
    if not said:
        return None
    try:
        value = float(said)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        faults.append(f"{what} “{text[:40]}” is not a number. Write it like 12.5.")
        return None
    return value


def _found(kitchen: Kitchen, words: str, ids: Sequence[str]) -> list[Json]:
    """Return the batches that the search finds, without those that are chosen."""
    found = kitchen.journal.batches(words=words or None, limit=MOST_FOUND + len(ids))
    lines = [views.batch_line(batch) for batch in found if batch.id not in ids]
    return lines[:MOST_FOUND]


def _suggested(kitchen: Kitchen) -> list[Json]:
    """Return pairs worth comparing: the latest batch of a recipe or pot and the one before it."""
    seen: dict[tuple[str, str], Any] = {}
    pairs: list[Json] = []
    for batch in kitchen.journal.batches(limit=60):
        recipe, pot = batch.recipe, batch.body.get("pot")
        key = ("recipe", recipe["name"]) if recipe else ("pot", pot or "")
        if not key[1]:
            continue
        newer = seen.get(key)
        if newer is None:
            seen[key] = batch
        elif newer is not False:
            lines = [views.batch_line(one) for one in (batch, newer)]
            pairs.append({"what": key[0], "name": key[1], "batches": lines})
            seen[key] = False
    return pairs[:3]


def _ways(chosen: Sequence[Told]) -> Json | None:
    """Return the effect of a second way of working, if the chosen batches fall into two ways."""
    for name in _WAYS:
        groups: dict[str, list[Told]] = {}
        for one in chosen:
            said = next(
                (f.value for f in one.facts if (f.group, f.name) == (Group.INPUT, name)), None
            )
            if isinstance(said, str):
                groups.setdefault(said, []).append(one)
        if len(groups) == 2 and min(map(len, groups.values())) >= FEWEST:
            (first, of_first), (second, of_second) = groups.items()
            return {
                "by": name,
                "first": first,
                "second": second,
                "counts": [len(of_first), len(of_second)],
                "effects": effects_of(
                    [one.facts for one in of_first], [one.facts for one in of_second]
                ),
            }
    return None
