# SPDX-License-Identifier: MIT
"""The wheel and the editable install, built for real from a fresh copy and put to use."""

from __future__ import annotations

import re
import shutil
import socket
import subprocess
import sys
import tomllib
import zipfile
from collections.abc import Mapping
from pathlib import Path

import pytest

pytestmark = [pytest.mark.e2e, pytest.mark.timeout(900)]

ROOT = Path(__file__).resolve().parents[2]
VENDOR = Path("dashboards", "static", "vendor")
UPLOT = ("uPlot.esm.js", "uPlot.min.css", "uPlot.LICENSE.txt")
BUILD_ONLY = {"build_hook.py", "package.json", "package-lock.json"}


def fresh_copy(folder: Path) -> Path:
    """What a clone has: without the environment, the caches, and what a run or a build made."""
    everywhere = shutil.ignore_patterns(".*", "__pycache__", "vendor", "node_modules")

    def left_out(place: str, names: list[str]) -> set[str]:
        at_the_top = {"data", "dist", "build"} if Path(place) == ROOT else set()
        return set(everywhere(place, names)) | at_the_top

    shutil.copytree(ROOT, folder, ignore=left_out)
    shutil.copy(ROOT / ".gitignore", folder)
    return folder


def pip(*arguments: str | Path, env: Mapping[str, str] | None = None) -> str:
    """Run pip and return all that it and the build said."""
    command = [sys.executable, "-m", "pip", *map(str, arguments)]
    done = subprocess.run(command, env=env, capture_output=True, text=True)
    assert done.returncode == 0, f"{' '.join(command)}\n{done.stdout}\n{done.stderr}"
    return done.stdout + done.stderr


def build(source: Path, folder: Path, env: Mapping[str, str] | None = None) -> tuple[Path, str]:
    """Build the wheel; return it and all that was said."""
    said = pip("wheel", "--verbose", "--no-deps", "--wheel-dir", folder, source, env=env)
    [wheel] = folder.glob("curdwright-*.whl")
    return wheel, said


def new_environment(folder: Path) -> Path:
    """Make an empty environment; return its Python."""
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", folder], check=True)
    return folder / "bin" / "python"


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    source = fresh_copy(tmp_path_factory.mktemp("source") / "a folder with spaces")
    built, said = build(source, tmp_path_factory.mktemp("wheel"))
    assert "curdwright: warning" not in said
    return built


def test_the_wheel_brings_uplot_with_its_licence(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        script, style, licence = (archive.read((VENDOR / n).as_posix()).decode() for n in UPLOT)
    assert "export{" in script
    assert ".uplot" in style
    assert "MIT License" in licence and "Leon Sorokin" in licence


def test_the_curve_library_has_no_syntax_newer_than_2018(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        script = archive.read((VENDOR / "uPlot.esm.js").as_posix()).decode()
    newer = r"\?\?|\?\.(?!\d)|\bcatch\s*\{|[|&]{2}=|\d_\d|\d+n\b|\bimport\s*[(.]|#\w+\s*[=(]"
    assert re.findall(newer, script) == []


def test_the_wheel_holds_every_file_of_the_three_packages_and_no_other(wheel: Path) -> None:
    skipped = {"__pycache__", "vendor", "node_modules", "docs"}  # docs: the README's pictures
    there = {
        path.relative_to(ROOT).as_posix()
        for package in ("collector", "api", "dashboards")
        for path in (ROOT / package).rglob("*")
        if path.is_file() and not skipped & set(path.parts)
    } - {f"dashboards/{name}" for name in BUILD_ONLY}
    with zipfile.ZipFile(wheel) as archive:
        names = archive.namelist()
    packed = {name for name in names if ".dist-info/" not in name}
    vendor = {f"{VENDOR.as_posix()}/{name}" for name in (*UPLOT, "package-lock.json")}
    assert packed == there | vendor
    assert {f"{package}/py.typed" for package in ("collector", "api", "dashboards")} <= packed


def test_the_wheel_installs_into_a_fresh_environment_and_its_command_runs(
    wheel: Path, tmp_path: Path
) -> None:
    python = new_environment(tmp_path / "environment")
    pip("--python", python, "install", wheel)
    foreign = tmp_path / "elsewhere"
    for package in ("api", "collector", "dashboards"):
        (foreign / package).mkdir(parents=True)
        (foreign / package / "__init__.py").write_text("raise SystemExit('the wrong one')\n")
    done = subprocess.run(
        [python.with_name("curdwright"), "--version"], cwd=foreign, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    assert project["version"] in done.stdout
    installed = pip("--python", python, "show", "--files", "curdwright")
    assert str(ROOT) not in installed
    assert (VENDOR / "uPlot.esm.js").as_posix() in installed.replace("\\", "/")


def test_an_editable_install_puts_uplot_into_the_source_tree(tmp_path: Path) -> None:
    source = fresh_copy(tmp_path / "source")
    python = new_environment(tmp_path / "environment")
    pip("--python", python, "install", "--no-deps", "--editable", source)
    assert {path.name for path in (source / VENDOR).iterdir()} == {*UPLOT, "package-lock.json"}
    where = "import dashboards; print(dashboards.__file__)"
    found = subprocess.run(
        [python, "-c", where], cwd=tmp_path, capture_output=True, text=True, check=True
    )
    assert Path(found.stdout.strip()) == source / "dashboards" / "__init__.py"


def test_without_the_npm_registry_the_build_ends_with_one_line_of_warning(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with socket.socket() as closed:
        closed.bind(("127.0.0.1", 0))
        port = closed.getsockname()[1]
    monkeypatch.setenv("npm_config_registry", f"http://127.0.0.1:{port}/")
    built, said = build(fresh_copy(tmp_path / "source"), tmp_path / "out")
    warnings = [line.strip() for line in said.splitlines() if "curdwright: warning" in line]
    assert len(warnings) == 1
    assert "uPlot could not be brought from the npm registry (ECONNREFUSED)" in warnings[0]
    assert "the pages draw their curves on the server" in warnings[0]
    assert "Traceback" not in said
    with zipfile.ZipFile(built) as archive:
        names = archive.namelist()
    assert not [name for name in names if name.startswith(VENDOR.as_posix())]
    assert "dashboards/__init__.py" in names
