"""A whole simulated batch of known truth, posted through the HTTP interface."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import orjson
import pytest
from fastapi.testclient import TestClient

from collector.instruments.simulated.play import Played, play
from collector.instruments.simulated.scenario import fern_lane

_UNITS = {"milk": "Cel", "block_core": "Cel", "chill_water": "Cel"}
_PACK = 4000


def rfc3339(time_s: float) -> str:
    return f"{np.datetime64(round(time_s * 1000), 'ms')}Z"


@dataclass(slots=True)
class PostedBatch:
    """A batch that was played and posted.

    Attributes:
        client: The interface.
        played: With its truth.
        id: The batch.
    """

    client: TestClient
    played: Played
    id: str

    def get(self, path: str, **query: Any) -> Any:
        answer = self.client.get(f"/v1/batches/{self.id}/{path}", params=query)
        assert answer.status_code == 200, answer.text
        return answer.json()

    def post(self, path: str, **body: Any) -> Any:
        answer = self.client.post(f"/v1/batches/{self.id}/{path}", json=body)
        assert answer.status_code in (200, 201), answer.text
        return answer.json()


@dataclass(slots=True)
class BatchPoster:
    """Plays a pot of Fern Lane and posts all that its instruments and its maker said."""

    client: TestClient
    clock: Any
    played: dict[tuple[str, int], Played] = field(default_factory=dict)

    def __call__(
        self, pot: str = "small", *, seed: int = 3, places: tuple[str, ...] | None = None,
        end: bool = True, **batch: Any,
    ) -> PostedBatch:  # fmt: skip
        played = play(fern_lane(pot), seed=seed, start_ms=self.clock.ms)
        self.clock.ms = int(played.truth.events_s["end"] * 1000) + 60_000
        wanted = [s for s in played.readings.values() if places is None or s.place in places]
        for samples in wanted:
            self._readings(samples)
        series = {samples.place: samples.series for samples in wanted}
        body = {
            "name": f"{pot.capitalize()}, simulated",
            "pot": pot.capitalize(),
            "ingredients": [{"name": played.scenario.preparation.ingredient}],
            "thermometer": series.get("milk"),
            "scale": series.get("under_pot"),
            "started_at": rfc3339(min(played.marks_s.values())),
            **batch,
        }
        kept = {key: value for key, value in body.items() if value is not None}
        answer = self.client.post("/v1/batches", json=kept)
        assert answer.status_code == 201, answer.text
        posted = PostedBatch(self.client, played, answer.json()["id"])
        for place in ("under_press", "block_core", "chill_water"):
            if place in series:
                start = rfc3339(played.marks_s["press" if place == "under_press" else "unmould"])
                posted.post("bindings", series=series[place], place=place, **{"from": start})
        self._marks_and_weighings(posted, end=end)
        return posted

    def _readings(self, samples: Any) -> None:
        usable = samples.stable & np.isfinite(samples.value) & (samples.fault == 0)
        unit = _UNITS.get(samples.place, "kg")
        times, values = samples.time_ms[usable].tolist(), samples.value[usable].tolist()
        for start in range(0, len(times), _PACK):
            part = slice(start, start + _PACK)
            pack = [
                {"n": samples.series, "u": unit, "t": t / 1000.0, "v": v}
                for t, v in zip(times[part], values[part], strict=True)
            ]
            answer = self.client.post(
                "/v1/readings",
                content=orjson.dumps(pack),
                headers={"Content-Type": "application/senml+json"},
            )
            assert answer.status_code == 200, answer.text

    def _marks_and_weighings(self, posted: PostedBatch, *, end: bool) -> None:
        for kind, at_s in posted.played.marks_s.items():
            if kind != "end":
                posted.post("events", kind=kind, at=rfc3339(at_s))
        for stream, weighed in posted.played.weighings.items():
            mass = {"value": weighed.mass_kg, "unit": "kg"}
            posted.post("weighings", stream=stream, mass=mass, u=weighed.u_kg)
        if end:
            posted.post("events", kind="end", at=rfc3339(posted.played.marks_s["end"]))


@pytest.fixture
def post_batch(client: TestClient, clock: Any) -> Callable[..., PostedBatch]:
    return BatchPoster(client, clock)


START = "2026-03-02T06:00:00Z"
MASSES = {
    "dry": 0.5, "soaked": 1.09, "water": 3.0, "pulp": 0.705, "milk": 3.38,
    "coagulant": 0.012, "coagulant_water": 0.25, "whey": 1.07, "press_whey": 0.66, "block": 1.55,
}  # fmt: skip


@dataclass(slots=True)
class Site:
    """Makes batches, weighs them and asks for their analysis."""

    client: TestClient

    def make(self, **more: Any) -> str:
        soy = [{"name": "soybean"}]
        made = {"name": "Small", "started_at": START, "ingredients": soy, **more}
        return str(self.post("/v1/batches", **made)["id"])

    def post(self, path: str, **body: Any) -> dict[str, Any]:
        answer = self.client.post(path, json=body)
        assert answer.status_code in (200, 201), answer.text
        found: dict[str, Any] = answer.json()
        return found

    def weigh(self, batch: str, *left_out: str, **changed: float) -> None:
        for stream, mass in {**MASSES, **changed}.items():
            if stream not in left_out:
                mass_kg = {"value": mass, "unit": "kg"}
                path = f"/v1/batches/{batch}/weighings"
                self.post(path, stream=stream, mass=mass_kg, u=0.001)

    def analysis(self, batch: str) -> dict[str, Any]:
        answer = self.client.get(f"/v1/batches/{batch}/analysis")
        assert answer.status_code == 200, answer.text
        found: dict[str, Any] = answer.json()
        return found

    def price(self, ingredient: str, lot: str, amount: str, **more: Any) -> None:
        body = {"currency": "USD", "per": {"value": 1, "unit": "lb"}, **more}
        self.post("/v1/lots", ingredient=ingredient, lot=lot, price=amount, **body)


@pytest.fixture
def site(client: TestClient) -> Site:
    return Site(client)
