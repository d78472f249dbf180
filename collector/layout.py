# SPDX-License-Identifier: MIT
"""Whether `collector`, `api` and `dashboards` are ours: plain names that others may use too.

Another distribution, or a folder of the same name in the current directory, can shadow one of
them without a word, and the program would then run half of one and half of the other. Imports
only the ground, and nothing of the packages that it looks for.
"""

from __future__ import annotations

import ast
import importlib.util
from pathlib import Path

from collector.errors import LayoutError

PACKAGES = ("collector", "api", "dashboards")


def check_layout() -> Path:
    """Return the folder that the three packages share.

    Raises:
        LayoutError: They don't share one, one is missing, or one was overwritten.
    """
    root = Path(__file__).resolve().parent.parent
    for name in PACKAGES:
        ours = root / name / "__init__.py"
        found = _found(name)
        if found != ours:
            raise LayoutError(
                f"The package {name!r} would be taken from {found}, not from {ours}."
                if found
                else f"The package {name!r} is not found; it should be {ours}.",
                where=str(found or ours),
                do=_remedy(found),
            )
        if not _holds_only_a_docstring(ours):
            raise LayoutError(
                f"The package {name!r} was overwritten: its first file holds foreign code.",
                where=str(ours),
                do=_INSTALL_AGAIN,
            )
    return root


_INSTALL_AGAIN = (
    "Another installed package uses the same name. Install the program again, in an environment "
    "of its own."
)


def _found(name: str) -> Path | None:
    """Return the file that `import name` runs, or the folder if it is one without such a file."""
    try:
        spec = importlib.util.find_spec(name)
    except (ImportError, ValueError):
        return None
    if spec is None:
        return None
    if spec.origin:
        return Path(spec.origin).resolve()
    folders = list(spec.submodule_search_locations or ())
    return Path(folders[0]).resolve() if folders else None


def _remedy(found: Path | None) -> str:
    if found is None:
        return "Install the program again, in an environment of its own."
    shadow = found.parent if found.name == "__init__.py" else found
    if shadow.parent == Path.cwd():
        return (
            "Start the program from another folder by its script's full path, or rename "
            f"{shadow.name!r} there."
        )
    return _INSTALL_AGAIN


def _holds_only_a_docstring(file: Path) -> bool:
    """All our packages' first files do, so other code there is somebody else's."""
    try:
        body = ast.parse(file.read_bytes()).body
    except (OSError, SyntaxError, ValueError):
        return False
    return all(isinstance(part, ast.Expr) and isinstance(part.value, ast.Constant) for part in body)
