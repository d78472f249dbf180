"""What a scale offers as a weighing, taken or refused."""

from __future__ import annotations

from typing import Any, Protocol

import numpy as np
import pytest
from fastapi.testclient import TestClient

from api.hands_free.settling import loads

SCALE, BENCH = "north/scale", "north/bench"


class Clock(Protocol):
    ms: int


def levels(*parts: tuple[float, float], noise_kg: float = 0.0) -> tuple[Any, Any]:
    """Return readings four times a second of a scale that shows (kg) for (s)."""
    chance = np.random.default_rng(2)
    masses = np.concatenate([np.full(round(4 * s), kg) for kg, s in parts])
    return np.arange(masses.size) / 4.0, masses + chance.normal(0.0, noise_kg, masses.size)


def found(*parts: tuple[float, float], noise_kg: float = 0.0) -> list[tuple[float, float]]:
    time_s, mass_kg = levels(*parts, noise_kg=noise_kg)
    return [(round(one.before_kg, 2), round(one.level_kg, 2)) for one in loads(time_s, mass_kg, 0)]


def test_what_is_put_on_and_lies_still_is_a_load() -> None:
    assert found((0, 10), (3.2, 10)) == [(0.0, 3.2)]


def test_a_load_that_is_taken_off_again_was_one() -> None:
    assert found((0, 10), (3.2, 6), (0, 10)) == [(0.0, 3.2)]


def test_what_is_poured_in_is_one_load_once_it_lies_still() -> None:
    pour = [(0.35 + 0.1 * i, 0.5) for i in range(1, 20)]
    assert found((0.35, 10), *pour, (2.35, 8)) == [(0.35, 2.35)]


@pytest.mark.parametrize(
    "parts",
    [
        [(0, 10), (3.2, 3), (0, 10)],  # it didn't lie still for long enough
        [(0, 10), (0.008, 10)],  # too little
        [(3.2, 10), (1.1, 10)],  # taken off
        [(3.2, 30)],  # it has always lain there
    ],
)
def test_these_are_no_loads(parts: list[tuple[float, float]]) -> None:
    assert found(*parts) == []


def test_a_pot_that_is_stirred_offers_nothing() -> None:
    assert found((3.2, 10), (3.4, 60), noise_kg=0.05) == []


def test_vapour_that_leaves_slowly_is_no_load() -> None:
    time_s = np.arange(0.0, 600.0, 0.25)
    assert loads(time_s, 5.0 - 0.0005 * time_s, 0.001) == []


class Kitchen:
    """Pot North with the scale under it and a bench scale."""

    def __init__(self, client: TestClient, clock: Clock, senml: Any) -> None:
        self.client, self.clock, self.senml = client, clock, senml
        self.zero_s = clock.ms / 1000.0
        self.at_s = 0.0
        listed = {"name": "North", "empty": {"value": 2.31, "unit": "kg"}, "bench": BENCH}
        assert client.post("/v1/pots", json=listed).status_code == 201
        self.batch = client.post(
            "/v1/batches", json={"name": "Monday", "pot": "North", "scale": SCALE}
        ).json()["id"]

    def show(self, series: str, mass_kg: float, for_s: float = 10.0) -> None:
        """Let a scale show a mass for some seconds."""
        times = np.arange(self.at_s, self.at_s + for_s, 0.5)
        self.senml(
            *({"n": series, "u": "kg", "t": self.zero_s + float(t), "v": mass_kg} for t in times)
        )
        self.at_s += for_s
        self.clock.ms = int(1000 * (self.zero_s + self.at_s))

    def offers(self) -> list[dict[str, Any]]:
        answer = self.client.get(f"/v1/batches/{self.batch}/offers")
        assert answer.status_code == 200, answer.text
        shown: list[dict[str, Any]] = answer.json()["offers"]
        return shown

    def post(self, path: str, body: Any = None, status: int = 201) -> Any:
        answer = self.client.post(f"/v1/batches/{self.batch}/{path}", json=body)
        assert answer.status_code == status, answer.text
        return answer.json()


@pytest.fixture
def place(client: TestClient, clock: Clock, senml: Any) -> Kitchen:
    return Kitchen(client, clock, senml)


def test_milk_poured_into_the_pot_is_offered_without_the_pot(place: Kitchen) -> None:
    place.show(SCALE, 2.312)
    place.show(SCALE, 5.872)

    [offer] = place.offers()

    assert (offer["stream"], offer["series"], offer["tare"]) == ("milk", SCALE, "North")
    assert offer["net_kg"] == pytest.approx(3.56)
    taken = place.post(f"offers/{offer['id']}/accept", {"who": "Ama"})
    assert (taken["stream"], taken["from_scale"], taken["tare"]) == ("milk", SCALE, "North")
    assert taken["net_kg"] == pytest.approx(3.562)  # against the pot's own empty weight
    assert taken["by"] == "scale"
    assert place.offers() == []
    assert place.post(f"offers/{offer['id']}/accept", None, 200) == taken


def test_the_stream_follows_the_steps_and_what_was_weighed(place: Kitchen) -> None:
    place.post("events", {"kind": "strain"})
    place.show(BENCH, 0.0)
    place.show(BENCH, 1.21)
    [pulp] = place.offers()
    assert (pulp["stream"], pulp["tare"], pulp["net_kg"]) == ("pulp", None, 1.21)
    place.post(f"offers/{pulp['id']}/accept")

    place.show(BENCH, 0.0)
    place.show(BENCH, 3.56)

    assert [one["stream"] for one in place.offers()] == ["milk"]


def test_a_vessel_that_stood_there_is_the_tare(place: Kitchen) -> None:
    place.show(BENCH, 0.35)
    place.show(BENCH, 3.91)

    [offer] = place.offers()
    assert offer["tare"] == {"value": 0.35, "unit": "kg"}
    taken = place.post(f"offers/{offer['id']}/accept")

    assert taken["net_kg"] == pytest.approx(3.56)


def test_another_stream_may_be_meant(place: Kitchen) -> None:
    place.show(BENCH, 0.0)
    place.show(BENCH, 1.2)
    [offer] = place.offers()

    assert place.post(f"offers/{offer['id']}/accept", {"stream": "mash"})["stream"] == "mash"


def test_a_refused_offer_stays_away_until_that_is_undone(place: Kitchen) -> None:
    place.show(BENCH, 0.0)
    place.show(BENCH, 1.2)
    [offer] = place.offers()

    said = place.post(f"offers/{offer['id']}/dismiss", {"why": "my elbow"})
    assert place.offers() == []
    assert place.post(f"offers/{offer['id']}/dismiss", None, 200)["id"] == said["id"]
    place.post(f"offers/{offer['id']}/dismiss", {"withdraws": said["id"]})

    assert place.offers() == [offer]


def test_a_weighing_that_was_taken_is_not_refused_but_undone(place: Kitchen) -> None:
    place.show(BENCH, 0.0)
    place.show(BENCH, 1.2)
    [offer] = place.offers()
    taken = place.post(f"offers/{offer['id']}/accept")
    assert "was taken" in place.post(f"offers/{offer['id']}/dismiss", None, 409)["detail"]

    place.post("weighings", {"withdraws": taken["id"]})

    assert place.offers() == []  # nobody is asked again


def test_a_mass_that_was_typed_is_not_offered_again(place: Kitchen) -> None:
    place.show(BENCH, 0.0)
    place.show(BENCH, 1.2)
    place.post("weighings", {"stream": "milk", "mass": {"value": 1.2, "unit": "kg"}})

    assert place.offers() == []


def test_an_offer_passes_after_ten_minutes(place: Kitchen) -> None:
    place.show(BENCH, 0.0)
    place.show(BENCH, 1.2)
    [offer] = place.offers()
    place.show(BENCH, 0.0, for_s=601.0)

    assert place.offers() == []
    assert "stands for 10 min" in place.post(f"offers/{offer['id']}/accept", None, 404)["do"]


def test_once_the_milk_is_weighed_the_scale_under_the_pot_offers_nothing_more(
    place: Kitchen,
) -> None:
    place.post("weighings", {"stream": "milk", "mass": {"value": 3.5, "unit": "kg"}})
    place.show(SCALE, 5.8)
    place.show(SCALE, 6.4)

    assert place.offers() == []
