# SPDX-License-Identifier: MIT
"""JSON as RFC 8259 has it, with every number as the decimal that was written. Pure.

Source: RFC 8259 (from memory): UTF-8 without a byte order mark, no NaN or Infinity, names of an
object unique. A repeated name is refused here, because two values for one name can't both be meant.
"""

from __future__ import annotations

import json
import math
from decimal import Decimal
from typing import NoReturn

from collector.errors import FrameError
from collector.frames.names import shown

_DIGITS_READ = 400
_MAX_BYTES = 4 * 1024 * 1024


def _number(text: str) -> Decimal:
    if len(text) > _DIGITS_READ:
        raise FrameError(f"a number of {len(text)} characters is too long.")
    near = float(text)
    if not math.isfinite(near):
        raise FrameError(f"the number {shown(text)} is too large.")
    return Decimal(text) if near else Decimal(0)


def _constant(text: str) -> NoReturn:
    raise FrameError(f"{text} is not JSON.", do="Leave the reading out, or send null.")


def _object(pairs: list[tuple[str, object]]) -> dict[str, object]:
    result = dict(pairs)
    if len(result) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise FrameError(f"the name {shown(twice)} stands twice in one object.")
    return result


def load_json(data: bytes) -> object:
    """Return what a JSON text says; numbers are `Decimal`.

    Args:
        data: The text in UTF-8, at most 4 MiB.

    Returns:
        dict, list, str, Decimal, bool or None.

    Raises:
        FrameError: It isn't JSON.
    """
    if len(data) > _MAX_BYTES:
        raise FrameError(f"{len(data)} bytes of JSON are too many.", do="Send at most 4 MiB.")
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise FrameError(f"byte {error.start} is not UTF-8.") from error
    try:
        value: object = json.loads(
            text,
            parse_float=_number,
            parse_int=_number,
            parse_constant=_constant,
            object_pairs_hook=_object,
        )
    except json.JSONDecodeError as error:
        raise FrameError(f"not JSON: {error.msg} at character {error.pos}.") from error
    except RecursionError as error:
        raise FrameError("not usable: nested too deep.") from error
    return value
