# SPDX-License-Identifier: MIT
"""Weighings that a scale offers: what was put on it and lay still, for the stream that is next.

All of it follows from the readings of the last minutes and the records, so nothing is kept until
somebody takes an offer or refuses it. Imports the records and the store.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from api import views
from api.corrections import Corrections, canonical_values
from api.hands_free.settling import Load, loads
from api.kitchen import Kitchen
from api.records.batches import Batch
from api.schemas import Measure, WeighingBody
from api.times import format_s
from collector.errors import RecordConflictError, UnknownRecordError
from collector.readings import Quality
from collector.units import kind_of
from dashboards.steps import marks_of

# An offer stands so long; before it, the scale's readings are needed too [ms].
OPEN_FOR_MS = 600_000
_BEFORE_MS = 300_000
# An empty scale, and a pot that stood there before: so close to it [kg], [-].
_EMPTY_KG, _POT_FRACTION = 0.020, 0.02
# A weighing within this of the offered mass is the same weighing [-].
_SAME_FRACTION = 0.005
_SPACE = uuid.UUID("3b8f0a6d-1d0f-4c1e-8a43-7f5c9e2b4d10")
# Which stream is weighed before a step, and which after it, in the order of the process.
_BEFORE_STEP = {
    "soak": ("dry", "soak_water"),
    "grind": ("soaked", "water"),
    "heat": ("milk",),
    "addition": ("coagulant", "coagulant_water"),
}
_AFTER_STEP = {"strain": ("pulp",), "ladle": ("whey",), "press": ("block",), "unmould": ("block",)}
# What can lie on the scale under the pot.
_IN_POT = ("milk",)


@dataclass(frozen=True, slots=True)
class Offer:
    """A weighing that a scale offers.

    Attributes:
        id: The same for the same load on the same scale.
        series: The scale.
        stream: Which stream it may be.
        load: What was put on it.
        net_kg: The load without what stood there before [kg].
        tare: The name of the pot that stood there before, or its mass; None on an empty scale.
    """

    id: str
    series: str
    stream: str
    load: Load
    net_kg: float
    tare: str | Measure | None

    def weighing(self, stream: str | None = None) -> WeighingBody:
        """Return what is recorded if it is taken.

        Args:
            stream: Another stream than the offered one.
        """
        return WeighingBody.model_validate(
            {
                "stream": stream or self.stream,
                "from_scale": self.series,
                "at": format_s(self.load.at_s),
                "basis": "net" if self.tare is None else "gross",
                "tare": self.tare,
            }
        )


def offers_of(kitchen: Kitchen, batch: Batch) -> list[Offer]:
    """Return the weighings that the scales of a batch offer now, the latest of each scale.

    Args:
        kitchen: The open kitchen.
        batch: The batch; one that is closed is offered nothing.
    """
    if not batch.open:
        return []
    pot = kitchen.journal.latest_by("pot", "name").get(str(batch.body.get("pot")))
    listed: Mapping[str, Any] = pot.body if pot else {}
    found: list[Offer] = []
    for series, in_pot in _scales(kitchen, batch, listed).items():
        stream = expected_stream(batch, _IN_POT if in_pot else None)
        load = _last_load(kitchen, series) if stream else None
        if stream is None or load is None:
            continue
        offer = Offer(
            offer_id(batch.id, series, load),
            series,
            stream,
            load,
            load.level_kg - max(load.before_kg, 0.0),
            _tare(load, listed),
        )
        if not _answered(batch, offer):
            found.append(offer)
    return found


def offer_id(batch_id: str, series: str, load: Load) -> str:
    """Return the id of an offer, and of the weighing that it becomes."""
    return str(uuid.uuid5(_SPACE, f"{batch_id}/{series}/{round(load.at_s * 1000.0)}"))


def the_offer(kitchen: Kitchen, batch: Batch, wanted: str) -> Offer:
    """Return one of the offers that stand.

    Raises:
        UnknownRecordError: There is none of this id, or it has passed.
    """
    for one in offers_of(kitchen, batch):
        if one.id == wanted:
            return one
    raise UnknownRecordError(
        f"There is no weighing {wanted!r} on offer.",
        where=batch.name,
        do="An offer stands for 10 min. Weigh again, or type the mass.",
    )


def refuse_taken(batch: Batch, wanted: str) -> None:
    """Refuse to dismiss what was taken.

    Raises:
        RecordConflictError: The weighing stands.
    """
    if any(one.id == wanted for one in batch.weighings):
        raise RecordConflictError(
            "This weighing was taken.",
            where=batch.name,
            do=f'Take it back: POST …/weighings {{"withdraws": "{wanted}"}}.',
        )


def expected_stream(batch: Batch, only: tuple[str, ...] | None = None) -> str | None:
    """Return the stream that is weighed next, None if none is expected now.

    Args:
        batch: The batch, with its steps and what was weighed.
        only: Only one of these.
    """
    marks = marks_of(views.batch(batch))
    last, expected = marks.last or "", marks.expected or ""
    coming = [*_AFTER_STEP.get(last, ()), *_of_recipe(batch, expected)]
    for kind in (expected, *marks.beside):
        coming += _BEFORE_STEP.get(kind, ())
    weighed = {str(one.body["stream"]) for one in batch.weighings}
    left_out = set((batch.recipe or {}).get("without") or ())
    for stream in coming:
        if stream not in weighed | left_out and (only is None or stream in only):
            return str(stream)
    return None


def _of_recipe(batch: Batch, kind: str) -> list[str]:
    """Return the streams that the recipe's own step names."""
    found: list[str] = []
    for step in (batch.recipe or {}).get("steps") or []:
        if step["kind"] == kind:
            found += [step["stream"]] if step.get("stream") else []
            found += [one["stream"] for one in step.get("masses") or []]
    return found


def _scales(kitchen: Kitchen, batch: Batch, pot: Mapping[str, Any]) -> dict[str, bool]:
    """Return the scales of a batch, and whether its pot stands on them."""
    now_ms = kitchen.now_ms()
    found = {str(pot["bench"]): False} if pot.get("bench") else {}
    for binding in batch.bindings:
        over = binding.to_ms is not None and binding.to_ms <= now_ms
        if binding.place == "under_pot" and not over:
            found.setdefault(binding.series, True)
    return found


def _last_load(kitchen: Kitchen, series: str) -> Load | None:
    now_ms = kitchen.now_ms()
    stretch = kitchen.readings.stretch(series, now_ms - OPEN_FOR_MS - _BEFORE_MS, now_ms + 1)
    if kind_of(stretch.unit) != "mass":
        return None
    good = (stretch.quality == Quality.GOOD) & np.isfinite(stretch.value)
    said = canonical_values(stretch.value[good], stretch.unit)
    # A step that is read off few levels may be the load itself: only a stated one is used.
    step_kg = float(Corrections(kitchen.journal).known(series).get("display_step_canonical") or 0)
    found = loads(stretch.time_ms[good] / 1000.0, said, step_kg)
    fresh = [one for one in found if now_ms - one.at_s * 1000.0 <= OPEN_FOR_MS]
    return fresh[-1] if fresh else None


def _tare(load: Load, pot: Mapping[str, Any]) -> str | Measure | None:
    """Return what stood on the scale before: nothing, the pot, or a vessel of a known mass."""
    if abs(load.before_kg) <= _EMPTY_KG:
        return None
    empty_kg = pot.get("empty_kg")
    if empty_kg and abs(load.before_kg - empty_kg) <= max(_POT_FRACTION * empty_kg, _EMPTY_KG):
        return str(pot["name"])
    return Measure(value=round(load.before_kg, 4), unit="kg") if load.before_kg > 0 else None


def _answered(batch: Batch, offer: Offer) -> bool:
    """Tell whether somebody has taken or refused it, or typed the same mass."""
    known = [*batch.weighings, *(one for one in batch.gone if one.kind == "weighing")]
    if any(one.id == offer.id for one in known):
        return True
    if any(one.body.get("offer") == offer.id for one in batch.dismissals):
        return True
    return any(
        abs(float(one.body["net_kg"]) - offer.net_kg) <= _SAME_FRACTION * offer.net_kg
        and one.at_ms >= offer.load.at_s * 1000.0 - 60_000.0
        for one in batch.weighings
    )


def offer_json(offer: Offer) -> dict[str, Any]:
    """Return an offer as the interface gives it."""
    tare = offer.tare
    return {
        "id": offer.id,
        "stream": offer.stream,
        "series": offer.series,
        "at": format_s(offer.load.at_s),
        "mass": {"value": round(offer.load.level_kg, 5), "unit": "kg"},
        "net_kg": round(offer.net_kg, 5),
        "tare": tare.model_dump() if isinstance(tare, Measure) else tare,
        "why": f"{offer.load.level_kg:.3f} kg lay still on {offer.series}, "
        f"{offer.load.before_kg:.3f} kg before.",
    }
