# SPDX-License-Identifier: MIT
"""Checks all that is kept: the files, the chains, the list of batches, and the seals.

What it can't tell: a change of readings that no seal covers (of open batches, of series that were
bound to none); of routes and of notices that wait to be sent, which are in no chain; of the
index of arrivals; that both files were put back to an older state together; and a forgery that
computes every hash anew. Against the last two, note the head of the kitchen's chain elsewhere: it
is printed.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from sqlalchemy.exc import SQLAlchemyError

from api.closing import is_sealed
from api.kitchen import Kitchen, open_kitchen
from api.photos.files import PhotoFiles, photo_faults
from api.records.chain import KITCHEN, Entry
from api.records.database import damage, numbering_faults
from api.records.listing import listed, rows
from api.sealing import Window, clock_digest
from api.times import parse_ms
from collector.errors import CurdwrightError, StoreError

Say = Callable[[str], None]
_UNREADABLE = (
    CurdwrightError, sqlite3.Error, SQLAlchemyError, ValueError, LookupError, TypeError,
    AttributeError,
)  # fmt: skip


def verify_folder(data_dir: Path, *, say: Say) -> list[str]:
    """Return every fault of a data folder, [] if it is clean.

    Args:
        data_dir: The folder.
        say: Prints one line of progress.

    Raises:
        StoreError: There is nothing to verify, or it can't be opened.
    """
    records = data_dir / "records.sqlite3"
    if not records.exists() or records.stat().st_size == 0:
        raise StoreError(
            "There are no records here.",
            where=str(data_dir),
            do="Name the folder with --data; if it is the right one, restore a copy of it.",
        )
    kitchen = open_kitchen(data_dir)
    try:
        return verify(kitchen, say=say)
    finally:
        kitchen.close()


def verify(kitchen: Kitchen, *, say: Say) -> list[str]:
    """Return every fault of an open kitchen, [] if it is clean."""
    faults: list[str] = []
    checks: tuple[tuple[str, Callable[[], Iterator[str]]], ...] = (
        ("records file", lambda: iter(damage(kitchen.journal.engine))),
        ("readings file", lambda: iter(kitchen.readings.damage())),
        ("chains", lambda: _chain_faults(kitchen, say)),
        ("list of batches", lambda: _listing_faults(kitchen)),
        ("seals", lambda: _all_seal_faults(kitchen, say)),
        ("photos", lambda: _photo_faults(kitchen)),
    )
    for what, check in checks:
        try:
            faults.extend(f"{what}: {fault}" for fault in check())
        except _UNREADABLE as error:
            faults.append(f"{what}: it can't be checked ({error})")
    return faults


def _chain_faults(kitchen: Kitchen, say: Say) -> Iterator[str]:
    yield from numbering_faults(kitchen.journal.engine)
    chains = kitchen.journal.chains
    names = chains.chains()
    for name in names:
        for fault in chains.verify(name):
            yield f"{fault.chain}, entry {fault.position}: {fault.what}"
    say(f"{len(names)} chains, {chains.last_number()} records checked.")
    length, head = chains.head(KITCHEN)
    say(f"The kitchen's chain has {length} records and the head {head}.")


def _listing_faults(kitchen: Kitchen) -> Iterator[str]:
    """The list must say of each batch what its chain says."""
    kept, chains = rows(kitchen.journal.engine), kitchen.journal.chains.chains()
    for batch_id in sorted(set(chains) - {KITCHEN} - kept.keys()):
        yield f"{batch_id}: it is missing from the list of batches"
    for batch_id, row in kept.items():
        if batch_id not in chains:
            yield f"{batch_id}: it is listed, and has no records"
            continue
        try:
            told = listed(kitchen.journal.batch(batch_id))
        except _UNREADABLE as error:
            yield f"{batch_id}: it can't be read: {error}"
            continue
        for name, value in told.items():
            if row[name] != value:
                yield f"{batch_id}: the list says {name} {row[name]!r}, its records {value!r}"


def _all_seal_faults(kitchen: Kitchen, say: Say) -> Iterator[str]:
    seals = kitchen.journal.chains.of_kind(KITCHEN, "seal")
    late = 0
    for seal in seals:
        yield from _seal_faults(kitchen, seal)
        yield from _clock_faults(kitchen, seal)
        for window in seal.body["series"]:
            found = _read(kitchen, window)
            late += max(len(found.readings) - window["count"], 0)
            yield from _window_faults(seal, window, found)
    for batch_id in kitchen.journal.batch_ids(state="closed"):
        if not is_sealed(kitchen, kitchen.journal.batch(batch_id), seals):
            yield f"{batch_id}: closed without a seal"
    say(f"{len(seals)} seals checked; {late} readings came into their spans later.")


def _photo_faults(kitchen: Kitchen) -> Iterator[str]:
    """Each photo that a record names must be there, and be what it was."""
    files = PhotoFiles(kitchen.data_dir)
    for batch_id in rows(kitchen.journal.engine):
        yield from photo_faults(files, kitchen.journal.batch(batch_id))


def _seal_faults(kitchen: Kitchen, seal: Entry) -> Iterator[str]:
    batch_id = seal.body["batch"]
    entries = kitchen.journal.chains.read(batch_id)
    sealed = next((e for e in entries if e.position == seal.body["length"]), None)
    if sealed is None:
        yield f"{batch_id}: {seal.body['length']} records were sealed, some are missing"
    elif sealed.hash != seal.body["head"]:
        yield f"{batch_id}: the sealed head differs from entry {sealed.position}"


def _clock_faults(kitchen: Kitchen, seal: Entry) -> Iterator[str]:
    sealed = seal.body["clock_steps"]
    if clock_digest(kitchen.readings.clock_steps()[: sealed["count"]]) != sealed:
        yield f"{seal.body['batch']}: the sealed steps of the clock were changed"


def _read(kitchen: Kitchen, window: dict[str, Any]) -> Window:
    span = parse_ms(window["from"]), parse_ms(window["to"])
    return Window.of(kitchen.readings, window["series"], *span)


def _window_faults(seal: Entry, window: dict[str, Any], found: Window) -> Iterator[str]:
    # What arrived after the seal is no fault: it asks for a new revision of the analysis.
    where = f"{seal.body['batch']}, {window['series']}"
    sealed = found.first_to_come(window["count"], window["conflicts"]).digest()
    missing = window["count"] - sealed["count"]
    if missing > 0:
        yield f"{where}: {missing} sealed readings are missing"
    elif sealed["sha256"] != window["sha256"]:
        yield f"{where}: a sealed reading was changed, or one was put among them"
    if sealed["conflicts_sha256"] != window["conflicts_sha256"]:
        yield f"{where}: a sealed reading in conflict with another was changed"
    for what in found.disagreements():
        yield f"{where}: {what}"
