# SPDX-License-Identifier: MIT
"""Why a serial port can't be opened, and what to do about it. Looks at /proc; opens nothing."""

from __future__ import annotations

import errno
import os
from pathlib import Path

from collector.errors import InstrumentLostError

_PROC = Path("/proc")


def fault_of(error: Exception, port: str) -> InstrumentLostError:
    """Return what opening a port met with, in words.

    Args:
        error: What was raised.
        port: The path that was to be opened.

    Returns:
        What happened, the port, and what to do.
    """
    number = getattr(error, "errno", None)
    if number in (errno.ENOENT, errno.ENXIO, errno.ENODEV):
        return InstrumentLostError(
            "There is no such port: the instrument is not plugged in.",
            where=port,
            do="Plug it in; it is tried again all the time. Names are listed in /dev/serial/by-id.",
        )
    if number in (errno.EAGAIN, errno.EBUSY):
        return InstrumentLostError(
            "The port is in use by another program.",
            where=port,
            do=f"Stop {_named(holders(port))}; it is tried again all the time.",
        )
    if number in (errno.EACCES, errno.EPERM):
        return InstrumentLostError(
            "The port may not be opened by this user.",
            where=port,
            do="Add the user to the group that owns it (often dialout or uucp) and log in again.",
        )
    return InstrumentLostError(
        f"The port can't be opened ({error}).",
        where=port,
        do="Check the cable and the line settings; it is tried again all the time.",
    )


def holders(port: str, proc: Path = _PROC) -> list[str]:
    """Return the processes that have a port open, as far as this user may see.

    Args:
        port: A path to the device.
        proc: Where processes are listed.

    Returns:
        For each: its name and id.
    """
    device = os.path.realpath(port)
    found = []
    for process in sorted(proc.glob("[0-9]*"), key=lambda folder: int(folder.name)):
        if int(process.name) != os.getpid() and device in _open_files(process):
            try:
                name = (process / "comm").read_text("utf-8", "replace").strip()
            except OSError:
                name = "process"
            found.append(f"{name} ({process.name})")
    return found


def _open_files(process: Path) -> set[str]:
    try:
        return {os.readlink(link) for link in (process / "fd").iterdir()}
    except OSError:  # another user's, or gone meanwhile
        return set()


def _named(found: list[str]) -> str:
    if not found:
        return "what holds it (a terminal program, a modem service, another collector)"
    return " and ".join(found)
