# SPDX-License-Identifier: MIT
"""The pure parts of the file that starts Curdwright from a fresh copy of its folder."""

from __future__ import annotations

import ast
import json
import sys
import tomllib
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).resolve().parents[3]
FILE = ROOT / "curdwright"


def set_up(launcher: ModuleType, *groups: str, anew: bool = False) -> None:
    launcher.claim()
    launcher.prepare({launcher.RUN, *groups}, anew=anew)


def test_python_3_7_can_read_the_file_so_that_it_can_say_what_it_lacks() -> None:
    tree = ast.parse(FILE.read_text(encoding="utf-8"), feature_version=(3, 7))
    futures = [node for node in tree.body if getattr(node, "module", None) == "__future__"]
    assert futures == []


def test_it_imports_the_standard_library_only() -> None:
    tree = ast.parse(FILE.read_text(encoding="utf-8"))
    names = {
        name.name.split(".")[0]
        for node in ast.walk(tree)
        if isinstance(node, ast.Import)
        for name in node.names
    } | {
        str(node.module).split(".")[0]
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom)
    }
    assert names <= sys.stdlib_module_names


def test_an_old_python_is_told_which_one_is_needed_and_what_to_do(
    launcher: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "version_info", (3, 9, 2, "final", 0))
    monkeypatch.setattr(sys, "version", "3.9.2 (main)")
    monkeypatch.setenv("PATH", "")
    with pytest.raises(launcher.SetUpError) as caught:
        launcher.require_python(["demo"])
    words = str(caught.value)
    assert "needs Python 3.11 or newer; this is Python 3.9.2" in words
    assert f"Where: {sys.executable}" in words
    assert "What to do: install a newer one" in words


def test_an_old_python_hands_over_to_a_newer_one_on_the_path(
    launcher: ModuleType, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    newer = tmp_path / "python3.13"
    newer.symlink_to(sys.executable)
    became: list[list[str]] = []

    def become(command: list[str]) -> int:
        became.append(command)
        return 7

    monkeypatch.setattr(launcher, "become", become)
    monkeypatch.setattr(sys, "version_info", (3, 9, 2, "final", 0))
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(SystemExit) as caught:
        launcher.require_python(["demo", "--port", "8080"])
    assert caught.value.code == 7
    assert became == [[str(newer), str(FILE), "demo", "--port", "8080"]]


def test_the_first_start_makes_the_environment_and_the_second_does_nothing(
    launcher: ModuleType, commands: list[list[str]]
) -> None:
    set_up(launcher)
    assert [("venv" in c, "--editable" in c) for c in commands] == [(True, False), (False, True)]
    commands.clear()
    set_up(launcher)
    assert commands == []


def test_the_tests_group_is_added_to_an_environment_that_runs_already(
    launcher: ModuleType, commands: list[list[str]]
) -> None:
    set_up(launcher)
    commands.clear()
    set_up(launcher, "test")
    assert len(commands) == 1
    assert set(launcher.requirements("test")) <= set(commands[0])
    commands.clear()
    set_up(launcher)
    set_up(launcher, "test")
    assert commands == []


@pytest.mark.parametrize(
    "name", ["pyproject.toml", "dashboards/package-lock.json", "dashboards/build_hook.py"]
)
def test_a_change_of_what_is_installed_makes_the_environment_anew(
    launcher: ModuleType, commands: list[list[str]], tmp_path: Path, name: str
) -> None:
    set_up(launcher, "test")
    commands.clear()
    file = tmp_path / name
    file.write_text(f"#\n{file.read_text()}")
    set_up(launcher)
    assert ["venv" in c for c in commands] == [True, False]


def test_a_change_of_a_tool_s_settings_keeps_the_environment(
    launcher: ModuleType, commands: list[list[str]], tmp_path: Path
) -> None:
    set_up(launcher)
    commands.clear()
    file = tmp_path / "pyproject.toml"
    file.write_text(file.read_text().replace("line-length = 100", "line-length = 99"))
    set_up(launcher)
    assert commands == []


def test_the_tools_tables_stand_last_in_pyproject() -> None:
    lines = (ROOT / "pyproject.toml").read_text().splitlines()
    tables = [line.startswith(("[tool.", "[[tool.")) for line in lines if line.startswith("[")]
    assert tables == sorted(tables)


def test_another_version_of_python_makes_the_environment_anew(
    launcher: ModuleType, commands: list[list[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    set_up(launcher)
    commands.clear()
    monkeypatch.setattr(sys.implementation, "cache_tag", "cpython-399")
    set_up(launcher)
    assert ["venv" in c for c in commands] == [True, False]


def test_a_folder_that_was_moved_makes_its_environment_anew(
    launcher: ModuleType, commands: list[list[str]], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    set_up(launcher)
    commands.clear()
    other = tmp_path.with_name(f"{tmp_path.name} moved")
    tmp_path.rename(other)
    tmp_path.symlink_to(other)
    monkeypatch.setattr(launcher, "ROOT", str(other))
    set_up(launcher)
    assert ["venv" in c for c in commands] == [True, False]


def test_an_install_that_was_cut_short_is_done_again(
    launcher: ModuleType, commands: list[list[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    through = launcher.run

    def cut(command: list[str], saying: str, needed: bool = True) -> int:
        if "--editable" in command:
            raise KeyboardInterrupt
        return int(through(command, saying, needed))

    monkeypatch.setattr(launcher, "run", cut)
    with pytest.raises(KeyboardInterrupt):
        set_up(launcher)
    monkeypatch.setattr(launcher, "run", through)
    commands.clear()
    set_up(launcher)
    assert any("--editable" in command for command in commands)


def test_an_environment_that_it_did_not_make_is_left_as_it_is(
    launcher: ModuleType, commands: list[list[str]], tmp_path: Path
) -> None:
    (tmp_path / ".venv").mkdir()
    (tmp_path / ".venv" / "pyvenv.cfg").write_text("home = /usr/bin\n")
    with pytest.raises(launcher.SetUpError, match=r"did not make is in the way\n  Where: .*\.venv"):
        set_up(launcher)
    assert commands == []
    assert [path.name for path in (tmp_path / ".venv").iterdir()] == ["pyvenv.cfg"]


def test_making_the_environment_anew_keeps_the_log_and_what_was_downloaded(
    launcher: ModuleType, commands: list[list[str]], tmp_path: Path
) -> None:
    set_up(launcher)
    venv = tmp_path / ".venv"
    (venv / "cache" / "pip").mkdir(parents=True)
    (venv / "install.log").write_text("what pip said\n")
    (venv / "lib").mkdir()
    (venv / "lib64").symlink_to("cache")
    set_up(launcher, anew=True)
    assert {path.name for path in venv.iterdir()} == {
        "curdwright.json",
        "install.log",
        "cache",
        Path(launcher.BIN).name,
    }


@pytest.mark.parametrize("words", ["", "{", "[]", "3", '{"key": "x"}', '{"key":"","installed":5}'])
def test_a_damaged_state_file_counts_as_nothing_installed(launcher: ModuleType, words: str) -> None:
    launcher.claim()
    Path(launcher.STATE).write_text(words)
    assert launcher.read_state() == ("", set())


def test_a_group_comes_with_the_groups_that_it_includes(
    launcher: ModuleType, tmp_path: Path
) -> None:
    (tmp_path / "pyproject.toml").write_text(
        '[dependency-groups]\na = ["one>=1", {include-group = "b"}]\nb = ["two"]\n'
    )
    assert launcher.requirements("a") == ["one>=1", "two"]


def test_every_group_that_a_verb_needs_is_in_pyproject(launcher: ModuleType) -> None:
    groups = tomllib.loads((ROOT / "pyproject.toml").read_text())["dependency-groups"]
    needed = set().union(*launcher.GROUPS.values()) - {launcher.RUN}
    assert needed <= set(groups)


def test_every_check_is_installed_by_the_check_group(launcher: ModuleType) -> None:
    names = " ".join(launcher.requirements("check")).replace("import-linter", "lint-imports")
    assert [check[0] for check in launcher.CHECKS if check[0] not in names] == []


def test_the_state_is_kept_whole(launcher: ModuleType) -> None:
    launcher.claim()
    launcher.write_state("key", {"run", "test"})
    state = json.loads(Path(launcher.STATE).read_text())
    assert state == {"key": "key", "installed": ["run", "test"]}
    assert launcher.read_state() == ("key", {"run", "test"})
