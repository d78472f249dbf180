# SPDX-License-Identifier: MIT
"""What nobody weighs but every balance needs: evaporation and what sticks to the vessels.

Both enter a balance as pseudo-measurements, with a value and an uncertainty that are shown as
such. Pure: no I/O; imports only what is pure.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from api.process.quantities import Quantity
from api.process.streams import EVAPORATION, Node
from collector.errors import ProcessError

EVAPORATION_U_FRACTION = 0.01
RESIDUE_MEANING = (
    "Drips and films that stay behind are a loss and can't be less than nothing; a reconciled "
    "value below zero says that more was found than had been put in."
)


@dataclass(frozen=True, slots=True)
class ResiduePrior:
    """What is expected to stay behind at a node, as a share of what flows in.

    Attributes:
        mean_fraction: Expected loss, at least 0 [-].
        u_fraction: Its standard uncertainty; 0 together with a mean of 0 leaves it out [-].
        source: Where it comes from.
    """

    mean_fraction: float = 0.001
    u_fraction: float = 0.002
    source: str = "assumed: 0.1 % of the inflow stays behind, u 0.2 % (common practice)"

    def __post_init__(self) -> None:
        sound = all(math.isfinite(x) and x >= 0 for x in (self.mean_fraction, self.u_fraction))
        if not sound or (self.mean_fraction > 0.0 and self.u_fraction == 0.0):
            raise ProcessError(
                f"A residue of {self.mean_fraction:g} with u {self.u_fraction:g} makes no sense.",
                where="mass balance",
                do="Give two fractions of at least 0, and an uncertainty above 0 to any residue.",
            )

    @property
    def is_left_out(self) -> bool:
        """No residue is considered at all."""
        return self.mean_fraction == 0.0 and self.u_fraction == 0.0


USUAL_RESIDUE = ResiduePrior()
NO_RESIDUE = ResiduePrior(0.0, 0.0, "no residue is considered")


def inflow_references(
    nodes: Sequence[Node], weighed_kg: Mapping[str, float]
) -> tuple[dict[str, float], dict[str, float]]:
    """Return about how much flows into each node, to scale what is assumed there.

    Streams that a single node determines are computed first. Then a node's inflow is the sum of
    its inflows, else of its outflows, else the larger of what is known of either, else the
    largest weighing of the batch.

    Args:
        nodes: The nodes of the process.
        weighed_kg: Weighed streams [kg].

    Returns:
        Inflow by name of node [kg], and the streams that are roughly known [kg].

    Source:
        Conservation of mass at each node.
    """
    known = dict(weighed_kg)
    while _solve_one(nodes, known):
        pass
    inflow_kg = {}
    for node in nodes:
        entering = [known[name] for name in node.inflows if name in known]
        leaving = [known[name] for name in node.outflows if name in known]
        if len(entering) == len(node.inflows):
            inflow_kg[node.name] = sum(entering)
        elif len(leaving) == len(node.outflows):
            inflow_kg[node.name] = sum(leaving)
        elif entering or leaving:
            inflow_kg[node.name] = max(sum(entering), sum(leaving))
        else:
            inflow_kg[node.name] = max(weighed_kg.values(), default=0.0)
    return inflow_kg, known


def _solve_one(nodes: Sequence[Node], known: dict[str, float]) -> bool:
    """Compute one stream that a node determines, evaporation taken as nothing; tell if it could."""
    for node in nodes:
        sides = [(name, 1.0) for name in node.inflows] + [(name, -1.0) for name in node.outflows]
        missing = [
            side
            for side in sides
            if side[0] not in known and not (node.heated and _is_vapour(side[0]))
        ]
        if len(missing) == 1:
            name, sign = missing[0]
            rest = sum(s * known[stream] for stream, s in sides if stream in known)
            known[name] = max(-sign * rest, 0.0)
            return True
    return False


def _is_vapour(stream: str) -> bool:
    return stream == EVAPORATION or stream.startswith("vapour")


def assumed_evaporation(
    nodes: Sequence[Node], inflow_kg: Mapping[str, float], known_kg: Mapping[str, float]
) -> Quantity | None:
    """Return the evaporation of a batch for which nobody measured it: none, give or take.

    Args:
        nodes: The nodes of the process.
        inflow_kg: Rough inflow of each node [kg].
        known_kg: Streams that are roughly known [kg].

    Returns:
        0 with a standard uncertainty of 1 % of what went on the heat [kg]; None if nothing is
        heated or nothing was weighed.

    Source:
        Common practice; a covered pot. A batch with a temperature record should use the heat
        balance, one with a scale under the pot its reading.
    """
    heated = [node for node in nodes if node.heated]
    loads_kg = [known_kg.get(node.inflows[0], inflow_kg[node.name]) for node in heated]
    on_heat_kg = max(loads_kg, default=0.0)
    if on_heat_kg <= 0.0:
        return None
    return Quantity(
        value=0.0,
        unit="kg",
        u=EVAPORATION_U_FRACTION * on_heat_kg * math.sqrt(len(heated)),
        method="assumed, not measured",
        sources=("assumed: evaporation 0 with u 1 % of what went on the heat",),
    )


def assumed_residues(
    nodes: Sequence[Node], inflow_kg: Mapping[str, float], priors: Mapping[str, ResiduePrior]
) -> dict[str, Quantity]:
    """Return what is expected to stay behind at each node where something is done.

    Args:
        nodes: The nodes of the process.
        inflow_kg: Rough inflow of each node [kg].
        priors: By name of node, from the maker's earlier batches; else the usual one.

    Returns:
        Expected loss with its standard uncertainty by name of node [kg].

    Source:
        Common practice: 0.1 % of the inflow, u 0.2 %.
    """
    residues = {}
    for node in nodes:
        prior = priors.get(node.name, USUAL_RESIDUE)
        inflow = inflow_kg[node.name]
        if node.is_step and inflow > 0.0 and not prior.is_left_out:
            residues[node.name] = Quantity(
                value=prior.mean_fraction * inflow,
                unit="kg",
                u=prior.u_fraction * inflow,
                method="assumed, not measured",
                sources=(prior.source,),
            )
    return residues
