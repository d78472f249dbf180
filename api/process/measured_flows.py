# SPDX-License-Identifier: MIT
"""Everything a mass balance knows beforehand, weighed or assumed, in one vector.

Pure: no I/O; numpy and what is pure only.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from api.process.assumed_flows import (
    ResiduePrior,
    assumed_evaporation,
    assumed_residues,
    inflow_references,
)
from api.process.curves import Floats
from api.process.quantities import Quantity
from api.process.streams import EVAPORATION, STREAMS, Node, Process
from api.process.weighings import WeighedStreams, Weighing, combine_weighings
from collector.errors import ProcessError

RESIDUE = "residue of "


@dataclass(frozen=True, slots=True)
class MeasuredFlows:
    """Weighed and assumed flows.

    Attributes:
        names: Weighed streams, evaporation, and a residue for each node.
        mass_kg: Their masses [kg], shape (n,).
        covariance_kg2: Their covariance [kg2], shape (n, n).
        weighed: The weighed streams alone; they come first in `names`.
        added: Flows that were not weighed, by name [kg].
        evaporation_is_measured: By a weighing, a scale or a heat balance; false if assumed.
        notes: What was assumed, left out or contradictory, a sentence each.
    """

    names: tuple[str, ...]
    mass_kg: Floats
    covariance_kg2: Floats
    weighed: WeighedStreams
    added: Mapping[str, Quantity]
    evaporation_is_measured: bool
    notes: tuple[str, ...]

    @property
    def streams(self) -> tuple[str, ...]:
        """The names without the residues."""
        return tuple(name for name in self.names if not name.startswith(RESIDUE))

    @property
    def origins(self) -> dict[str, tuple[str, ...]]:
        """The weighings or assumptions behind each flow, by name."""
        origins = {name: quantity.sources for name, quantity in self.added.items()}
        for name, ids in zip(self.weighed.names, self.weighed.ids, strict=True):
            origins[name] = tuple(f"weighing {weighing}" for weighing in ids)
        return origins


def measured_flows(
    process: Process,
    nodes: Sequence[Node],
    weighings: Sequence[Weighing],
    evaporation: Quantity | None,
    residues: Mapping[str, ResiduePrior],
) -> MeasuredFlows:
    """Return what is known before reconciliation.

    Args:
        process: The steps and the excluded streams.
        nodes: Its nodes.
        weighings: All weighings of the batch in the order they were made.
        evaporation: From a scale or the heat balance [kg]; None if nobody measured it.
        residues: What stays behind, by name of node, where earlier batches tell.

    Returns:
        Masses [kg] and covariance [kg2].

    Raises:
        ProcessError: A weighing names an unknown stream, repeats nothing, or shares its id; an
            evaporation is not a mass with an uncertainty above 0.

    Source:
        Definition.
    """
    kept, notes = _kept(process, weighings)
    weighed = combine_weighings(kept)
    notes += weighed.disagreements
    weighed_kg = dict(zip(weighed.names, weighed.mass_kg.tolist(), strict=True))
    inflow_kg, known_kg = inflow_references(nodes, weighed_kg)
    added: dict[str, Quantity] = {}
    is_measured = EVAPORATION in weighed.names
    if EVAPORATION in process.zero_streams:
        if evaporation is not None:
            notes += ("Evaporation is left out: the process heats nothing.",)
    elif not is_measured:
        is_measured = evaporation is not None
        chosen = evaporation or assumed_evaporation(nodes, inflow_kg, known_kg)
        if chosen is not None:
            added[EVAPORATION] = _checked(chosen)
            if not is_measured:
                notes += (
                    f"Evaporation was not measured: it is taken as 0 kg with a standard "
                    f"uncertainty of {1000 * chosen.u:.0f} g, 1 % of what went on the heat.",
                )
    for node, quantity in assumed_residues(nodes, inflow_kg, residues).items():
        added[RESIDUE + node] = quantity
    u_kg = np.concatenate([np.zeros(len(weighed.names)), [q.u for q in added.values()]])
    covariance = np.diag(u_kg**2)
    covariance[: len(weighed.names), : len(weighed.names)] = weighed.covariance_kg2
    return MeasuredFlows(
        names=weighed.names + tuple(added),
        mass_kg=np.concatenate([weighed.mass_kg, [q.value for q in added.values()]]),
        covariance_kg2=covariance,
        weighed=weighed,
        added=added,
        evaporation_is_measured=is_measured,
        notes=notes,
    )


def _kept(
    process: Process, weighings: Sequence[Weighing]
) -> tuple[list[Weighing], tuple[str, ...]]:
    zero = process.zero_streams
    for weighing in weighings:
        if weighing.stream not in STREAMS:
            raise ProcessError(
                f"There is no stream {weighing.stream!r}.",
                where=f"weighing {weighing.id}",
                do=f"Use one of {', '.join(STREAMS)}.",
            )
    notes = tuple(
        f"The weighing of {w.stream} ({w.mass_kg:.3f} kg) is left out: the batch's recipe has no "
        f"{w.stream}. Mend the recipe's steps or withdraw the weighing."
        for w in weighings
        if w.stream in zero and w.mass_kg > 0.0
    )
    return [w for w in weighings if w.stream not in zero], notes


def _checked(evaporation: Quantity) -> Quantity:
    sound = math.isfinite(evaporation.value) and math.isfinite(evaporation.u) and evaporation.u > 0
    if evaporation.unit != "kg" or not sound:
        raise ProcessError(
            f"An evaporation of {evaporation.value:g} {evaporation.unit} with u "
            f"{evaporation.u:g} can't be used.",
            where="mass balance",
            do="Give kg and a standard uncertainty above 0.",
        )
    return evaporation
