# SPDX-License-Identifier: MIT
"""Checks all that is kept: chains, seals, and the readings under the seals."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from api.closing import before, window_digest
from api.kitchen import Kitchen, open_kitchen
from api.records.chain import KITCHEN, Entry
from api.times import parse_ms
from collector.errors import StoreError


def verify_folder(data_dir: Path, *, say: Callable[[str], None]) -> list[str]:
    """Return every fault of a data folder, [] if it is clean.

    Args:
        data_dir: The folder.
        say: Prints one line of progress.

    Raises:
        StoreError: There is nothing to verify, or it can't be opened.
    """
    if not (data_dir / "records.sqlite3").exists():
        raise StoreError(
            "There are no records here.", where=str(data_dir), do="Name the folder with --data."
        )
    kitchen = open_kitchen(data_dir)
    try:
        return verify(kitchen, say=say)
    finally:
        kitchen.close()


def verify(kitchen: Kitchen, *, say: Callable[[str], None]) -> list[str]:
    """Return every fault of an open kitchen, [] if it is clean."""
    faults: list[str] = []
    chains = kitchen.journal.chains.chains()
    for chain in chains:
        for fault in kitchen.journal.chains.verify(chain):
            faults.append(f"{fault.chain}, entry {fault.position}: {fault.what}")
    say(f"{len(chains)} chains, {kitchen.journal.chains.last_number()} records checked.")
    seals = kitchen.journal.chains.of_kind(KITCHEN, "seal")
    for seal in seals:
        faults += _seal_faults(kitchen, seal)
    say(f"{len(seals)} seals checked.")
    known = {entry.body["batch"] for entry in seals}
    for batch in kitchen.journal.batches(state="closed", limit=100_000):
        if batch.id not in known:
            faults.append(f"{batch.id}: closed without a seal")
    return faults


def _seal_faults(kitchen: Kitchen, seal: Entry) -> list[str]:
    batch_id = seal.body["batch"]
    faults: list[str] = []
    entries = kitchen.journal.chains.read(batch_id)
    sealed = next((e for e in entries if e.position == seal.body["length"]), None)
    if sealed is None:
        faults.append(f"{batch_id}: {seal.body['length']} records were sealed, some are missing")
    elif sealed.hash != seal.body["head"]:
        faults.append(f"{batch_id}: the sealed head differs from entry {sealed.position}")
    for window in seal.body["series"]:
        faults += _window_faults(kitchen, seal, window)
    return faults


def _window_faults(kitchen: Kitchen, seal: Entry, window: dict[str, Any]) -> list[str]:
    stretch = kitchen.readings.stretch(
        window["series"], parse_ms(window["from"]), parse_ms(window["to"])
    )
    # What arrived after the seal is no fault: it asks for a new revision of the analysis.
    sealed = before(stretch, parse_ms(seal.at))
    found = window_digest(sealed)
    if found["sha256"] == window["sha256"]:
        return []
    where = f"{seal.body['batch']}, {window['series']}"
    if found["count"] < window["count"]:
        return [f"{where}: {window['count'] - found['count']} sealed readings are missing"]
    if found["count"] > window["count"]:
        return [f"{where}: {found['count'] - window['count']} readings more than were sealed"]
    return [f"{where}: a sealed reading was changed"]
