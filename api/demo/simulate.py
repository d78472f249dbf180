# SPDX-License-Identifier: MIT
"""The simulated kitchen as a process: tells its history over HTTP, then lives on in real time."""

from __future__ import annotations

import signal
import threading
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from api.demo.history import HISTORY, tell_history
from api.demo.site import Site
from api.demo.story import RECIPES, begin_north, begin_south
from collector.instruments.simulated.channels import Said
from collector.instruments.simulated.scenario import fern_lane
from collector.instruments.simulated.virtual import (
    HttpProbe,
    LiveKitchen,
    LivePot,
    MqttProbe,
    PtyProbe,
    PtyScale,
    pot_before,
)

BEFORE_TARGET_S = 180.0
SPEAKS_AFTER_S = 12.0
PLACES = ("milk", "under_pot")
_AT_ONCE = 1000


def simulate(data_dir: Path, url: str, broker_port: int) -> int:
    """Start the live pots, tell the history once, and go on until told to stop.

    Args:
        data_dir: The demo's data folder, with its lines.
        url: The address of the API.
        broker_port: Port of the demo's broker, 0 if there is none.

    Returns:
        The exit code.
    """
    stop = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda _n, _f: stop.set())
    site = Site(url)
    if not site.wait(stop):
        return 0
    fresh = not site.get("/v1/batches?limit=1")["batches"]
    recipes = {name: site.post("/v1/recipes", body)["id"] for name, body in RECIPES.items()}
    pots, north_id = _live_pots(site, recipes, begins_south=fresh)
    kitchen = _connected(pots, data_dir, url, broker_port)
    for pot in pots:  # what they said while the records were made
        _tell(site, pot.advance_to(time.time() - pot.start_ms / 1000.0))
    with kitchen:
        if fresh:
            for index, past in enumerate(HISTORY):
                now_ms = int(time.time() * 1000)
                tell_history(site, past, recipes[past.recipe], now_ms, seed=index + 1)
        _live_on(site, kitchen, north_id, stop)
    return 0


def _live_pots(
    site: Site, recipes: dict[str, str], *, begins_south: bool
) -> tuple[list[LivePot], str]:
    """Make the three pots; North is three minutes before its target."""
    now_ms = int(time.time() * 1000)
    north, told = pot_before(
        fern_lane("north"), "target", BEFORE_TARGET_S, now_ms=now_ms, seed=now_ms % 1000
    )
    _tell(site, told)
    north_id = begin_north(site, recipes["Soybean, gypsum"], north)
    pots = [north]
    for name in ("south", "small"):
        pot, _ = pot_before(fern_lane(name), "heat", 30.0, now_ms=now_ms, seed=now_ms % 997)
        pot.take_over()
        pots.append(pot)
    if begins_south:
        begin_south(site, recipes["Yellow pea, nigari"], now_ms)
    return pots, north_id


def _tell(site: Site, told: Sequence[Said]) -> None:
    """Send what the instruments said before, as a device sends what it kept."""
    usable = [one for one in told if one.place in PLACES and one.value is not None and one.stable]
    for start in range(0, len(usable), _AT_ONCE):
        pack = [
            {"n": one.series, "u": one.unit, "t": one.time_ms / 1000.0, "v": one.value}
            for one in usable[start : start + _AT_ONCE]
        ]
        site.post("/v1/readings", pack, kind="application/senml+json")


def _connected(pots: Sequence[LivePot], data_dir: Path, url: str, broker_port: int) -> LiveKitchen:
    lines = data_dir / "lines"
    kitchen = LiveKitchen(pots)
    north = MqttProbe("fern-lane/north", port=broker_port) if broker_port else HttpProbe(url)
    kitchen.connect("north", "milk", north)
    kitchen.connect("north", "under_pot", PtyScale(lines / "north-scale"))
    kitchen.connect("south", "milk", HttpProbe(url))
    kitchen.connect("south", "under_pot", PtyScale(lines / "south-scale"))
    kitchen.connect("small", "milk", PtyProbe(lines / "small-probe"))
    kitchen.connect("small", "under_pot", PtyScale(lines / "small-scale"))
    return kitchen


def _live_on(site: Site, kitchen: LiveKitchen, batch_id: str, stop: threading.Event) -> None:
    """Mark what the visitor leaves unmarked, a little after it happened, as a maker would."""
    north = kitchen.pots["north"]
    marked: set[str] = set()
    while not stop.wait(0.5):
        if kitchen.failure is not None:
            raise kitchen.failure
        now_ms = time.time() * 1000.0
        for kind in ("addition", "cover", "set", "ladle", "press", "unmould", "chill"):
            at_ms = north.events_ms.get(kind)
            if kind in marked or at_ms is None or now_ms < at_ms + 1000.0 * SPEAKS_AFTER_S:
                continue
            marked.add(kind)
            events: list[dict[str, Any]] = site.get(f"/v1/batches/{batch_id}/events")["events"]
            if kind not in {event["kind"] for event in events}:
                site.mark(batch_id, kind, at_ms / 1000.0, who="simulated maker")
            if kind == "addition":
                site.weigh_slurry(batch_id, north.scenario.pours[0], at_ms / 1000.0)
