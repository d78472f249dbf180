# SPDX-License-Identifier: MIT
"""The streams of a batch and the nodes that tie them, in the recipe's own order.

Pure: no I/O; imports only the ground.
"""

from __future__ import annotations

import enum
from collections.abc import Collection
from dataclasses import dataclass

from collector.errors import ProcessError

# The line that runs from the dry ingredient to the block, and the step between each two.
_LINE = ("dry", "soaked", "mash", "raw_milk", "milk", "curd", "block")
EVAPORATION = "evaporation"
STREAMS = (
    "dry", "soak_water", "soaked", "drained", "water", "mash", "pulp", "raw_milk", "starch",
    "milk", "coagulant", "coagulant_water", "curd", "whey", EVAPORATION, "block", "press_whey",
)  # fmt: skip


class Step(enum.StrEnum):
    """What is done to the main stream; `heat` only adds evaporation to the step after it."""

    SOAK = "soak"
    GRIND = "grind"
    STRAIN = "strain"
    SETTLE = "settle"
    HEAT = "heat"
    SET = "set"
    PRESS = "press"


_CHAIN = (Step.SOAK, Step.GRIND, Step.STRAIN, Step.SETTLE, Step.SET, Step.PRESS)
USUAL_STEPS = (*_CHAIN[:4], Step.HEAT, *_CHAIN[4:])
_SIDE_IN: dict[Step, tuple[str, ...]] = {
    Step.SOAK: ("soak_water",),
    Step.GRIND: ("water",),
    Step.SET: ("coagulant", "coagulant_water"),
}
_SIDE_OUT: dict[Step, tuple[str, ...]] = {
    Step.SOAK: ("drained",),
    Step.STRAIN: ("pulp",),
    Step.SETTLE: ("starch",),
    Step.SET: ("whey",),
    Step.PRESS: ("press_whey",),
}


@dataclass(frozen=True, slots=True)
class Node:
    """A place where mass is conserved.

    Attributes:
        name: "strain", "heat and set" …; for a step that is left out "raw_milk is milk".
        inflows: Streams that enter.
        outflows: Streams that leave.
        is_step: Something is done here and something may stay behind; false for a bare equality.
        heated: Water may boil off here.
    """

    name: str
    inflows: tuple[str, ...]
    outflows: tuple[str, ...]
    is_step: bool = True
    heated: bool = False


@dataclass(frozen=True, slots=True)
class Process:
    """Which steps a batch goes through, and which streams its recipe rules out.

    Attributes:
        steps: In the recipe's order; a step that is missing changes nothing: without `settle`,
            `milk` is `raw_milk`. `heat` stands before the step it belongs to: before `strain`
            where the mash is cooked, and may occur twice.
        excluded: Streams that are exactly zero, such as `coagulant` of a self-set curd.
    """

    steps: tuple[Step, ...] = USUAL_STEPS
    excluded: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        object.__setattr__(self, "steps", _known_steps(self.steps))
        main = [step for step in self.steps if step is not Step.HEAT]
        if main != [step for step in _CHAIN if step in main]:
            raise ProcessError(
                f"The steps {', '.join(self.steps)} are out of order, or one occurs twice.",
                where="recipe",
                do=f"Keep the order {', '.join(_CHAIN)}; only heat may stand anywhere, or twice.",
            )
        for step, following in zip(self.steps, (*self.steps[1:], None), strict=False):
            if step is Step.HEAT and following in (None, Step.HEAT, Step.PRESS):
                raise ProcessError(
                    "Heat stands before nothing that it could belong to.",
                    where="recipe",
                    do="Put it before strain where the mash is cooked, or before set.",
                )
        side = [name for name in STREAMS if name not in _LINE]
        unknown = sorted(self.excluded - set(side))
        if unknown:
            raise ProcessError(
                f"{', '.join(unknown)} can't be ruled out by a recipe.",
                where="recipe",
                do=f"Rule out only {', '.join(side)}.",
            )

    @property
    def zero_streams(self) -> frozenset[str]:
        """The streams that are exactly zero, by the recipe or for want of their step."""
        zero = set(self.excluded)
        for step in _CHAIN:
            if step not in self.steps:
                zero.update(_SIDE_IN.get(step, ()), _SIDE_OUT.get(step, ()))
        if Step.HEAT not in self.steps:
            zero.add(EVAPORATION)
        return frozenset(zero)


def _known_steps(steps: tuple[str, ...]) -> tuple[Step, ...]:
    try:
        return tuple(Step(step) for step in steps)
    except ValueError as error:
        raise ProcessError(
            f"A step of the recipe is not known: {error}.",
            where="recipe",
            do=f"Use {', '.join(Step)}.",
        ) from error


def nodes_of(process: Process) -> tuple[Node, ...]:
    """Return the nodes of a process in its order, without the streams that are exactly zero.

    A step that is left out becomes a node that only says that two streams are the same. Where
    the pot is heated twice, each time has a share of `evaporation` that nobody can weigh by
    itself, and one more node adds the shares up.

    Args:
        process: The steps and the excluded streams.

    Returns:
        The nodes; each stream occurs at most once as an inflow and once as an outflow, with a
        coefficient of one [-].

    Source:
        Definition of the process; mass is conserved at each node.
    """
    zero = process.zero_streams
    heated = {
        after
        for step, after in zip(process.steps, process.steps[1:], strict=False)
        if step is Step.HEAT
    }
    shares = {step: EVAPORATION if len(heated) == 1 else f"vapour of {step}" for step in heated}
    nodes = []
    for step, into, out in zip(_CHAIN, _LINE, _LINE[1:], strict=False):
        if step not in process.steps:
            nodes.append(Node(f"{out} is {into}", (into,), (out,), is_step=False))
            continue
        inflows = (into, *_SIDE_IN.get(step, ()))
        outflows = (out, *_SIDE_OUT.get(step, ()))
        if step in heated and EVAPORATION not in zero:
            outflows += (shares[step],)
        nodes.append(
            Node(
                name=f"heat and {step}" if step in heated else step.value,
                inflows=tuple(name for name in inflows if name not in zero),
                outflows=tuple(name for name in outflows if name not in zero),
                heated=step in heated,
            )
        )
    if len(heated) > 1 and EVAPORATION not in zero:
        parts = tuple(shares[step] for step in _CHAIN if step in heated)
        nodes.append(Node("vapour", parts, (EVAPORATION,), is_step=False))
    return tuple(nodes)


def process_without_recipe(
    weighed: Collection[str], events: Collection[str], *, self_set: bool = False
) -> Process:
    """Return the steps of a batch that has no recipe, as far as its records tell.

    Soaking is assumed, since its water is then unknown and nothing wrong is claimed. Settling is
    assumed only where it was marked, its starch was weighed, or the milk was weighed both before
    and after it.

    Args:
        weighed: Streams with a weighing.
        events: Kinds of the events marked.
        self_set: The maker said that no coagulant goes in; never inferred.

    Returns:
        The process; no numbers in it [-].

    Source:
        Common practice.
    """
    settled = "settle" in events or "starch" in weighed or {"raw_milk", "milk"} <= set(weighed)
    steps = tuple(step for step in USUAL_STEPS if settled or step is not Step.SETTLE)
    excluded = frozenset({"coagulant", "coagulant_water"}) if self_set else frozenset[str]()
    return Process(steps, excluded)
