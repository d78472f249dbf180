# SPDX-License-Identifier: MIT
"""The HTTP interface as any program of the kitchen would call it. Standard library only."""

from __future__ import annotations

import json
import threading
import time
import urllib.error
import urllib.request
from contextlib import suppress
from typing import Any

from api.times import format_s
from collector.errors import CurdwrightError
from collector.instruments.simulated.scenario import Pour


class Site:
    """One server, by its address."""

    def __init__(self, address: str) -> None:
        self.address = address.rstrip("/")

    def wait(self, stop: threading.Event, longest_s: float = 60.0) -> bool:
        """Wait until it answers; False if it is told to stop first.

        Raises:
            CurdwrightError: It doesn't answer in time.
        """
        end_s = time.monotonic() + longest_s
        while not stop.wait(0.1):
            with suppress(OSError):
                self.get("/healthz")
                return True
            if time.monotonic() > end_s:
                raise CurdwrightError(
                    f"Nothing answered within {longest_s:.0f} s.",
                    where=self.address,
                    do="See what the server printed above.",
                )
        return False

    def get(self, path: str) -> Any:
        """Return the JSON that a path answers."""
        with urllib.request.urlopen(self.address + path, timeout=30) as answer:
            return json.load(answer)

    def post(self, path: str, body: Any, *, kind: str = "application/json") -> Any:
        """Post JSON and return the answer.

        Raises:
            CurdwrightError: It was refused.
        """
        request = urllib.request.Request(
            self.address + path, json.dumps(body).encode(), {"Content-Type": kind}
        )
        try:
            with urllib.request.urlopen(request, timeout=30) as answer:
                return json.load(answer)
        except urllib.error.HTTPError as error:
            raise CurdwrightError(
                f"The server refused it ({error.code}): {error.read().decode()[:500]}",
                where=path,
            ) from error

    def mark(self, batch_id: str, kind: str, at_s: float, *, who: str) -> None:
        """Mark an event."""
        body = {"kind": kind, "at": format_s(at_s), "who": who}
        self.post(f"/v1/batches/{batch_id}/events", body)

    def weigh(
        self, batch_id: str, stream: str, mass_kg: float, u_kg: float, *, at_s: float
    ) -> None:
        """Record a weighing."""
        body = {
            "stream": stream,
            "mass": {"value": round(mass_kg, 5), "unit": "kg"},
            "u": u_kg,
            "at": format_s(at_s),
        }
        self.post(f"/v1/batches/{batch_id}/weighings", body)

    def weigh_slurry(self, batch_id: str, pour: Pour, at_s: float) -> None:
        """Record the coagulant, its water, and the water's temperature by hand."""
        self.weigh(batch_id, "coagulant", pour.coagulant_kg, 0.0002, at_s=at_s)
        self.weigh(batch_id, "coagulant_water", pour.water_kg, 0.001, at_s=at_s)
        self.post(
            f"/v1/batches/{batch_id}/observations",
            {
                "quantity": "hand_temperature",
                "of": "coagulant_water",
                "value": pour.temperature_degc,
                "unit": "degC",
                "u": 0.5,
                "at": format_s(at_s),
            },
        )
