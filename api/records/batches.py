# SPDX-License-Identifier: MIT
"""What the entries of one batch add up to. Pure folding: no I/O.

Later entries may replace or withdraw earlier ones; what they replaced stays readable.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from api.records.chain import Entry
from api.times import parse_ms
from collector.errors import UnknownRecordError

_RECORDS = frozenset(
    {
        "event",
        "weighing",
        "binding",
        "observation",
        "revision",
        "proposal",
        "dismissal",
        "deviation",
        "review",
    }
)
BATCH_KINDS = (*sorted(_RECORDS), "batch", "withdrawal")
EARLIEST_BEFORE_START_MS = 72 * 3600 * 1000
_RUNNING = {
    "grind", "strain", "settle", "heat", "simmer", "boil", "addition", "cover", "set", "ladle",
    "press", "unmould",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Kept:
    """One record of a batch as it stands.

    Attributes:
        id: Its id.
        number: Its running number.
        kind: The entry's kind: "event", "weighing" …
        at_ms: When it happened [ms since 1970 UTC].
        recorded_at: When it was recorded, RFC 3339.
        who: Who recorded it.
        body: The record itself.
        gone: "" if it stands; else "replaced by …" or "withdrawn: …".
    """

    id: str
    number: int
    kind: str
    at_ms: int
    recorded_at: str
    who: str
    body: Mapping[str, Any]
    gone: str = ""


@dataclass(frozen=True, slots=True)
class Binding:
    """A series at a place of the batch for a time.

    Attributes:
        id: The record that made it.
        series: The series' name.
        place: "milk", "under_pot" …
        from_ms: Its beginning, None if none was said [ms since 1970 UTC].
        to_ms: Its end, None while it lasts.
    """

    id: str
    series: str
    place: str
    from_ms: int | None
    to_ms: int | None


@dataclass(frozen=True, slots=True)
class Batch:
    """One batch as its entries tell it.

    Attributes:
        id: Its id.
        name: What the maker calls it.
        state: "planned", "soaking", "running", "chilling" or "closed".
        started_ms: Its start, moved back by an earlier event [ms since 1970 UTC].
        said_start_ms: The start that was said when it was made.
        body: What was said when it was made, with the frozen recipe.
        events: Standing events, by time.
        weighings: Standing weighings, in the order in which they were recorded.
        observations: Standing observations, by time.
        bindings: Bindings, by the order in which they were made.
        gone: Replaced and withdrawn records.
        revisions: Revisions of the analysis that were issued.
        proposals: Marks that the detector suggested, in the order in which they were recorded.
        dismissals: Standing records that something suggested was not so.
        deviations: What went otherwise than planned and what was done, as it was written down.
        reviews: Who looked through the record, and when.
        last_number: The highest running number of its entries.
    """

    id: str
    name: str
    state: str
    started_ms: int
    said_start_ms: int
    body: Mapping[str, Any]
    events: Sequence[Kept] = ()
    weighings: Sequence[Kept] = ()
    observations: Sequence[Kept] = ()
    bindings: Sequence[Binding] = ()
    gone: Sequence[Kept] = ()
    revisions: Sequence[Kept] = field(default=())
    proposals: Sequence[Kept] = field(default=())
    dismissals: Sequence[Kept] = field(default=())
    deviations: Sequence[Kept] = field(default=())
    reviews: Sequence[Kept] = field(default=())
    last_number: int = 0

    @property
    def open(self) -> bool:
        """Whether it is still going on."""
        return self.state != "closed"

    @property
    def recipe(self) -> Mapping[str, Any] | None:
        """The frozen recipe, None if there is none."""
        recipe: Mapping[str, Any] | None = self.body.get("recipe")
        return recipe

    def events_of(self, kind: str) -> list[Kept]:
        """Return the standing events of a kind, by time."""
        return [event for event in self.events if event.body["kind"] == kind]

    def first_ms(self, kind: str) -> int | None:
        """Return the time of the first standing event of a kind, None if there is none."""
        found = self.events_of(kind)
        return found[0].at_ms if found else None

    @property
    def ended_ms(self) -> int | None:
        """The time of its end, None while it is open."""
        found = self.events_of("end")
        return found[-1].at_ms if found else None


def fold(entries: Iterable[Entry]) -> Batch:
    """Return the batch that its entries tell.

    Args:
        entries: All entries of one chain, in order.

    Raises:
        UnknownRecordError: There is no batch in them.
    """
    ordered = list(entries)
    made = next((entry for entry in ordered if entry.kind == "batch"), None)
    if made is None:
        raise UnknownRecordError("There is no such batch.", do="Look at GET /v1/batches.")
    gone = _gone(ordered)
    kept = [_kept(entry, gone.get(entry.id, "")) for entry in ordered if entry.kind in _RECORDS]
    standing = [record for record in kept if not record.gone]
    events = sorted((r for r in standing if r.kind == "event"), key=lambda r: (r.at_ms, r.number))
    said_start_ms = parse_ms(made.body["started_at"])
    started_ms = min([said_start_ms, *(event.at_ms for event in events)])
    return Batch(
        id=made.chain,
        name=made.body["name"],
        state=_state(events),
        started_ms=started_ms,
        said_start_ms=said_start_ms,
        body=made.body,
        events=tuple(events),
        weighings=tuple(r for r in standing if r.kind == "weighing"),
        observations=tuple(
            sorted((r for r in standing if r.kind == "observation"), key=lambda r: r.at_ms)
        ),
        bindings=_bindings(made, standing, events, gone),
        gone=tuple(record for record in kept if record.gone),
        revisions=tuple(r for r in standing if r.kind == "revision"),
        proposals=tuple(r for r in standing if r.kind == "proposal"),
        dismissals=tuple(r for r in standing if r.kind == "dismissal"),
        deviations=tuple(r for r in standing if r.kind == "deviation"),
        reviews=tuple(r for r in standing if r.kind == "review"),
        last_number=max(entry.number for entry in ordered),
    )


def _kept(entry: Entry, gone: str) -> Kept:
    return Kept(
        id=entry.id,
        number=entry.number,
        kind=entry.kind,
        at_ms=parse_ms(entry.body.get("at") or entry.at),
        recorded_at=entry.at,
        who=entry.who,
        body=entry.body,
        gone=gone,
    )


def _gone(entries: Sequence[Entry]) -> dict[str, str]:
    """Say which records no longer stand. A withdrawn withdrawal counts for nothing."""
    undone = {
        entry.body["withdraws"]: f"withdrawn: {entry.body.get('why') or 'no reason given'}"
        for entry in entries
        if entry.kind == "withdrawal"
    }
    gone: dict[str, str] = {}
    for entry in entries:
        if entry.id in undone:
            continue
        if entry.kind == "withdrawal":
            gone[entry.body["withdraws"]] = undone[entry.body["withdraws"]]
        elif replaced := entry.body.get("replaces"):
            gone[replaced] = f"replaced by {entry.id}"
    return gone


def _state(events: Sequence[Kept]) -> str:
    kinds = {event.body["kind"] for event in events}
    if "end" in kinds:
        return "closed"
    if "chill" in kinds:
        return "chilling"
    if kinds & _RUNNING:
        return "running"
    return "soaking" if "soak" in kinds else "planned"


def own_bindings(batch_id: str, body: Mapping[str, Any]) -> dict[str, tuple[str, str]]:
    """Return series and place of the bindings that a batch was made with, by their ids."""
    places = {"thermometer": "milk", "scale": "under_pot"}
    return {
        f"{batch_id}:{name}": (body[name], place)
        for name, place in places.items()
        if body.get(name)
    }


def _bindings(
    made: Entry, standing: Sequence[Kept], events: Sequence[Kept], gone: Mapping[str, str]
) -> tuple[Binding, ...]:
    """The batch's own thermometer and scale, then those bound by hand.

    The own ones stand unless they were withdrawn, and end at ladling or at the end of the batch; a
    later binding of the same series ends an earlier one.
    """
    ends = [event.at_ms for event in events if event.body["kind"] in ("ladle", "end")]
    first_end = min(ends) if ends else None
    found: list[Binding] = []
    for binding_id, (series, place) in own_bindings(made.id, made.body).items():
        if binding_id not in gone:
            found.append(Binding(binding_id, series, place, None, first_end))
    last_end = max((e.at_ms for e in events if e.body["kind"] == "end"), default=None)
    for record in (r for r in standing if r.kind == "binding"):
        bound = bound_by(record, last_end)
        assert bound.from_ms is not None
        found = [_cut(earlier, bound.series, bound.from_ms) for earlier in found]
        found.append(bound)
    return tuple(found)


def bound_by(record: Kept, last_end_ms: int | None = None) -> Binding:
    """Return the binding that a record made, before a later one may have ended it.

    Args:
        record: Of the kind "binding".
        last_end_ms: The end of its batch, None while it is open [ms since 1970 UTC].
    """
    body = record.body
    from_ms = parse_ms(body["from"]) if body.get("from") else record.at_ms
    to_ms = parse_ms(body["to"]) if body.get("to") else last_end_ms
    return Binding(record.id, body["series"], body["place"], from_ms, to_ms)


def _cut(binding: Binding, series: str, at_ms: int) -> Binding:
    if binding.series != series or (binding.to_ms is not None and binding.to_ms <= at_ms):
        return binding
    if binding.from_ms is not None and binding.from_ms >= at_ms:
        return binding
    return Binding(binding.id, binding.series, binding.place, binding.from_ms, at_ms)
