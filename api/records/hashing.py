# SPDX-License-Identifier: MIT
"""How entries are hashed and linked, and whether the rows of a chain still hold. Pure: no I/O.

An entry's text is canonical JSON (keys sorted, no spaces, UTF-8), kept as it was hashed:
hash(n) = SHA-256(hash(n-1) followed by the text's bytes), hash(0) = 32 zero bytes.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass

START = bytes(32)


@dataclass(frozen=True, slots=True)
class ChainFault:
    """Where a chain does not hold."""

    chain: str
    position: int
    what: str


@dataclass(frozen=True, slots=True)
class ChainRow:
    """One row of a chain as the database gives it, which may be anything if it was tampered with.

    Attributes:
        number: Its running number over all chains.
        position: 1, 2, 3 … within its chain.
        id: The record's id.
        kind: What it is.
        text: Canonical JSON.
        hash: Hexadecimal.
    """

    number: object
    position: object
    id: object
    kind: object
    text: object
    hash: object


def canonical(value: object) -> str:
    """Return JSON with sorted keys and no spaces.

    Raises:
        ValueError: It holds a number that is not finite.
    """
    return json.dumps(
        value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )


def link(previous: bytes, text: str) -> bytes:
    """Return SHA-256 of the hash before and the text's bytes, shape (32 bytes)."""
    return hashlib.sha256(previous + text.encode()).digest()


def row_faults(chain: str, rows: Iterable[ChainRow]) -> list[ChainFault]:
    """Recompute a chain from its texts and return every fault.

    Args:
        chain: A batch's id, or "kitchen".
        rows: Its rows by position.
    """
    faults: list[ChainFault] = []
    previous, expected, last = START, 1, 0
    for row in rows:
        position = row.position if isinstance(row.position, int) else expected

        def fault(what: str, at: int = position) -> None:
            faults.append(ChainFault(chain, at, what))

        if position != expected:
            fault(f"entry {expected} is missing", expected)
        computed = link(previous, row.text if isinstance(row.text, str) else "")
        if computed.hex() != row.hash:
            fault("the text or one before it was changed")
        if what := _text_fault(chain, row):
            fault(what)
        if not isinstance(row.number, int) or row.number <= last:
            fault("its running number is not above that of the entry before it")
        else:
            last = row.number
        previous, expected = _kept_hash(row.hash) or computed, position + 1
    return faults


def _kept_hash(text: object) -> bytes | None:
    try:
        kept = bytes.fromhex(str(text))
    except ValueError:
        return None
    return kept if len(kept) == len(START) else None


def _text_fault(chain: str, row: ChainRow) -> str:
    """Return what is wrong between a row's text and its columns, "" if nothing is."""
    try:
        said = json.loads(row.text if isinstance(row.text, str) else "")
        named = (said["chain"], said["position"], said["id"], said["kind"])
        whole = isinstance(said["body"], dict) and {"at", "who"} <= said.keys()
    except (ValueError, LookupError, TypeError, RecursionError):
        return "its text can't be read"
    if not whole or named != (chain, row.position, row.id, row.kind):
        return "its columns don't agree with its text"
    return ""
