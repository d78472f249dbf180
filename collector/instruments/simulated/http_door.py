# SPDX-License-Identifier: MIT
"""A virtual instrument that posts SenML packs over HTTP, with a spool and retries.

Must not import `api`. A reading leaves the spool only when the answer says that it is kept; a pack
that is refused for good is set aside, counted and kept, so that it can't block the others.
"""

from __future__ import annotations

import logging
import threading
import time
import urllib.error
import urllib.request
import uuid
from collections import deque

from collector.errors import InstrumentLostError
from collector.instruments.simulated.channels import Said
from collector.instruments.simulated.senml_pack import senml_pack

PACK_LARGEST = 200
ANSWER_S = 10.0
BACK_OFF_S = (0.2, 5.0)
FINISH_S = 10.0
_FOR_GOOD = frozenset({400, 404, 405, 413, 415, 422})
_log = logging.getLogger(__name__)


class HttpProbe:
    """A virtual probe or scale that posts to `/v1/readings`.

    Attributes:
        boot: Its boot id, in every pack.
        sequence: Running number of the last reading.
        kept: How many readings the server has acknowledged.
        refused: Readings that the server refused for good.
    """

    def __init__(self, url: str, *, token: str = "", boot: str = "") -> None:
        """Begin to post what is said.

        Args:
            url: Address of the server, without path.
            token: Sent as a bearer token, if there is one.
            boot: Boot id; made up if empty.
        """
        self.boot = boot or uuid.uuid4().hex[:12]
        self.sequence = 0
        self.kept = 0
        self.refused: list[Said] = []
        self._url = url.rstrip("/") + "/v1/readings"
        self._token = token
        self._spool: deque[tuple[int, Said]] = deque()
        self._changed = threading.Condition()
        self._closing = False
        # No proxy: the demo talks to its own machine.
        self._opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
        self._thread = threading.Thread(target=self._post_all, name=f"post {url}", daemon=True)
        self._thread.start()

    @property
    def waiting(self) -> int:
        """How many readings the server hasn't acknowledged yet."""
        return len(self._spool)

    def say(self, said: Said) -> None:
        """Put a reading into the spool."""
        with self._changed:
            self.sequence += 1
            self._spool.append((self.sequence, said))
            self._changed.notify()

    def pump(self) -> None:
        """Nothing to do: the spool empties by itself."""

    def close(self, finish_s: float = FINISH_S) -> None:
        """Wait until the server has all, and stop.

        Args:
            finish_s: How long to wait at most [s].

        Raises:
            InstrumentLostError: The server hasn't got all of it by then.
        """
        with self._changed:
            self._changed.wait_for(lambda: not self._spool, finish_s)
            self._closing = True
            self._changed.notify_all()
        self._thread.join(ANSWER_S + BACK_OFF_S[1])
        if self._spool:
            raise InstrumentLostError(
                f"{len(self._spool)} readings were never acknowledged.",
                where=self._url,
                do="Start the server before the virtual instrument is closed.",
            )

    def _post_all(self) -> None:
        delay_s = BACK_OFF_S[0]
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._spool or self._closing)
                if self._closing:
                    return
                batch = [self._spool[n] for n in range(min(len(self._spool), PACK_LARGEST))]
            answer = self._post(senml_pack(batch, self.boot))
            if answer is None or not (200 <= answer < 300 or answer in _FOR_GOOD):
                self._pause(delay_s)
                delay_s = min(2.0 * delay_s, BACK_OFF_S[1])
                continue
            delay_s = BACK_OFF_S[0]
            with self._changed:
                for _ in batch:
                    self._spool.popleft()
                if answer < 300:
                    self.kept += len(batch)
                else:
                    self.refused.extend(said for _, said in batch)
                self._changed.notify_all()

    def _pause(self, delay_s: float) -> None:
        end = time.monotonic() + delay_s
        with self._changed:
            while not self._closing and (left := end - time.monotonic()) > 0.0:
                self._changed.wait(left)

    def _post(self, pack: bytes) -> int | None:
        """Return the status of the answer, None if there was none."""
        headers = {"Content-Type": "application/senml+json"}
        if self._token:
            headers["Authorization"] = f"Bearer {self._token}"
        request = urllib.request.Request(self._url, data=pack, headers=headers, method="POST")
        try:
            with self._opener.open(request, timeout=ANSWER_S) as answer:
                return int(answer.status)
        except urllib.error.HTTPError as error:
            with error:
                said = error.read(500).decode("utf-8", "replace")
            _log.warning("%s answered %s: %s", self._url, error.code, said)
            return error.code
        except OSError as error:
            _log.info("%s can't be reached: %s", self._url, error)
            return None
