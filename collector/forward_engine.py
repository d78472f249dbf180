# SPDX-License-Identifier: MIT
"""A central engine that takes the line protocol, written to through influxdb-client.

Imports the ground and the standard library; influxdb-client when an engine is opened. Every call
blocks for as long as the network takes. The token is in no message, whatever the client says.

Source: InfluxData, "Troubleshoot issues writing data" (InfluxDB OSS v2; seen in part): 422 means
that some or all points were rejected and that the others are kept. The words "partial write: …
retention policy … dropped=N": seen in reports of its users, second hand. VictoriaMetrics 1.79.5:
tried in tests/e2e/test_forward.py.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlsplit

from collector.errors import EngineLostError
from collector.forward_lines import MEASUREMENT
from collector.readings import Reading

CONNECT_MS = 5_000
ANSWER_MS = 30_000
_WORDS_KEPT = 200
_STARTED = re.compile(r"^process_start_time_seconds\s+(\S+)", re.MULTILINE)
_TOO_OLD = re.compile(r"partial write: .*retention policy.*dropped=(\d+)", re.DOTALL)


@dataclass(frozen=True, slots=True)
class EngineSettings:
    """How the engine is reached.

    Attributes:
        url: Its address, without the path of the write call.
        token: What it asks for.
        token_env: The variable that held the token, for messages.
        org: The organisation; some engines take no notice of it.
        bucket: Where the readings go; likewise.
        site: The tag that tells the sites apart, None for none.
        compressed: Whether requests are: 15 times fewer bytes, for 5 us of a core a reading.
    """

    url: str
    token: str = field(repr=False)
    token_env: str
    org: str
    bucket: str
    site: str | None = None
    compressed: bool = True


class LineEngine:
    """One connection to an engine."""

    def __init__(self, settings: EngineSettings) -> None:
        """Make the client; nothing is sent yet."""
        from influxdb_client.client.influxdb_client import InfluxDBClient
        from influxdb_client.client.write_api import SYNCHRONOUS

        self._settings = settings
        self._client: Any = InfluxDBClient(
            url=settings.url,
            token=settings.token,
            org=settings.org,
            timeout=(CONNECT_MS, ANSWER_MS),
            enable_gzip=settings.compressed,
        )
        # Its default is to gather in memory and to give up after some minutes.
        self._writer: Any = self._client.write_api(write_options=SYNCHRONOUS)

    def write(self, lines: bytes) -> int:
        """Write lines, and return once the engine has acknowledged them.

        Args:
            lines: Good lines with times in ms.

        Returns:
            How many of them it dropped because they are older than it keeps any.

        Raises:
            EngineLostError: It can't be reached, or refuses them.
        """
        to = self._settings
        try:
            self._writer.write(bucket=to.bucket, org=to.org, record=lines, write_precision="ms")
        except Exception as error:  # the client's own, urllib3's, and the socket's
            too_old = dropped_as_too_old(str(getattr(error, "message", error)))
            if too_old is None:
                raise self._lost(error) from error
            return too_old
        return 0

    def run_id(self) -> str | None:
        """Return what changes when the engine is begun anew, None if it doesn't tell.

        Raises:
            EngineLostError: It can't be reached.
        """
        found = _STARTED.search(self._get("/metrics") or "")
        return found.group(1) if found else None

    def shows(self, reading: Reading) -> bool | None:
        """Tell whether a reading that was written can be read back, None if it isn't known.

        Raises:
            EngineLostError: It can't be reached.
        """
        labels = {"series": reading.series, "site": self._settings.site}
        wanted = ",".join(f"{name}={json.dumps(text)}" for name, text in labels.items() if text)
        query = {
            "match[]": f"{MEASUREMENT}_value{{{wanted}}}",
            "start": f"{reading.time_ms / 1000:.3f}",
            "end": f"{(reading.time_ms + 1) / 1000:.3f}",
        }
        text = self._get("/api/v1/export", query)
        if text is None:
            return None
        try:
            return any(reading.time_ms in json.loads(x)["timestamps"] for x in text.splitlines())
        except (ValueError, KeyError, TypeError):
            return None  # something else answers there

    def close(self) -> None:
        """Let go of the connection."""
        self._client.close()

    def _get(self, path: str, query: dict[str, str] | None = None) -> str | None:
        """Return what stands at a path below the address, or below the host; None if nothing."""
        client = self._client.api_client
        headers = {**client.default_headers, "Accept-Encoding": "gzip"}
        root = urlsplit(self._settings.url)
        base = self._settings.url.rstrip("/")
        for start in dict.fromkeys((base, f"{root.scheme}://{root.netloc}")):
            try:
                answer = client.rest_client.GET(start + path, headers=headers, query_params=query)
            except Exception as error:
                if not getattr(error, "status", None):
                    raise self._lost(error) from error
                continue
            return str(answer.data)
        return None

    def _lost(self, error: Exception) -> EngineLostError:
        status = getattr(error, "status", None) or None
        said = getattr(error, "reason" if status is None else "message", None) or error
        words = f"{type(error).__name__ if status is None else status}: {said}"
        what = "The central engine " + (
            "can't be reached" if status is None else "does not take the readings"
        )
        return EngineLostError(
            f"{what} ({self._short(words)}).",
            where=self._settings.url,
            do=self._advice(status),
            status=status,
        )

    def _short(self, text: str) -> str:
        """Return text from outside as a short line without the token."""
        if self._settings.token:
            text = text.replace(self._settings.token, "…")
        text = "".join(c if c.isprintable() else " " for c in text).strip()
        return text if len(text) <= _WORDS_KEPT else text[: _WORDS_KEPT - 1] + "…"

    def _advice(self, status: int | None) -> str:
        tried = "It is tried again until it works, and no reading is lost."
        if status in (401, 403):
            token, bucket = self._settings.token_env, self._settings.bucket
            return f"Check that the token in {token} may write to the bucket {bucket!r}. {tried}"
        if status in (400, 404):
            return f"Check url, org and bucket under [forward]. {tried}"
        if status is None:
            return f"Check that it runs, and the network on the way to it. {tried}"
        return tried


def dropped_as_too_old(words: str) -> int | None:
    """Return how many points an engine dropped as older than it keeps any, None if it's not that.

    The others of the same request are kept.

    Example:
        >>> dropped_as_too_old("partial write: points beyond retention policy dropped=3")
        3
    """
    found = _TOO_OLD.search(words)
    return int(found.group(1)) if found else None
