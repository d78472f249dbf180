"""The check for foreign packages of our names, with real ones on the path of a new process."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import collector
from collector.layout import PACKAGES, check_layout

ROOT = Path(collector.__file__).resolve().parent.parent
CHECK = """
import sys
from collector.errors import LayoutError
from collector.layout import check_layout
try:
    print(check_layout())
except LayoutError as error:
    print(error)
    sys.exit(3)
"""


def run_check(folder: Path, *, first_on_path: Path) -> subprocess.CompletedProcess[str]:
    # -P keeps the current folder off the path, as for an installed console script.
    environment = {**os.environ, "PYTHONPATH": f"{first_on_path}{os.pathsep}{ROOT}"}
    return subprocess.run(
        [sys.executable, "-P", "-c", CHECK],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )


def foreign_package(folder: Path, name: str) -> Path:
    package = folder / name
    package.mkdir(parents=True)
    (package / "__init__.py").write_text('raise SystemExit("the foreign code was run")\n')
    return package


def test_the_three_packages_share_one_root() -> None:
    assert check_layout() == ROOT


def test_nothing_shadows_our_packages_from_an_empty_folder(tmp_path: Path) -> None:
    done = run_check(tmp_path, first_on_path=ROOT)
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.strip() == str(ROOT)


@pytest.mark.parametrize("name", ["api", "dashboards"])
def test_a_foreign_package_is_named_with_its_file_and_its_code_is_not_run(
    tmp_path: Path, name: str
) -> None:
    foreign_package(tmp_path / "elsewhere", name)
    done = run_check(tmp_path, first_on_path=tmp_path / "elsewhere")
    assert done.returncode == 3, done.stdout + done.stderr
    assert str(tmp_path / "elsewhere" / name / "__init__.py") in done.stdout
    assert str(ROOT / name / "__init__.py") in done.stdout
    assert "Install the program again" in done.stdout


def test_a_foreign_folder_where_the_program_is_started_is_to_be_left_or_renamed(
    tmp_path: Path,
) -> None:
    foreign_package(tmp_path, "api")
    done = run_check(tmp_path, first_on_path=tmp_path)
    assert done.returncode == 3, done.stdout + done.stderr
    assert "Start the program from another folder" in done.stdout
    assert "rename 'api'" in done.stdout


def test_a_single_foreign_file_shadows_too(tmp_path: Path) -> None:
    (tmp_path / "api.py").write_text("")
    done = run_check(tmp_path, first_on_path=tmp_path)
    assert done.returncode == 3, done.stdout + done.stderr
    assert "rename 'api.py'" in done.stdout


def copied_packages(folder: Path) -> Path:
    for name in PACKAGES:
        (folder / name).mkdir(parents=True)
        for file in (ROOT / name).glob("*.py"):
            shutil.copy(file, folder / name)
    return folder


def test_a_missing_package_is_named(tmp_path: Path) -> None:
    copy = copied_packages(tmp_path / "copy")
    shutil.rmtree(copy / "dashboards")
    shutil.copytree(ROOT / "collector", copy / "collector", dirs_exist_ok=True)
    environment = {**os.environ, "PYTHONPATH": str(copy)}
    done = subprocess.run(
        [sys.executable, "-P", "-S", "-c", CHECK],  # -S: without the installed packages
        cwd=tmp_path,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 3, done.stdout + done.stderr
    assert "'dashboards' is not found" in done.stdout


def test_a_package_file_that_another_distribution_overwrote_is_named(tmp_path: Path) -> None:
    copy = copied_packages(tmp_path / "copy")
    (copy / "api" / "__init__.py").write_text("from .client import Client\n")
    done = run_check(tmp_path, first_on_path=copy)
    assert done.returncode == 3, done.stdout + done.stderr
    assert "'api' was overwritten" in done.stdout
    assert str(copy / "api" / "__init__.py") in done.stdout


def test_a_package_file_that_another_distribution_took_away_is_named(tmp_path: Path) -> None:
    copy = copied_packages(tmp_path / "copy")
    (copy / "api" / "__init__.py").unlink()
    done = run_check(tmp_path, first_on_path=copy)
    assert done.returncode == 3, done.stdout + done.stderr
    assert "'api'" in done.stdout
