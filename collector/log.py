# SPDX-License-Identifier: MIT
"""The collector's log: one JSON object a line, through the standard library's logging.

Imports nothing of the project.
"""

from __future__ import annotations

import datetime
import json
import logging
from typing import TextIO


def say(
    logger: logging.Logger, event: str, /, *, level: int = logging.INFO, **fields: object
) -> None:
    """Write one line about something that happened.

    Args:
        logger: The logger of the module that says it.
        event: What happened, a short fixed text that can be searched for.
        level: As in `logging`.
        fields: The facts, each with its unit in its name.
    """
    if logger.isEnabledFor(level):
        logger.log(level, event, extra={"fields": fields})


class JsonLines(logging.Formatter):
    """Formats a log record as one line of JSON: time, level, from, event, then the facts."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line; what JSON can't hold is written as text."""
        time_utc = datetime.datetime.fromtimestamp(record.created, datetime.UTC)
        line: dict[str, object] = {
            "time": time_utc.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
            "level": record.levelname.lower(),
            "from": record.name,
            "event": record.getMessage(),
        }
        fields = getattr(record, "fields", None)
        if isinstance(fields, dict):
            line.update({key: value for key, value in fields.items() if key not in line})
        if record.exc_info:
            line["trace"] = self.formatException(record.exc_info)
        try:
            return json.dumps(line, default=str, allow_nan=False)
        except ValueError:  # a number that is none, or a circle
            return json.dumps({key: str(value) for key, value in line.items()})


def log_to(stream: TextIO, level: int = logging.INFO) -> None:
    """Send everything that is logged in this process to `stream` as JSON lines."""
    handler = logging.StreamHandler(stream)
    handler.setFormatter(JsonLines())
    root = logging.getLogger()
    root.handlers = [handler]
    root.setLevel(level)
