# SPDX-License-Identifier: MIT
"""JSON answers: numbers that are not finite become null, numpy arrays are written as they are."""

from __future__ import annotations

from typing import Any

import orjson
from fastapi.responses import Response


class Json(Response):
    """An answer written by orjson."""

    media_type = "application/json"

    def render(self, content: Any) -> bytes:
        """Return the content as JSON bytes."""
        return orjson.dumps(content, option=orjson.OPT_SERIALIZE_NUMPY | orjson.OPT_NON_STR_KEYS)
