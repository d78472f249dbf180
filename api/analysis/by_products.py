# SPDX-License-Identifier: MIT
"""Pulp, starch and whey: how much there is and what they hold, since the maker keeps them."""

from __future__ import annotations

from typing import Any

from api import views
from api.analysis.components import Components
from api.analysis.masses import Masses
from api.process.component_balance import COMPONENTS, published_recovery
from api.process.quantities import NotShown, Result
from api.process.recovery_table import Recovery
from api.process.yields import ratio

_STREAMS = {"pulp": ("pulp",), "starch": ("starch",), "whey": ("whey", "press_whey")}


def by_products_section(masses: Masses, components: Components) -> dict[str, Any]:
    """Return each by-product with its mass and what it holds.

    Args:
        masses: The streams of the batch [kg].
        components: What is known of its solids, protein and fat.
    """
    return {
        name: _one(name, _mass(masses, streams), components) for name, streams in _STREAMS.items()
    }


def _mass(masses: Masses, streams: tuple[str, ...]) -> Result:
    """Return the mass of a by-product; what only a difference hints at is not shown."""
    found = masses.together(*streams)
    if isinstance(found, NotShown) or all(stream in masses.weighed for stream in streams):
        return found
    if found.value <= 2.0 * found.u:
        return NotShown(
            f"nobody weighed it, and by difference it is {1000 * found.value:.0f} g with a "
            f"standard uncertainty of {1000 * found.u:.0f} g"
        )
    return found


def _one(name: str, mass: Result, components: Components) -> dict[str, Any]:
    holds = {component: _held(name, component, mass, components) for component in COMPONENTS}
    own = components.analyses.get(name)
    published = published_recovery(list(components.dry))
    estimated = [
        component
        for component, held in holds.items()
        if not isinstance(held, NotShown) and (own is None or own.of(component) is None)
    ]
    notes = []
    if estimated:
        notes.append(f"{name}: {', '.join(estimated)} computed, an estimate: not for a label")
        if isinstance(published, Recovery) and name in published.notes:
            notes.append(f"{name}: the recovery is of {published.notes[name]}")
    return {
        "mass": views.quantity(mass),
        "holds": {component: views.quantity(held) for component, held in holds.items()},
        "estimate": bool(estimated),
        "notes": notes,
    }


def _held(name: str, component: str, mass: Result, components: Components) -> Result:
    balance = components.balances[component]
    if name in balance.in_stream:
        return balance.in_stream[name]
    if isinstance(mass, NotShown):
        return mass
    own = components.analyses.get(name)
    share = own.of(component) if own is not None else None
    if share is None:
        return NotShown(f"Nobody analysed the {name}: enter its moisture, protein and fat.")
    return ratio((mass, share), (), "kg", f"{component} by own analysis")
