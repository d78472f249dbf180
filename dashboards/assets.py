# SPDX-License-Identifier: MIT
"""Where the pages' own files lie, and whether the build brought the curve library.

Imports only the standard library.
"""

from __future__ import annotations

import functools
from importlib.resources import files
from pathlib import Path


def static_folder() -> Path:
    """Return the folder that is served at `/static/`."""
    return Path(str(files("dashboards") / "static"))


@functools.cache
def has_uplot() -> bool:
    """Tell whether uPlot is there; without it the page keeps the picture that it came with."""
    vendor = static_folder() / "vendor"
    return (vendor / "uPlot.esm.js").is_file() and (vendor / "uPlot.min.css").is_file()
