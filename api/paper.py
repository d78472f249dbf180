# SPDX-License-Identifier: MIT
"""The record as PDF: the browser's own print, made by a Chromium that is on the machine.

One layout engine lays out screen, print and file, so a sheet looks the same however it was made.
Nothing is asked of the network: the page is one file with its style sheets inside and no script.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import tempfile
import threading
from pathlib import Path

from api.problems import ProblemError

BROWSERS = ("chromium", "chromium-browser", "google-chrome-stable", "google-chrome", "chrome")
LONGEST_S = 60.0
_LINK = re.compile(r'<link rel="stylesheet" href="/static/([^"]+)"(?: media="(\w+)")?>')
_SCRIPT = re.compile(r"<script\b.*?</script>", re.DOTALL)
_one_at_a_time = threading.Lock()


def browser() -> str | None:
    """Return the program that prints, None where there is none."""
    named = os.environ.get("CURDWRIGHT_BROWSER")
    return named or next((found for name in BROWSERS if (found := shutil.which(name))), None)


def standing_alone(page: str, static: Path) -> str:
    """Return a page with its style sheets inside, without scripts.

    Args:
        page: HTML as the server gives it.
        static: The folder of its style sheets.
    """

    def sheet(found: re.Match[str]) -> str:
        css = (static / found[1]).read_text(encoding="utf-8")
        media = f' media="{found[2]}"' if found[2] else ""
        return f"<style{media}>{css}</style>"

    return _LINK.sub(sheet, _SCRIPT.sub("", page))


def pdf_of(page: str, static: Path, *, program: str | None = None) -> bytes:
    """Return a page as PDF, as the browser prints it.

    Args:
        page: HTML as the server gives it.
        static: The folder of its style sheets.
        program: The browser; the machine's own if None.

    Raises:
        ProblemError: There is none, or it printed nothing.
    """
    program = program or browser()
    if program is None:
        raise ProblemError(
            501,
            "No browser of the Chromium family is on this machine, so the server can't make a PDF.",
            where="record.pdf",
            do="Open the record and press Print, then choose 'save as PDF': it gives the same two "
            "sheets. Or install Chromium, or name one in CURDWRIGHT_BROWSER.",
        )
    with _one_at_a_time, tempfile.TemporaryDirectory(prefix="curdwright-pdf-") as name:
        folder = Path(name)
        (folder / "record.html").write_text(standing_alone(page, static), encoding="utf-8")
        made = folder / "record.pdf"
        command = [
            program, "--headless", "--disable-gpu", "--disable-background-networking",
            "--disable-component-update", "--disable-sync", "--no-first-run",
            f"--user-data-dir={folder / 'profile'}", "--no-pdf-header-footer",
            "--host-resolver-rules=MAP * ~NOTFOUND", f"--print-to-pdf={made}",
        ]  # fmt: skip
        if hasattr(os, "geteuid") and os.geteuid() == 0:
            command.append("--no-sandbox")  # Chromium refuses to run its sandbox as root
        _run([*command, (folder / "record.html").as_uri()])
        if not made.exists():
            raise ProblemError(
                501, f"The browser {program} printed nothing.", where="record.pdf", do=_BY_HAND
            )
        return made.read_bytes()


_BY_HAND = "Open the record and press Print: it gives the same two sheets."


def _run(command: list[str]) -> None:
    try:
        subprocess.run(
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            timeout=LONGEST_S,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise ProblemError(
            501,
            f"The browser {command[0]} did not print within {LONGEST_S:.0f} s.",
            where="record.pdf",
            do=_BY_HAND,
        ) from error
    except OSError as error:
        raise ProblemError(
            501,
            f"The browser {command[0]} can't be run ({error.strerror}).",
            where="record.pdf",
            do=_BY_HAND,
        ) from error
