# SPDX-License-Identifier: MIT
"""Closure before reconciliation: how much of what went in was found again, node by node.

Pure: no I/O; imports only what is pure.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from api.process.curves import Floats
from api.process.quantities import NotShown, Quantity, Result
from api.process.streams import Node


@dataclass(frozen=True, slots=True)
class Envelope:
    """Nodes that have to be taken together, because nobody measured what flows between them.

    Attributes:
        name: The names of its nodes, joined.
        nodes: Its nodes, in the order of the process.
        coefficients: +1 for what enters, -1 for what leaves, by measured stream [-].
        missing: Streams into or out of it that nobody measured; it closes only without any.
    """

    name: str
    nodes: tuple[str, ...]
    coefficients: Mapping[str, int]
    missing: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Closure:
    """What entered an envelope and what was found again.

    Attributes:
        envelope: Which nodes.
        closure: Outputs over inputs [-].
        unaccounted: Inputs minus outputs, residues not counted as found [kg].
        z: Imbalance in standard deviations, residues allowed for [-]; NaN if it can't be shown.
    """

    envelope: Envelope
    closure: Result
    unaccounted: Result
    z: float = math.nan


def envelopes_of(nodes: Sequence[Node], measured: Collection[str]) -> tuple[Envelope, ...]:
    """Return the nodes of a process, merged wherever they share a stream that nobody measured.

    Args:
        nodes: The nodes of the process.
        measured: Streams with a measured or assumed value.

    Returns:
        Envelopes in the order of the process; their coefficients [-].

    Source:
        Graph form of the projection: Vaclavek 1969, Chem. Eng. Sci. 24:947 (from memory).
    """
    group = list(range(len(nodes)))
    leaves = {stream: i for i, node in enumerate(nodes) for stream in node.outflows}
    for i, node in enumerate(nodes):
        for stream in node.inflows:
            if stream in leaves and stream not in measured:
                old, new = group[i], group[leaves[stream]]
                group = [new if g == old else g for g in group]
    return tuple(
        merge([node for node, g in zip(nodes, group, strict=True) if g == wanted], measured)
        for wanted in dict.fromkeys(group)
    )


def merge(nodes: Sequence[Node], measured: Collection[str]) -> Envelope:
    """Return one envelope around several nodes.

    Args:
        nodes: The nodes to take together, in the order of the process.
        measured: Streams with a measured or assumed value.

    Returns:
        The envelope; its coefficients [-].

    Source:
        Sum of the balances of the nodes.
    """
    net: dict[str, int] = {}
    for node in nodes:
        for stream in node.inflows:
            net[stream] = net.get(stream, 0) + 1
        for stream in node.outflows:
            net[stream] = net.get(stream, 0) - 1
    crossing = {stream: sign for stream, sign in net.items() if sign}
    steps = [node.name for node in nodes if node.is_step]
    return Envelope(
        name=" + ".join(steps or [node.name for node in nodes]),
        nodes=tuple(node.name for node in nodes),
        coefficients={stream: sign for stream, sign in crossing.items() if stream in measured},
        missing=tuple(stream for stream in crossing if stream not in measured),
    )


def close(
    envelope: Envelope,
    names: Sequence[str],
    measured_kg: Floats,
    covariance_kg2: Floats,
    origins: Mapping[str, tuple[str, ...]],
) -> Closure:
    """Return closure and unaccounted mass of one envelope, from the values as measured.

    closure = outputs / inputs; unaccounted = inputs - outputs; both with the covariance of the
    weighings, so that a tare they share is counted once.

    Args:
        envelope: Which nodes.
        names: Measured streams, in the order of the values.
        measured_kg: Their masses [kg], shape (n,).
        covariance_kg2: Their covariance [kg2], shape (n, n).
        origins: The weighings or assumptions behind each stream.

    Returns:
        Closure [-] and unaccounted mass [kg], or why they can't be shown.

    Source:
        Definition; propagation JCGM 100:2008, 5.2 (from memory).
    """
    if envelope.missing or not envelope.coefficients:
        missing = NotShown(
            f"{envelope.name}: nobody weighed {', '.join(envelope.missing) or 'anything'}."
        )
        return Closure(envelope, missing, missing)
    row = np.array([float(envelope.coefficients.get(name, 0)) for name in names])
    entering, leaving = np.maximum(row, 0.0), np.maximum(-row, 0.0)
    in_kg, out_kg = float(entering @ measured_kg), float(leaving @ measured_kg)
    method = f"weighings of {envelope.name}, before reconciliation"
    sources = tuple(s for name in names if name in envelope.coefficients for s in origins[name])
    u_kg = math.sqrt(float(row @ covariance_kg2 @ row))
    unaccounted = Quantity(in_kg - out_kg, "kg", u_kg, method, sources)
    if in_kg <= 0.0:
        return Closure(envelope, NotShown(f"{envelope.name}: nothing went in."), unaccounted)
    ratio = out_kg / in_kg
    slope = (leaving - ratio * entering) / in_kg
    u = math.sqrt(float(slope @ covariance_kg2 @ slope))
    return Closure(envelope, Quantity(ratio, "-", u, method, sources), unaccounted)
