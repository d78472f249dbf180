"""The command as its user types it: what it refuses, what it says, how it ends."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.e2e


def run(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-P", "-m", "api.cli", *arguments],
        capture_output=True,
        text=True,
        cwd=folder,
        timeout=60,
    )


def test_help_names_every_verb_and_imports_nothing_heavy(tmp_path: Path) -> None:
    done = run(tmp_path, "--help")

    for verb in ("demo", "run", "collect", "serve", "import", "export", "verify", "completion"):
        assert f"  {verb} " in done.stdout
    probe = (
        "import sys; sys.argv = ['curdwright', '--help']\n"
        "import api.cli\n"
        "try:\n    api.cli.cli()\nexcept SystemExit:\n    pass\n"
        "print([m for m in ('numpy', 'fastapi', 'pint', 'sqlalchemy') if m in sys.modules])"
    )
    loaded = subprocess.run(
        [sys.executable, "-P", "-c", probe], capture_output=True, text=True, cwd=tmp_path
    )
    assert loaded.stdout.strip().endswith("[]")


def test_the_version_is_that_of_the_distribution(tmp_path: Path) -> None:
    assert run(tmp_path, "--version").stdout.startswith("curdwright ")


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_a_shell_gets_its_completion(tmp_path: Path, shell: str) -> None:
    assert "_CURDWRIGHT_COMPLETE" in run(tmp_path, "completion", shell).stdout


def test_three_faults_of_a_configuration_are_told_at_once(tmp_path: Path) -> None:
    data = tmp_path / "data"
    data.mkdir()
    (data / "curdwright.toml").write_text(
        '[kitchen]\nzone = "Nowhere/Land"\naltitude_m = 99999\ncolour = "blue"\n'
    )

    done = run(tmp_path, "serve", "--data", str(data), "--port", "0")

    assert done.returncode == 1
    for key in ("kitchen.zone", "kitchen.altitude_m", "kitchen.colour"):
        assert key in done.stderr
    assert "3 faults" in done.stderr


def test_a_data_folder_that_can_not_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")

    done = run(tmp_path, "verify", "--data", str(tmp_path / "file" / "data"))
    served = run(tmp_path, "serve", "--data", str(tmp_path / "file" / "data"), "--port", "0")

    assert done.returncode == 1
    assert "no records here" in done.stderr
    assert served.returncode == 1
    assert "can't be written in" in served.stderr
    assert "--data" in served.stderr


def test_readings_come_in_twice_and_go_out_as_they_were(tmp_path: Path) -> None:
    data = str(tmp_path / "data")
    file = tmp_path / "pot.csv"
    file.write_text(
        "series,time,value,unit,quality\n"
        "north/milk,2026-03-02T08:00:00Z,78.25,Cel,good\n"
        "north/milk,2026-03-02T08:00:01.5+00:00,78.3125,Cel,good\n"
        "north/milk,2026-03-02T08:00:03Z,,Cel,bad\n"
    )

    first = run(tmp_path, "import", str(file), "--data", data)
    again = run(tmp_path, "import", str(file), "--data", data)
    out = run(tmp_path, "export", "--data", data)
    senml = run(tmp_path, "export", "north/milk", "--data", data, "--format", "senml")

    assert "3 stored" in first.stdout
    assert "0 stored, 3 known already" in again.stdout
    assert out.stdout.splitlines()[1:] == [
        "north/milk,2026-03-02T08:00:00.000Z,78.25,Cel,good",
        "north/milk,2026-03-02T08:00:01.500Z,78.3125,Cel,good",
        "north/milk,2026-03-02T08:00:03.000Z,,Cel,bad",
    ]
    assert len(json.loads(senml.stdout)) >= 2


def test_a_line_that_can_not_be_read_stops_the_import_and_nothing_is_stored(
    tmp_path: Path,
) -> None:
    data = str(tmp_path / "data")
    file = tmp_path / "pot.csv"
    file.write_text("time,value\n2026-03-02T08:00:00Z,78.25\nyesterday,78.5\n")

    done = run(tmp_path, "import", str(file), "--data", data, "--series", "p", "--unit", "Cel")

    assert done.returncode == 1
    assert "Line 3 can't be read" in done.stderr
    assert not (tmp_path / "data").exists()


def test_verify_of_nothing_is_an_error_and_of_a_fresh_kitchen_clean(tmp_path: Path) -> None:
    nothing = run(tmp_path, "verify", "--data", str(tmp_path / "nowhere"))
    file = tmp_path / "pot.csv"
    file.write_text("series,time,value,unit\np,2026-03-02T08:00:00Z,78.25,Cel\n")
    run(tmp_path, "import", str(file), "--data", str(tmp_path / "data"))
    fresh = run(tmp_path, "verify", "--data", str(tmp_path / "data"))

    assert nothing.returncode == 1
    assert "no records here" in nothing.stderr
    assert fresh.returncode == 0
    assert "Clean." in fresh.stdout
