# SPDX-License-Identifier: MIT
"""Runs collector and API as two processes, and starts either again if it ends."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from types import FrameType

LONGEST_PAUSE_S = 30.0
STEADY_AFTER_S = 60.0
GRACE_S = 6.0


@dataclass(slots=True)
class Part:
    """One of the two processes.

    Attributes:
        name: "collect" or "serve".
        command: What is run.
        process: The running process, None before the start.
        started_s: When it was started, steady clock [s].
        pause_s: How long to wait before the next start [s].
        due_s: When the next start is due, steady clock [s].
    """

    name: str
    command: Sequence[str]
    process: subprocess.Popen[bytes] | None = None
    started_s: float = 0.0
    pause_s: float = 0.5
    due_s: float = 0.0


def own_command(*arguments: str) -> list[str]:
    """Return the command that runs this program again, whatever folder it is run in."""
    return [sys.executable, "-P", "-m", "api.cli", *arguments]


def run_parts(parts: Sequence[Part], say: Callable[[str], None]) -> int:
    """Run parts until told to stop; start again, with a growing pause, what ends by itself.

    Args:
        parts: What to run.
        say: Prints one line.

    Returns:
        0 after a signal; the exit code of a part that refused to start at all.
    """
    stopping = False

    def stop(_signal: int, _frame: FrameType | None) -> None:
        nonlocal stopping
        stopping = True

    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, stop)
    code = 0
    try:
        while not stopping and code == 0:
            for part in parts:
                code = code or _look_after(part, say)
            time.sleep(0.1)
    finally:
        _end(parts)
    return code


def _look_after(part: Part, say: Callable[[str], None]) -> int:
    now_s = time.monotonic()
    if part.process is None:
        if now_s >= part.due_s:
            part.process = subprocess.Popen(part.command)
            part.started_s = now_s
        return 0
    code = part.process.poll()
    if code is None:
        return 0
    lasted_s = now_s - part.started_s
    if code in (1, 2) and lasted_s < 10.0 and part.pause_s <= 0.5:
        return code  # it refused its start, and has said why
    part.pause_s = 0.5 if lasted_s > STEADY_AFTER_S else min(part.pause_s * 2, LONGEST_PAUSE_S)
    part.process, part.due_s = None, now_s + part.pause_s
    say(f"{part.name} ended (code {code}) and is started again in {part.pause_s:g} s.")
    return 0


def _end(parts: Sequence[Part]) -> None:
    running = [part.process for part in parts if part.process and part.process.poll() is None]
    for process in running:
        process.terminate()
    for process in running:
        try:
            process.wait(GRACE_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
