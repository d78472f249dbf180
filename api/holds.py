# SPDX-License-Identifier: MIT
"""The holds and targets of a frozen recipe, from JSON into the calculations' own form."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from api.process.hold_spec import Basis, HoldSpec
from collector.units import difference_to_kelvin, to_canonical


@dataclass(frozen=True, slots=True)
class Target:
    """A milk temperature at which to act.

    Attributes:
        key: What tells it from other targets of the batch.
        kind: The event that it is for: "addition", or "" for the batch's own without a recipe.
        value_degc: The temperature [degC].
        approach: "rising", "falling", "either", or None if it was not said.
        tolerance_k: How far off is still right [K].
        after: Names of the holds that must be met before it is armed.
    """

    key: str
    kind: str
    value_degc: float
    approach: str | None
    tolerance_k: float
    after: tuple[str, ...] = ()


def hold_spec(said: Mapping[str, Any]) -> HoldSpec:
    """Return a hold as the calculations take it.

    Args:
        said: As in a recipe: name, low, high or below_boiling, least, longest, starts, ends …

    Raises:
        UnitError: A unit is of the wrong kind.
        ProcessError: The band or the times make no sense.
    """

    def temperature(key: str) -> float | None:
        found = said.get(key)
        return to_canonical(found["value"], found["unit"], "temperature") if found else None

    def duration(key: str) -> float | None:
        found = said.get(key)
        return to_canonical(found["value"], found["unit"], "duration") if found else None

    below = said.get("below_boiling")
    return HoldSpec(
        name=said["name"],
        least_s=duration("least") or 0.0,
        low_degc=temperature("low"),
        high_degc=temperature("high"),
        below_boiling_k=difference_to_kelvin(below["value"], below["unit"]) if below else None,
        longest_s=duration("longest"),
        start=said.get("starts") or "band",
        end=said.get("ends"),
        unbroken=said.get("unbroken", True),
        basis=Basis(said.get("basis") or "quality"),
    )


def holds_of(recipe: Mapping[str, Any] | None) -> list[HoldSpec]:
    """Return the holds of a frozen recipe, in its order."""
    return [hold_spec(step["hold"]) for step in _steps(recipe) if step.get("hold")]


def targets_of(recipe: Mapping[str, Any] | None, own: Mapping[str, Any] | None) -> list[Target]:
    """Return the targets of a batch: its own, else those of its recipe's steps.

    A boil or heat hold before a step's target means that the target is reached falling, and is
    armed only when that hold is met.

    Args:
        recipe: The frozen recipe, if there is one.
        own: The batch's own target, which takes the place of the recipe's for the addition.
    """
    found: list[Target] = []
    before: list[str] = []
    for number, step in enumerate(_steps(recipe)):
        target = step.get("target")
        if step["kind"] == "addition" and own:
            target = own
        if target:
            found.append(_target(f"step {number}", step["kind"], target, before))
        if step.get("hold") and step["kind"] in ("boil", "heat", "simmer"):
            before.append(step["hold"]["name"])
    if own and not any(target.kind == "addition" for target in found):
        found.append(_target("batch", "addition" if recipe else "", own, before))
    return found


def _target(key: str, kind: str, said: Mapping[str, Any], before: Sequence[str]) -> Target:
    approach = said.get("approach")
    if approach is None and before:
        approach = "falling"
    return Target(
        key=key,
        kind=kind,
        value_degc=to_canonical(said["value"], said["unit"], "temperature"),
        approach=approach,
        tolerance_k=difference_to_kelvin(said.get("tolerance") or 0.0, said["unit"]),
        after=tuple(before) if approach == "falling" else (),
    )


def _steps(recipe: Mapping[str, Any] | None) -> list[Mapping[str, Any]]:
    return list((recipe or {}).get("steps") or [])
