# SPDX-License-Identifier: MIT
"""The invented recipes of Fern Lane, and how its open batches began."""

from __future__ import annotations

from typing import Any

from api.demo.site import Site
from api.times import format_ms
from collector.instruments.simulated.virtual import LivePot

MAKER = "simulated maker"


def _minutes(value: float) -> dict[str, Any]:
    return {"value": value, "unit": "min"}


def _degc(value: float) -> dict[str, Any]:
    return {"value": value, "unit": "degC"}


def _recipe(name: str, ingredient: str, target_degc: float, steps: list[str]) -> dict[str, Any]:
    boil = {
        "name": "boil",
        "below_boiling": {"value": 3, "unit": "K"},
        "least": _minutes(9),
        "starts": "boil",
        "ends": "addition",
    }
    covered = {
        "name": "covered hold",
        "low": _degc(65),
        "least": _minutes(13),
        "starts": "cover",
        "ends": "ladle",
    }
    return {
        "name": name,
        "ingredients": [{"name": ingredient}],
        "note": "Invented for the demo.",
        "steps": [
            *({"kind": kind} for kind in steps),
            {"kind": "heat"},
            {"kind": "boil", "hold": boil},
            {
                "kind": "addition",
                "target": {**_degc(target_degc), "approach": "falling", "tolerance": 2},
            },
            {"kind": "cover", "hold": covered},
            {"kind": "ladle"},
            {"kind": "press"},
            {"kind": "chill"},
        ],
    }


RECIPES = {
    "Soybean, gypsum": _recipe("Soybean, gypsum", "soybean", 80, ["soak", "grind", "strain"]),
    "Yellow pea, nigari": _recipe(
        "Yellow pea, nigari", "yellow pea", 78, ["soak", "grind", "strain", "settle"]
    ),
}


def begin_north(site: Site, recipe_id: str, pot: LivePot) -> str:
    """Make the live batch of pot North with what happened so far; return its id."""
    events = pot.events_ms
    batch = site.post(
        "/v1/batches",
        {
            "name": "North, soybean, today",
            "pot": "North",
            "recipe": recipe_id,
            "thermometer": pot.series("milk"),
            "scale": pot.series("under_pot"),
            "started_at": format_ms(events["heat"] - 60_000),
            "who": MAKER,
        },
    )
    outfit = pot.scenario.outfit
    site.post(
        f"/v1/instruments/{pot.series('milk')}/checks",
        {
            "kind": "dip",
            "time_constant": {"value": outfit.dip_s, "unit": "s"},
            "u": outfit.dip_u_s,
            "note": "dipped from the room into stirred hot water, three times",
        },
    )
    for kind in ("soak", "grind", "strain", "boil"):  # the heat is left to the detector to propose
        site.mark(batch["id"], kind, events[kind] / 1000.0, who=MAKER)
    streams = pot.run.streams.mass_kg
    for stream in ("dry", "soak_water", "soaked", "drained", "water", "mash", "pulp", "milk"):
        if stream in streams:
            at_s = events["heat"] / 1000.0 - 120.0
            site.weigh(batch["id"], stream, round(streams[stream], 3), 0.002, at_s=at_s)
    return str(batch["id"])


def begin_south(site: Site, recipe_id: str, now_ms: int) -> None:
    """Make the batch of pot South that is still soaking."""
    batch = site.post(
        "/v1/batches",
        {
            "name": "South, yellow pea, tonight",
            "pot": "South",
            "recipe": recipe_id,
            "thermometer": "south/milk",
            "scale": "south/under-pot",
            "started_at": format_ms(now_ms - 3 * 3600_000),
            "who": MAKER,
        },
    )
    soak_s = now_ms / 1000.0 - 3 * 3600.0
    site.mark(batch["id"], "soak", soak_s, who=MAKER)
    site.weigh(batch["id"], "dry", 1.2, 0.001, at_s=soak_s)
    site.weigh(batch["id"], "soak_water", 3.6, 0.002, at_s=soak_s)
