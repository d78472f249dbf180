# SPDX-License-Identifier: MIT
"""The launcher as a module, and the commands that it would have run."""

from __future__ import annotations

import importlib.util
import sys
from importlib.machinery import SourceFileLoader
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture
def launcher(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """The launcher as a module of its own, working in a copy of the project's set-up files."""
    loader = SourceFileLoader("launcher", str(ROOT / "curdwright"))
    spec = importlib.util.spec_from_loader("launcher", loader)
    assert spec is not None
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    module = importlib.util.module_from_spec(spec)
    loader.exec_module(module)
    for name in module.NEEDS:
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes((ROOT / name).read_bytes())
    for name, value in list(vars(module).items()):
        if isinstance(value, str) and value.startswith(str(ROOT)) and name.isupper():
            setattr(module, name, value.replace(str(ROOT), str(tmp_path), 1))
    return module


@pytest.fixture
def commands(launcher: ModuleType, monkeypatch: pytest.MonkeyPatch) -> list[list[str]]:
    """Every command that the launcher would have run; making the environment leaves a Python."""
    kept: list[list[str]] = []

    def run(command: list[str], saying: str, needed: bool = True) -> int:
        kept.append(command)
        if "venv" in command:
            Path(launcher.PYTHON).parent.mkdir(exist_ok=True)
            Path(launcher.PYTHON).touch()
        return 0

    monkeypatch.setattr(launcher, "run", run)
    return kept
