# SPDX-License-Identifier: MIT
"""Two finished batches, told over HTTP as a kitchen would have told them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from api.demo.site import Site
from api.demo.story import MAKER
from api.times import format_s
from collector.instruments.simulated.scenario import Played, fern_lane, play

_AT_ONCE = 2000
_HOUR_MS = 3_600_000


@dataclass(frozen=True, slots=True)
class Past:
    """A batch of the past.

    Attributes:
        pot: Of the simulated kitchen.
        name: What the maker called it.
        recipe: Its recipe's name.
        began_h: How long ago it was begun [h].
        pulp_error_kg: What was mistyped at the pulp [kg].
        outcome: What became of it.
        taste: What was said of it.
    """

    pot: str
    name: str
    recipe: str
    began_h: float
    pulp_error_kg: float
    outcome: str
    taste: str


HISTORY = (
    Past("small", "Small, soybean, Monday", "Soybean, gypsum", 52.0, 0.0, "set", "smooth, mild"),
    Past(
        "south", "South, yellow pea, yesterday", "Yellow pea, nigari", 27.0, 0.1, "weak",
        "soft, a little grainy; the pulp may be mistyped",
    ),
)  # fmt: skip


def tell_history(site: Site, past: Past, recipe_id: str, now_ms: int, *, seed: int) -> None:
    """Tell one finished batch: its readings, marks, weighings and outcome."""
    start_ms = now_ms - round(past.began_h * _HOUR_MS)
    played = play(fern_lane(past.pot), seed, start_ms=start_ms)
    ended_s = played.truth.events_s["end"]
    for samples in played.readings.values():
        if samples.place in ("milk", "under_pot", "block_core"):
            _tell_readings(site, samples)
    milk, scale = played.at("milk").series, played.at("under_pot").series
    batch = site.post(
        "/v1/batches",
        {
            "name": past.name,
            "pot": past.pot.capitalize(),
            "recipe": recipe_id,
            "thermometer": milk,
            "scale": scale,
            "started_at": format_s(played.truth.events_s["heat"] - 60.0),
            "who": MAKER,
        },
    )
    _tell_records(site, batch["id"], played, past)
    site.mark(batch["id"], "end", ended_s, who=MAKER)


def _tell_readings(site: Site, samples: Any) -> None:
    usable = np.flatnonzero(samples.stable & np.isfinite(samples.value) & (samples.fault == 0))
    for start in range(0, usable.size, _AT_ONCE):
        pack = [
            {
                "n": samples.series,
                "u": samples.unit,
                "t": int(samples.time_ms[i]) / 1000.0,
                "v": float(samples.value[i]),
            }
            for i in usable[start : start + _AT_ONCE]
        ]
        site.post("/v1/readings", pack, kind="application/senml+json")


def _tell_records(site: Site, batch_id: str, played: Played, past: Past) -> None:
    events = played.truth.events_s
    outfit = played.scenario.outfit
    site.post(
        f"/v1/instruments/{played.at('milk').series}/checks",
        {
            "kind": "dip",
            "time_constant": {"value": outfit.dip_s, "unit": "s"},
            "u": outfit.dip_u_s,
            "at": format_s(events["heat"] - 3600.0),
        },
    )
    for kind, at_s in played.marks_s.items():
        if kind != "end":
            site.mark(batch_id, kind, at_s, who=MAKER)
    for pour in played.truth.pours[1:]:
        site.mark(batch_id, "addition", pour.start_s + 3.0, who=MAKER)
    site.post(
        f"/v1/batches/{batch_id}/bindings",
        {
            "series": played.at("block_core").series,
            "place": "block_core",
            "from": format_s(events["press"]),
        },
    )
    for stream, weighed in played.weighings.items():
        if stream in ("coagulant", "coagulant_water"):
            continue  # weighed pour by pour, below
        error_kg = past.pulp_error_kg if stream == "pulp" else 0.0
        at_s = events["press"] if stream in ("block", "press_whey") else events["heat"]
        site.weigh(batch_id, stream, weighed.mass_kg + error_kg, weighed.u_kg, at_s=at_s)
    for plan, pour in zip(played.scenario.pours, played.truth.pours, strict=True):
        site.weigh_slurry(batch_id, plan, pour.start_s)
    observations = [
        {"quantity": "outcome", "text": past.outcome, "at": format_s(events["unmould"])},
        {"quantity": "taste", "text": past.taste, "at": format_s(events["unmould"] + 7200.0)},
    ]  # fmt: skip
    for body in observations:
        site.post(f"/v1/batches/{batch_id}/observations", body)
