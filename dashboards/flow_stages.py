# SPDX-License-Identifier: MIT
"""The streams of a balance, ordered by the steps of the process, as the picture takes them.

Pure presentation: standard library only.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

# Step, what comes along the line, what else comes in, what goes on, what else leaves.
_STEPS: tuple[tuple[str, str, tuple[str, ...], str, tuple[str, ...]], ...] = (
    ("soak", "dry", ("soak_water",), "soaked", ("drained",)),
    ("grind", "soaked", ("water",), "mash", ()),
    ("strain", "mash", (), "raw_milk", ("pulp",)),
    ("settle", "raw_milk", (), "milk", ("starch",)),
    ("set", "milk", ("coagulant_water", "coagulant"), "curd", ("whey", "evaporation")),
    ("press", "curd", (), "block", ("press_whey",)),
)
_MAY_BE_LEFT_OUT = ("soak", "settle")


@dataclass(frozen=True, slots=True)
class Flow:
    """One stream.

    Attributes:
        name: In words.
        mass_kg: As it fits the balance, else as weighed; None if it isn't known [kg].
        weighed_kg: As weighed, None if nobody weighed it [kg].
        look: "weighed", "computed" or "suspect".
        absent: The process has no such stream.
    """

    name: str
    mass_kg: float | None
    weighed_kg: float | None
    look: str
    absent: bool = False

    @property
    def how(self) -> str:
        """How the mass is known, in words."""
        if self.look == "suspect":
            return "weighed, and suspect"
        return self.look


@dataclass(frozen=True, slots=True)
class Stage:
    """One step with its streams."""

    name: str
    main_in: Flow
    side_in: tuple[Flow, ...]
    main_out: Flow
    side_out: tuple[Flow, ...]


def suspects_of(balance: Mapping[str, Any]) -> frozenset[str]:
    """Return every stream that a suspect set of the balance's test names."""
    test = balance.get("test") or {}
    names = (name for suspect_set in test.get("suspects") or [] for name in names_in(suspect_set))
    return frozenset(names)


def names_in(suspect_set: object) -> Sequence[str]:
    """Return the streams of one suspect set, given as a list or as an object with one."""
    if isinstance(suspect_set, Mapping):
        return [str(name) for name in suspect_set.get("streams") or []]
    return [str(name) for name in suspect_set] if isinstance(suspect_set, list | tuple) else []


def flows_of(balance: Mapping[str, Any]) -> dict[str, Flow]:
    """Return the streams of a balance by name, absent ones included.

    Args:
        balance: The analysis' key of that name.
    """
    suspects = suspects_of(balance)
    return {
        str(stream["stream"]): _flow(stream, suspects) for stream in balance.get("streams") or []
    }


def _flow(stream: Mapping[str, Any], suspects: frozenset[str]) -> Flow:
    measured, reconciled = stream.get("measured") or {}, stream.get("reconciled") or {}
    weighed = measured.get("value")
    best = reconciled.get("value", weighed)
    name = str(stream["stream"])
    look = "computed" if weighed is None else "weighed"
    if name in suspects:
        look = "suspect"
    absent = measured.get("status") == "not applicable"
    return Flow(name.replace("_", " "), best, weighed, look, absent)


def stages_of(flows: Mapping[str, Flow]) -> list[Stage]:
    """Return the steps of a batch in order; a step that only passes its stream on is left out.

    Args:
        flows: Streams by name.
    """
    same = _same_streams(flows)
    stages = [
        Stage(
            name,
            _or_unknown(flows, same.get(main_in, main_in)),
            tuple(flows[side] for side in side_in if _there(flows, side)),
            _or_unknown(flows, same.get(main_out, main_out)),
            tuple(flows[side] for side in side_out if _there(flows, side)),
        )
        for name, main_in, side_in, main_out, side_out in _STEPS
        if not (main_in in same and main_out in same)
    ]
    return _from_first_known(stages)


def _same_streams(flows: Mapping[str, Flow]) -> dict[str, str]:
    """Return which name to use for the two streams of a step that is left out: the weighed one."""
    same: dict[str, str] = {}
    for name, main_in, side_in, main_out, side_out in _STEPS:
        if name in _MAY_BE_LEFT_OUT and not any(
            _there(flows, side) for side in (*side_in, *side_out)
        ):
            first = flows.get(main_in)
            use = main_in if first is not None and first.weighed_kg is not None else main_out
            same |= {main_in: use, main_out: use}
    return same


def _there(flows: Mapping[str, Flow], name: str) -> bool:
    return name in flows and not flows[name].absent


def _or_unknown(flows: Mapping[str, Flow], name: str) -> Flow:
    return flows.get(name) or Flow(name.replace("_", " "), None, None, "computed")


def _from_first_known(stages: list[Stage]) -> list[Stage]:
    """Leave out the first and the last steps in which no stream has a mass."""

    def known(stage: Stage) -> bool:
        flows = (*stage.side_in, stage.main_out, *stage.side_out)
        return any((flow.mass_kg or 0.0) > 0.0 for flow in flows)

    kept = [index for index, stage in enumerate(stages) if known(stage)]
    return stages[kept[0] : kept[-1] + 1] if kept else []
