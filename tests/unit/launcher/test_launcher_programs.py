# SPDX-License-Identifier: MIT
"""What the launcher installs besides Python packages, and how it tells what went wrong."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from types import ModuleType

import pytest


def programs(folder: Path, *names: str) -> str:
    for name in names:
        (folder / name).write_text("#!/bin/sh\nexit 0\n")
        (folder / name).chmod(0o755)
    return str(folder)


def test_a_plain_user_is_told_the_line_that_installs_what_is_missing(
    launcher: ModuleType, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("PATH", programs(tmp_path, "apt-get"))
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    with pytest.raises(launcher.SetUpError) as caught:
        launcher.apt_install(["mosquitto", "chromium"], "the tests drive real programs")
    line = "sudo apt-get install --yes --no-install-recommends mosquitto chromium"
    assert str(caught.value).endswith(f"sudo apt-get update && {line}")


def test_where_there_is_no_apt_the_programs_are_named(
    launcher: ModuleType, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(launcher.SetUpError, match="install mosquitto and chromium, so that PATH"):
        launcher.apt_install(["mosquitto", "chromium"], "the tests drive real programs")


def test_as_root_the_package_lists_are_read_before_anything_is_installed(
    launcher: ModuleType,
    commands: list[list[str]],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setenv("PATH", programs(tmp_path, "apt-get"))
    monkeypatch.setenv("DEBIAN_FRONTEND", "dialog")
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    launcher.apt_install(["mosquitto"], "the tests drive real programs")
    assert "as root, this installs with apt-get: mosquitto" in capsys.readouterr().out
    assert [command[1:2] for command in commands] == [["update"], ["install"]]
    assert commands[1][-1] == "mosquitto"
    assert os.environ["DEBIAN_FRONTEND"] == "noninteractive"


def test_programs_that_are_there_are_not_installed_again(
    launcher: ModuleType,
    commands: list[list[str]],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:
    monkeypatch.setenv("PATH", programs(tmp_path, *launcher.PROGRAMS))
    launcher.provide_programs()
    assert commands == []


def test_a_command_that_fails_is_told_with_its_own_words(
    launcher: ModuleType, capsys: pytest.CaptureFixture[str]
) -> None:
    launcher.claim()
    code = "import sys; sys.exit('no route to the index')"
    with pytest.raises(launcher.SetUpError) as caught:
        launcher.run([sys.executable, "-c", code], "installing")
    words = str(caught.value)
    assert words.startswith("installing: it ended with 1\n  Where: ")
    assert "    no route to the index\n  What to do: " in words
    assert launcher.run([sys.executable, "-c", code], "trying", needed=False) == 1
    assert capsys.readouterr().out == "curdwright: installing\ncurdwright: trying\n"


def test_of_many_words_the_errors_of_that_command_are_told(launcher: ModuleType) -> None:
    launcher.claim()
    launcher.run([sys.executable, "-c", "print('ERROR: of an earlier one')"], "before")
    code = "import sys; print('a\\nERROR: no such package\\nb'); sys.exit(3)"
    with pytest.raises(launcher.SetUpError) as caught:
        launcher.run([sys.executable, "-c", code], "installing")
    where = str(caught.value).partition("among them:\n")[2].partition("\n  What to do")[0]
    assert where == "    ERROR: no such package"


@pytest.mark.parametrize(
    ("fault", "told"),
    [
        (PermissionError(13, "Permission denied", "/x/.venv"), "Permission denied\n  Where: /x/"),
        (OSError(28, "No space left on device"), "No space left on device\n  Where: "),
        (KeyboardInterrupt(), "stopped; the next start takes up from here"),
    ],
)
def test_what_stops_the_set_up_is_told_in_words(
    launcher: ModuleType,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    fault: BaseException,
    told: str,
) -> None:
    def fail(arguments: list[str]) -> int:
        raise fault

    monkeypatch.setattr(launcher, "main", fail)
    assert launcher.start() == 2
    assert told in capsys.readouterr().err
