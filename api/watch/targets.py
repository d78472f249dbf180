# SPDX-License-Identifier: MIT
"""What the watch looks for in a batch: its targets, and what silences or arms them. Pure.

The holds that arm a target are those of the frozen recipe; a mark of what the target was for, or
of a later step, silences it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from api.holds import Target, targets_of
from api.records.batches import Batch

_AFTER_ADDITION = frozenset(
    {"addition", "cover", "set", "ladle", "press", "unmould", "chill", "end"}
)
# These are marked when they begin, and their target comes later: their own mark doesn't silence.
_BEGUN = frozenset({"soak", "heat", "simmer", "cover", "chill", "press"})
# These don't happen in the pot: no reading of the milk tells of them.
_ELSEWHERE = frozenset({"weigh", "soak", "press", "unmould", "chill", "end"})
_BOILING = frozenset({"boil", "simmer"})
_HEATING = _BOILING | {"heat"}
_UNITS = {"Cel": "degC", "°C": "degC", "C": "degC", "celsius": "degC"}
_UNITS |= {"°F": "degF", "F": "degF", "fahrenheit": "degF"}


@dataclass(frozen=True, slots=True)
class Watched:
    """One target of a batch, with what the watch needs to know around it.

    Attributes:
        target: As the recipe or the batch gives it.
        value: As it was said [unit].
        unit: "degC", "degF" or "K".
        silenced_by: Kinds of events after which it is no longer told.
        act_after: Names of the holds that must be met before anything is asked of the maker;
            None if nothing is to be asked, whatever happens.
        rising_acts: Whether a rising crossing may ask for it too.
    """

    target: Target
    value: float
    unit: str
    silenced_by: frozenset[str]
    act_after: tuple[str, ...] | None
    rising_acts: bool

    @property
    def said(self) -> str:
        """The temperature as the maker wrote it."""
        return f"{self.value:g} {self.unit}"

    def silenced(self, batch: Batch) -> bool:
        """Tell whether what it was for has been marked."""
        return any(event.body["kind"] in self.silenced_by for event in batch.events)


def watched_targets(batch: Batch) -> list[Watched]:
    """Return the targets of a batch that the milk's readings can reach.

    Args:
        batch: With its frozen recipe, if it has one.

    Raises:
        UnitError: A unit in it isn't one of temperature.
    """
    own: Mapping[str, Any] | None = batch.body.get("target")
    steps: Sequence[Mapping[str, Any]] = (batch.recipe or {}).get("steps") or []
    return [
        _watched(batch, target, own, steps)
        for target in targets_of(batch.recipe, own)
        if target.kind not in _ELSEWHERE
    ]


def target_cause(batch_id: str, watched: Watched, direction: str) -> str:
    """Return what tells one crossing of a target from all others.

    Args:
        batch_id: The batch.
        watched: The target.
        direction: "rising" or "falling".
    """
    return f"{batch_id}/{watched.target.key}/{watched.said}/{direction}"


def _watched(
    batch: Batch,
    target: Target,
    own: Mapping[str, Any] | None,
    steps: Sequence[Mapping[str, Any]],
) -> Watched:
    number = int(target.key.removeprefix("step ")) if target.key.startswith("step ") else None
    said = own if own and (number is None or target.kind == "addition") else None
    if said is None:
        assert number is not None
        said = steps[number]["target"]
    before = list(steps if number is None else steps[:number])
    holds = tuple(s["hold"]["name"] for s in before if s.get("hold") and s["kind"] in _HEATING)
    in_recipe = target.kind == "addition" and number is not None
    acts = in_recipe and not batch.body.get("self_set")
    boils_freely = not holds and any(step["kind"] in _BOILING for step in before)
    return Watched(
        target=target,
        value=float(said["value"]),
        unit=_UNITS.get(said["unit"], said["unit"]),
        silenced_by=_silencers(target, steps, number),
        act_after=holds if acts else None,
        rising_acts=target.approach is not None or not boils_freely,
    )


def _silencers(
    target: Target, steps: Sequence[Mapping[str, Any]], number: int | None
) -> frozenset[str]:
    if number is None:
        return _AFTER_ADDITION
    later = {step["kind"] for step in steps[number + 1 :]} - {
        step["kind"] for step in steps[: number + 1]
    }
    own = set() if target.kind in _BEGUN else {target.kind}
    always = {"end"} if target.kind != "addition" else set(_AFTER_ADDITION)
    return frozenset((later | own | always) - {"note", "weigh"})
