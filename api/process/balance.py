# SPDX-License-Identifier: MIT
"""The mass balance of a batch: closure, reconciled streams, and which weighings could be wrong.

Pure: no I/O; numpy and what is pure only.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from api.process.assumed_flows import RESIDUE_MEANING, ResiduePrior
from api.process.closure import Closure, close, envelopes_of, merge
from api.process.curves import Floats
from api.process.gross_errors import nodal_statistics
from api.process.measured_flows import RESIDUE, MeasuredFlows, measured_flows
from api.process.quantities import Absence, NotShown, Quantity, Result
from api.process.reconciliation import Reconciliation, reconcile
from api.process.streams import EVAPORATION, STREAMS, Node, Process, nodes_of
from api.process.suspects import BalanceTest, consistency_test
from api.process.weighings import Weighing


@dataclass(frozen=True, slots=True)
class StreamBalance:
    """One stream as weighed and as reconciled.

    Attributes:
        stream: "mash", "pulp" …
        measured: As weighed [kg].
        reconciled: As it fits the balances, or computed from the other streams [kg].
        checked: Other weighings check this one.
    """

    stream: str
    measured: Result
    reconciled: Result
    checked: bool


@dataclass(frozen=True, slots=True)
class Residue:
    """What stays behind at a node: a loss that is assumed, not weighed.

    Attributes:
        node: Where.
        assumed: The pseudo-measurement [kg].
        reconciled: As it fits the balances [kg]; below 0 where more was found than went in.
        meaning: What it stands for, in words.
    """

    node: str
    assumed: Quantity
    reconciled: Quantity
    meaning: str = RESIDUE_MEANING


@dataclass(frozen=True, slots=True)
class Balance:
    """The mass balance of a batch.

    Attributes:
        streams: Every stream, in the order of the process.
        residues: What is assumed to stay behind, node by node.
        closure: Outputs over inputs over all nodes that can be judged, before reconciliation [-].
        unaccounted: Their inputs minus outputs [kg].
        nodes: The same for each node, or for nodes that must be taken together.
        test: Are the weighings consistent, and if not, which could be wrong.
        covariance_names: Streams and residues that the covariance belongs to.
        covariance_kg2: Covariance after reconciliation [kg2].
        notes: What was assumed, left out or contradictory, a sentence each.
    """

    streams: tuple[StreamBalance, ...]
    residues: tuple[Residue, ...]
    closure: Result
    unaccounted: Result
    nodes: tuple[Closure, ...]
    test: BalanceTest | NotShown
    covariance_names: tuple[str, ...]
    covariance_kg2: Floats
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _After:
    """Measured and computed flows after reconciliation, by name."""

    flows: MeasuredFlows
    names: tuple[str, ...]
    mass_kg: Floats
    covariance_kg2: Floats
    checked: frozenset[str]
    sources: tuple[str, ...]

    def quantity(self, name: str, method: str) -> Quantity | None:
        if name not in self.names:
            return None
        i = self.names.index(name)
        u = math.sqrt(max(float(self.covariance_kg2[i, i]), 0.0))
        return Quantity(float(self.mass_kg[i]), "kg", u, method, self.sources)


def mass_balance(
    process: Process,
    weighings: Sequence[Weighing],
    *,
    evaporation: Quantity | None = None,
    residues: Mapping[str, ResiduePrior] | None = None,
) -> Balance:
    """Return the mass balance of a batch.

    Streams that nobody weighed are computed where the others determine them, and nodes that
    share one are judged together. Without a measured evaporation none is assumed, with a standard
    uncertainty of 1 % of what went on the heat. At each node something may stay behind, assumed
    as a pseudo-measurement. Closure and unaccounted mass come from the weighings as they are.

    Args:
        process: The steps and the excluded streams.
        weighings: All weighings of the batch in the order they were made.
        evaporation: From a scale under the pot or the heat balance [kg]; a weighing of
            `evaporation` goes before it.
        residues: What stays behind, by name of node, where earlier batches tell.

    Returns:
        The balance [kg].

    Raises:
        ProcessError: A weighing names an unknown stream, repeats nothing, or shares its id; an
            evaporation is not a mass with an uncertainty above 0.

    Source:
        Narasimhan and Jordache 2000 (from memory); JCGM 100:2008, 5.2 (from memory).
    """
    nodes = nodes_of(process)
    flows = measured_flows(process, nodes, weighings, evaporation, residues or {})
    every = dict.fromkeys(s for node in nodes for s in (*node.inflows, *node.outflows))
    unknown = tuple(name for name in every if name not in flows.names)
    rows = _rows(nodes, (*flows.names, *unknown))
    n = len(flows.names)
    result = reconcile(flows.mass_kg, flows.covariance_kg2, rows[:, :n], rows[:, n:])
    after = _after(flows, result, unknown)
    streams = tuple(_stream(name, process, after) for name in STREAMS)
    closures, overall = _closures(nodes, flows, rows[:, :n])
    return Balance(
        streams=streams,
        residues=_residues(after),
        closure=overall.closure,
        unaccounted=overall.unaccounted,
        nodes=closures,
        test=consistency_test(result, flows.names, flows.weighed),
        covariance_names=after.names,
        covariance_kg2=after.covariance_kg2,
        notes=flows.notes + _negative(streams),
    )


def _rows(nodes: Sequence[Node], names: Sequence[str]) -> Floats:
    """Return the balance of each node: +1 for what enters, -1 for what leaves or stays."""
    column = {name: i for i, name in enumerate(names)}
    rows = np.zeros((len(nodes), len(names)))
    for i, node in enumerate(nodes):
        rows[i, [column[name] for name in node.inflows]] = 1.0
        rows[i, [column[name] for name in node.outflows]] = -1.0
        if RESIDUE + node.name in column:
            rows[i, column[RESIDUE + node.name]] = -1.0
    return rows


def _after(flows: MeasuredFlows, result: Reconciliation, unknown: tuple[str, ...]) -> _After:
    shown = np.concatenate([np.ones(len(flows.names), bool), result.projection.observable])
    kept = np.flatnonzero(shown)
    every = flows.names + unknown
    redundant = zip(flows.names, result.projection.redundant, strict=True)
    origins = flows.origins
    sources = tuple(dict.fromkeys(source for name in flows.names for source in origins[name]))
    return _After(
        flows=flows,
        names=tuple(every[i] for i in kept),
        mass_kg=np.concatenate([result.reconciled, result.unmeasured])[kept],
        covariance_kg2=result.joint_covariance[np.ix_(kept, kept)],
        checked=frozenset(name for name, is_redundant in redundant if is_redundant),
        sources=sources,
    )


def _stream(name: str, process: Process, after: _After) -> StreamBalance:
    if name in process.zero_streams:
        absent = NotShown(f"The process has no {name}.", Absence.NOT_APPLICABLE)
        zero = Quantity(0.0, "kg", 0.0, "exactly zero: the process has no such stream")
        return StreamBalance(name, absent, zero, checked=False)
    checked = name in after.checked
    is_known = name in after.flows.names
    method = "not checked by any other weighing" if is_known else "by difference"
    reconciled = after.quantity(name, "weighted least squares" if checked else method)
    missing = NotShown(f"Nobody weighed {name}, and the other streams don't determine it.")
    return StreamBalance(name, _measured(name, after.flows), reconciled or missing, checked)


def _measured(name: str, flows: MeasuredFlows) -> Result:
    if name in flows.weighed.names:
        i = flows.weighed.names.index(name)
        u = math.sqrt(float(flows.weighed.covariance_kg2[i, i]))
        return Quantity(float(flows.weighed.mass_kg[i]), "kg", u, "weighed", flows.origins[name])
    if name == EVAPORATION and flows.evaporation_is_measured:
        return flows.added[name]
    return NotShown(f"Nobody weighed {name}.")


def _closures(
    nodes: Sequence[Node], flows: MeasuredFlows, rows: Floats
) -> tuple[tuple[Closure, ...], Closure]:
    """Return closure by envelope, each with its nodal statistic, and that of all which close."""
    closures = []
    position = {node.name: i for i, node in enumerate(nodes)}
    for envelope in envelopes_of(nodes, flows.streams):
        one = close(envelope, flows.names, flows.mass_kg, flows.covariance_kg2, flows.origins)
        if isinstance(one.unaccounted, Quantity):
            summed = rows[[position[name] for name in envelope.nodes]].sum(axis=0, keepdims=True)
            z = nodal_statistics(summed, flows.mass_kg, flows.covariance_kg2)
            one = replace(one, z=float(z[0]))
        closures.append(one)
    judged = {
        name
        for one in closures
        if isinstance(one.unaccounted, Quantity)
        for name in one.envelope.nodes
    }
    whole = merge([node for node in nodes if node.name in judged], flows.streams)
    if not judged:
        nearest = min((one.envelope for one in closures), key=lambda e: len(e.missing))
        why = NotShown(
            f"No step has all its streams weighed; the nearest is {nearest.name}, where nobody "
            f"weighed {', '.join(nearest.missing)}."
        )
        return tuple(closures), Closure(whole, why, why)
    overall = close(whole, flows.names, flows.mass_kg, flows.covariance_kg2, flows.origins)
    return tuple(closures), overall


def _residues(after: _After) -> tuple[Residue, ...]:
    found = []
    for name, assumed in after.flows.added.items():
        reconciled = after.quantity(name, "weighted least squares")
        if name.startswith(RESIDUE) and reconciled is not None:
            found.append(Residue(name.removeprefix(RESIDUE), assumed, reconciled))
    return tuple(found)


def _negative(streams: Sequence[StreamBalance]) -> tuple[str, ...]:
    return tuple(
        f"{s.stream} comes out at {s.reconciled.value:.3f} kg, below zero by more than twice its "
        f"uncertainty: a weighing around it is wrong."
        for s in streams
        if isinstance(s.reconciled, Quantity) and s.reconciled.value < -2.0 * s.reconciled.u < 0.0
    )
