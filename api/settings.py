# SPDX-License-Identifier: MIT
"""What the maker set on the page Set-up: records that win over the configuration file.

The file gives the defaults. What is set on the page is an entry of the kitchen's chain, so that it
survives a restart, says who set it and when, and can be taken back; then the file holds again.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from api.records.chain import Entry
from api.records.journal import Journal
from collector.config import Config
from collector.config import Kitchen as Place
from collector.errors import RecordError

KIND = "setting"
IN_THE_FILE = ("name", "zone", "altitude_m", "pressure_hpa", "room_temperature_degc", "when_heated")
ON_THE_PAGE = ("temperature_unit", "mass_unit", "currency")
# Set together: a pressure that was measured takes the place of an altitude, and the reverse.
_ALTITUDE = ("altitude_m", "pressure_hpa")
_READ_AGAIN_S = 2.0


@dataclass(frozen=True, slots=True)
class Setting:
    """One thing that can be set.

    Attributes:
        key: Its name.
        value: What holds now; None where nothing does.
        by: Who says so: "page", "file" or "default".
        file: What the file or its default says; None where it says nothing.
        at: When it was set on the page, RFC 3339; "" where it wasn't.
        who: Who set it there.
    """

    key: str
    value: Any
    by: str
    file: Any
    at: str = ""
    who: str = ""


class Settings:
    """Reads and keeps what is set on the page."""

    def __init__(self, journal: Journal, file: Config) -> None:
        """Take the records, and the configuration as the file gives it."""
        self._journal = journal
        self._file = file
        self._lock = threading.Lock()
        self._read_at_s = float("-inf")
        self._said: dict[str, tuple[Any, Entry]] = {}
        self._config = file

    @property
    def file(self) -> Config:
        """The configuration as the file gives it."""
        return self._file

    @property
    def config(self) -> Config:
        """The configuration that holds: the file's, with what was set on the page."""
        self._read()
        return self._config

    def all(self) -> list[Setting]:
        """Return every setting with who says so."""
        said = self._read()
        return [self._one(key, said) for key in (*IN_THE_FILE, *ON_THE_PAGE)]

    def value(self, key: str) -> Any:
        """Return what holds for one key, None where nothing does."""
        return self._one(key, self._read()).value

    def keep(
        self,
        values: Mapping[str, Any],
        *,
        restored: tuple[str, ...] = (),
        said: Mapping[str, Any],
        record_id: str | None,
        who: str,
    ) -> None:
        """Keep what was set, and let the file hold again for what is restored.

        Args:
            values: By key; an altitude ends a pressure that was set, and the reverse.
            restored: Keys that the file shall say again.
            said: As the sender said it.
            record_id: An id made by the sender.
            who: Who sets it.

        Raises:
            RecordError: A value can't be.
        """
        whole = dict(values)
        if any(whole.get(key) is not None for key in _ALTITUDE):
            whole = {**dict.fromkeys(_ALTITUDE), **whole}
        if any(key in restored for key in _ALTITUDE):
            restored = (*restored, *(key for key in _ALTITUDE if key not in restored))
        self._check(whole)
        body = {"set": whole, "restored": list(restored), "said": said}
        self._journal.keep(KIND, body, record_id=record_id, who=who)
        with self._lock:
            self._read_at_s = float("-inf")

    def _check(self, values: Mapping[str, Any]) -> None:
        mine = {key: value for key, value in values.items() if key in IN_THE_FILE}
        try:
            Place.model_validate({**self._file.kitchen.model_dump(), **mine})
        except ValidationError as error:
            first = error.errors()[0]
            where = ".".join(str(part) for part in first["loc"])
            raise RecordError(
                f"{str(first['msg']).removeprefix('Value error, ')}: {first['input']!r}.",
                where=where,
                do="Mend it and save again; what was set before still holds.",
            ) from error

    def _read(self) -> dict[str, tuple[Any, Entry]]:
        with self._lock:
            # Another process may have set something: look again now and then.
            if time.monotonic() - self._read_at_s < _READ_AGAIN_S:
                return self._said
        found: dict[str, tuple[Any, Entry]] = {}
        for entry in self._journal.kitchen(KIND):
            for key in entry.body.get("restored") or []:
                found.pop(key, None)
            for key, value in entry.body["set"].items():
                found[key] = (value, entry)
        mine = {key: value for key, (value, _) in found.items() if key in IN_THE_FILE}
        place = self._file.kitchen.model_copy(update=mine)
        with self._lock:
            self._said = found
            self._config = self._file.model_copy(update={"kitchen": place})
            self._read_at_s = time.monotonic()
        return found

    def _one(self, key: str, said: Mapping[str, tuple[Any, Entry]]) -> Setting:
        place = self._file.kitchen
        in_file = getattr(place, key, None)
        if key in said:
            value, entry = said[key]
            return Setting(key, value, "page", in_file, entry.at, entry.who)
        by = "file" if key in place.model_fields_set else "default"
        return Setting(key, in_file, by, in_file)
