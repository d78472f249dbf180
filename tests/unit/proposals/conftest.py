"""What the tests of proposals share: a pot that is heated, boils, cools and is poured into."""

from __future__ import annotations

from typing import Any, Protocol

import numpy as np
import orjson
import pytest
from fastapi.testclient import TestClient

from api.times import format_ms

MILK = "north/milk"
EVERY_S = 2.0
HEAT_S, BOIL_S, OFF_S, POUR_S = 300.0, 1500.0, 2400.0, 3000.0


class Clock(Protocol):
    ms: int


def milk_degc(time_s: float) -> float:
    """Return an invented pot: cold, up to the boil, held, down, and 4 K lower after a pour."""
    if time_s < HEAT_S:
        return 20.0
    if time_s < BOIL_S:
        return 20.0 + 79.5 * (time_s - HEAT_S) / (BOIL_S - HEAT_S)
    if time_s < OFF_S:
        return 99.5
    fallen = 99.5 - 16.0 * (time_s - OFF_S) / (POUR_S - OFF_S)
    if time_s < POUR_S:
        return fallen
    return 83.5 - 0.004 * (time_s - POUR_S) - 4.0 * min((time_s - POUR_S) / 12.0, 1.0)


class Pot:
    """A pot whose readings come when a test says so; time 0 is where the clock stood."""

    heat_s, boil_s, pour_s = HEAT_S, BOIL_S, POUR_S

    def __init__(self, client: TestClient, clock: Clock) -> None:
        self.client, self.clock = client, clock
        self.zero_ms = clock.ms
        self.at_s = 0.0
        self._chance = np.random.default_rng(4)

    def at(self, time_s: float) -> str:
        """Return a time of the pot as RFC 3339."""
        return format_ms(self.zero_ms + 1000.0 * time_s)

    def batch(self, **more: Any) -> str:
        """Make a batch that starts with the readings; return its id."""
        body = {"name": "Monday", "pot": "North", "thermometer": MILK, "started_at": self.at(0)}
        answer = self.client.post("/v1/batches", json={**body, **more})
        assert answer.status_code == 201, answer.text
        return str(answer.json()["id"])

    def until(self, time_s: float) -> None:
        """Post the readings up to a time."""
        times = np.arange(self.at_s, time_s, EVERY_S)
        self.at_s = time_s
        self.clock.ms = self.zero_ms + int(1000.0 * time_s)
        noise = self._chance.normal(0.0, 0.05, times.size)
        self.send(times.tolist(), [milk_degc(t) + e for t, e in zip(times, noise, strict=True)])

    def send(self, times_s: list[float], values: list[float], series: str = MILK) -> None:
        """Post readings of a series at times of the pot."""
        pack = [
            {"n": series, "u": "Cel", "t": self.zero_ms / 1000.0 + t, "v": round(float(v), 2)}
            for t, v in zip(times_s, values, strict=True)
        ]
        answer = self.client.post(
            "/v1/readings",
            content=orjson.dumps(pack),
            headers={"Content-Type": "application/senml+json"},
        )
        assert answer.status_code == 200, answer.text

    def proposals(self, batch: str) -> list[dict[str, Any]]:
        """Return the proposals of a batch."""
        answer = self.client.get(f"/v1/batches/{batch}/proposals")
        assert answer.status_code == 200, answer.text
        found: list[dict[str, Any]] = answer.json()["proposals"]
        return found

    def proposal(self, batch: str, kind: str) -> dict[str, Any]:
        """Return the one proposal of a kind."""
        [found] = [one for one in self.proposals(batch) if one["kind"] == kind]
        return found

    def post(self, path: str, body: dict[str, Any] | None = None, status: int = 201) -> Any:
        """Post to a batch's path and return the answer."""
        answer = self.client.post(f"/v1/batches/{path}", json=body)
        assert answer.status_code == status, answer.text
        return answer.json()


@pytest.fixture
def pot(client: TestClient, clock: Clock) -> Pot:
    return Pot(client, clock)
