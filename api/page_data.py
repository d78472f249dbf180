# SPDX-License-Identifier: MIT
"""What each page is given: the objects of the HTTP interface, gathered for one page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from starlette.types import Scope

from api import views
from api.access import is_local
from api.analysis.gather import Gatherer, PlacedCurve
from api.analysis.live_holds import LiveHolds
from api.analysis.outlook import Outlooks
from api.analysis.whole import analysis
from api.batch_search import Wanted, search
from api.cautions import cautions_of, known_ingredients
from api.deviations import deviations_of, reviews_of
from api.hands_free.offers import offer_json, offers_of
from api.hands_free.questions import QuestionBook, question_json
from api.holds import holds_of, targets_of
from api.kitchen import Kitchen
from api.process.hold_spec import HoldSpec
from api.process.ingredients import process_cautions
from api.proposals.schemas import proposal_json
from api.proposals.standing import Standing, standings
from api.records.batches import Batch, Binding, Kept
from api.routes.alarms import open_alarms
from api.routes.instruments import instruments
from api.routes.notices import route_json
from api.routes.readings import curve_json
from api.watch.route_book import RouteBook
from collector.errors import ProcessError, RecordError, UnitError

Json = dict[str, Any]

MOST_CARDS = 12
RECENT = 50
STOVE_POINTS = 500
RECORD_POINTS = 1200
_PROBE_PLACES = ("milk", "block_core", "curd", "chill_water")
_VIEWS = {"event": views.event, "weighing": views.weighing, "observation": views.observation}


@dataclass(frozen=True, slots=True)
class Live:
    """What is computed again and again of open batches, and remembered for a moment.

    Attributes:
        holds: Their verdicts so far.
        outlooks: What is about to happen in them.
    """

    holds: LiveHolds
    outlooks: Outlooks


def position(kitchen: Kitchen) -> str:
    """Return where the live stream goes on after what a page shows; ask before gathering it."""
    return f"r{kitchen.readings.last_arrival()}.e{kitchen.journal.chains.last_number()}"


def stove(kitchen: Kitchen, scope: Scope, live: Live, sounders: Sequence[Json] = ()) -> Json:
    """Return what the Stove shows.

    Args:
        kitchen: The open kitchen.
        scope: Of the call.
        live: What is judged while a batch runs.
        sounders: The wired sounders, as they stand in the list of routes.
    """
    where = position(kitchen)
    gatherer = Gatherer.of(kitchen)
    open_batches = kitchen.journal.batches(state="open", limit=MOST_CARDS + 1)
    return {
        "position": where,
        "local": is_local(scope),
        "batches": [
            _stove_item(kitchen, gatherer, batch, live)
            for batch in reversed(open_batches[:MOST_CARDS])
        ],
        "more_open": len(open_batches) > MOST_CARDS,
        "instruments": instruments(kitchen),
        "pots": _latest(kitchen, "pot"),
        "recipes": _recipes(kitchen),
        "ingredients": _ingredients(kitchen),
        "routes": [
            *(route_json(route) for route in RouteBook(kitchen.journal).routes()),
            *sounders,
        ],
        "questions": _questions(kitchen),
        "alarms": open_alarms(kitchen),
        "standing": [
            {"about": one.subject, "text": one.text, "kind": one.kind} for one in process_cautions()
        ],
    }


def batches(kitchen: Kitchen, wanted: Wanted, *, after: str | None, limit: int) -> Json:
    """Return what the list of batches shows."""
    found, following = search(kitchen, wanted, after=after, limit=limit)
    query = asdict(wanted)
    return {
        "batches": [views.batch_line(batch) for batch in found],
        "query": {"q": query.pop("words"), **query},
        "next": following,
        "any": bool(found) or bool(kitchen.journal.batches(limit=1)),
        "pots": _known_pots(kitchen),
        "recipes": _recipes(kitchen),
        "questions": _questions(kitchen),
    }


def _known_pots(kitchen: Kitchen) -> list[Json]:
    """Return the listed pots, and those of the latest batches with the instruments they had."""
    pots = {str(one["name"]): one for one in _latest(kitchen, "pot")}
    for batch in kitchen.journal.batches(limit=RECENT):
        name = batch.body.get("pot")
        if name and name not in pots:
            own = ("thermometer", "scale")
            pots[name] = {"name": name, **{key: batch.body.get(key) for key in own}}
    return list(pots.values())


def _questions(kitchen: Kitchen) -> list[Json]:
    return [question_json(one) for one in QuestionBook(kitchen).all(20) if one.state == "open"]


def record(kitchen: Kitchen, batch_id: str, proposals: Sequence[Standing]) -> Json:
    """Return what the record of one batch shows.

    Args:
        kitchen: The open kitchen.
        batch_id: The batch.
        proposals: What the detector saw in it.

    Raises:
        UnknownRecordError: There is no such batch.
    """
    where = position(kitchen)
    batch = kitchen.journal.batch(batch_id)
    gatherer = Gatherer.of(kitchen)
    computed = analysis(kitchen, batch_id)
    gone = [_gone(kept) for kept in batch.gone if kept.kind in _VIEWS]
    return {
        "position": where,
        "batch": _whole(kitchen, batch),
        "curve": batch_curve(kitchen, gatherer, batch, RECORD_POINTS),
        "targets": batch_targets(batch),
        "bands": batch_bands(batch, computed),
        "analysis": computed,
        "weighings": [views.weighing(kept) for kept in batch.weighings],
        "observations": [views.observation(kept) for kept in batch.observations],
        "gone": gone,
        "deviations": deviations_of(kitchen, batch, computed),
        "reviews": reviews_of(batch),
        "proposals": [proposal_json(one) for one in proposals],
        "instruments": instruments(kitchen),
        "pots": _latest(kitchen, "pot"),
    }


def _gone(kept: Kept) -> Json:
    return _VIEWS[kept.kind](kept)


def _stove_item(kitchen: Kitchen, gatherer: Gatherer, batch: Batch, live: Live) -> Json:
    """Return one card's objects; what can't be computed of a batch leaves its readings shown."""
    item: Json = {
        "batch": _whole(kitchen, batch),
        "curve": batch_curve(kitchen, gatherer, batch, STOVE_POINTS),
        "targets": [],
        "bands": [],
        "holds": [],
        "outlook": None,
        "proposals": [proposal_json(one) for one in standings(batch)],
        "offers": [offer_json(one) for one in offers_of(kitchen, batch)],
        "trouble": "",
    }
    try:
        computed = live.holds.of(kitchen, batch)
        item |= {
            "targets": batch_targets(batch),
            "bands": batch_bands(batch, computed),
            "holds": computed["holds"],
            "outlook": live.outlooks.of(kitchen, batch.id),
        }
    except (ProcessError, RecordError, UnitError) as error:
        item["trouble"] = str(error)
    return item


def _whole(kitchen: Kitchen, batch: Batch) -> Json:
    length, head = kitchen.journal.chains.head(batch.id)
    return views.batch(
        batch, cautions=cautions_of(kitchen, batch), chain={"length": length, "head": head}
    )


def batch_curve(
    kitchen: Kitchen, gatherer: Gatherer, batch: Batch, points: int = RECORD_POINTS
) -> Json | None:
    """Return the curve of the probe that tells now, else that of the milk."""
    binding = _telling(batch, kitchen.now_ms())
    if binding is not None:
        from_ms, to_ms = gatherer.window(batch, binding)
        stretch = kitchen.readings.stretch(binding.series, from_ms, to_ms)
        if len(stretch.time_ms):
            return curve_json(stretch, gatherer.corrections, points=points)
    placed = gatherer.curve(batch, "milk")
    if not isinstance(placed, PlacedCurve):
        return None
    times_s = placed.curve.time_s
    from_ms, to_ms = round(float(times_s[0]) * 1000), round(float(times_s[-1]) * 1000) + 1
    stretch = kitchen.readings.stretch(placed.series, from_ms, to_ms)
    return curve_json(stretch, gatherer.corrections, points=points)


def _telling(batch: Batch, now_ms: int) -> Binding | None:
    for place in _PROBE_PLACES:
        for binding in reversed(batch.bindings):
            if binding.place == place and (binding.to_ms is None or binding.to_ms > now_ms):
                return binding
    return None


def batch_targets(batch: Batch) -> list[Json]:
    """Return the targets of a batch."""
    return [asdict(target) for target in targets_of(batch.recipe, batch.body.get("target"))]


def batch_bands(batch: Batch, computed: Json) -> list[Json]:
    """Return where each hold that has begun is to be drawn [degC]."""
    boiling_degc = float(computed["boiling_point"]["value"])
    specs = holds_of(batch.recipe)
    bands = []
    for spec, hold in zip(specs, computed["holds"], strict=True):
        start = hold.get("entered_at") or hold.get("started_at")
        if start is None:
            continue
        bands.append(
            {
                "hold": spec.name,
                "verdict": hold["verdict"],
                "low": _low(spec, boiling_degc),
                "high": spec.high_degc,
                "from": start,
                "to": hold.get("ended_at") or computed["computed_at"],
            }
        )
    return bands


def _low(spec: HoldSpec, boiling_degc: float) -> float | None:
    if spec.below_boiling_k is not None:
        return boiling_degc - spec.below_boiling_k
    return spec.low_degc


def _latest(kitchen: Kitchen, kind: str) -> list[Json]:
    return [views.listed(entry) for entry in kitchen.journal.latest_by(kind, "name").values()]


def _recipes(kitchen: Kitchen) -> list[Json]:
    latest = kitchen.journal.latest_by("recipe", "recipe_id")
    return [
        {"id": key, "name": entry.body["name"], "version": entry.body["version"]}
        for key, entry in latest.items()
    ]


def _ingredients(kitchen: Kitchen) -> list[Json]:
    names = [one["name"] for one in known_ingredients()]
    own = [name for name in kitchen.journal.latest_by("ingredient", "name") if name not in names]
    return [{"name": name} for name in (*names, *own)]
