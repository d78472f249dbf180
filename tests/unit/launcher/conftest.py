"""What the unit tests of the API share: an open kitchen with a clock that stands, and a client."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import orjson
import pytest
from fastapi.testclient import TestClient

from api.app import create_app
from api.kitchen import Kitchen, open_kitchen

NOW_MS = 1_772_439_300_000  # 2026-03-02T08:15:00Z


@dataclass(slots=True)
class StandingClock:
    """A clock that moves only when it is told to."""

    ms: int = NOW_MS

    def __call__(self) -> int:
        return self.ms


@pytest.fixture
def clock() -> StandingClock:
    return StandingClock()


@pytest.fixture
def kitchen(tmp_path: Path, clock: StandingClock) -> Iterator[Kitchen]:
    opened = open_kitchen(tmp_path / "kitchen", now_ms=clock)
    yield opened
    opened.close()


@pytest.fixture
def client(kitchen: Kitchen) -> TestClient:
    """A client on this machine; the app's background tasks don't run."""
    return TestClient(create_app(kitchen), base_url="http://127.0.0.1", client=("127.0.0.1", 50000))


class Senml:
    """Posts SenML packs and says what became of them."""

    def __init__(self, client: TestClient) -> None:
        self._client = client

    def __call__(self, *records: dict[str, Any]) -> dict[str, Any]:
        answer = self._client.post(
            "/v1/readings",
            content=orjson.dumps(list(records)),
            headers={"Content-Type": "application/senml+json"},
        )
        assert answer.status_code == 200, answer.text
        found: dict[str, Any] = answer.json()
        return found


@pytest.fixture
def senml(client: TestClient) -> Senml:
    return Senml(client)
