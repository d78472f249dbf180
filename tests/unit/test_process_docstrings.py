# SPDX-License-Identifier: MIT
"""Every public function of the calculations says its units and where it comes from."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest

import api.process

UNIT = re.compile(r"\[[^\[\]]+\]")
# What is a number, and so has a unit or "[-]".
NUMBER = re.compile(r"\b(float|int|Floats|Quantity|Result)\b")


def _functions() -> Iterator[tuple[str, Callable[..., Any]]]:
    for info in pkgutil.iter_modules(api.process.__path__):
        module = importlib.import_module(f"api.process.{info.name}")
        for name, thing in vars(module).items():
            if name.startswith("_") or getattr(thing, "__module__", "") != module.__name__:
                continue
            if inspect.isfunction(thing):
                yield f"{info.name}.{name}", thing


FUNCTIONS = dict(_functions())


def _section(doc: str, title: str) -> str:
    found = re.search(rf"^{title}:\n((?:^    .*\n?|^\n)+)", doc, re.MULTILINE)
    return found.group(1) if found else ""


def test_there_are_functions_to_look_at() -> None:
    assert len(FUNCTIONS) > 40


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_public_function_names_its_source(name: str) -> None:
    doc = inspect.getdoc(FUNCTIONS[name]) or ""

    assert _section(doc, "Source").strip(), f"{name} has no Source section"


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_public_function_gives_the_unit_of_what_it_returns(name: str) -> None:
    doc = inspect.getdoc(FUNCTIONS[name]) or ""
    returned = str(inspect.signature(FUNCTIONS[name]).return_annotation)

    if returned != "None":
        assert _section(doc, "Returns").strip(), f"{name} does not say what it returns"
    if NUMBER.search(returned):
        assert UNIT.search(_section(doc, "Returns")), f"{name} returns a number without a unit"


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_public_function_explains_every_argument_with_its_unit(name: str) -> None:
    doc = inspect.getdoc(FUNCTIONS[name]) or ""
    listed = _section(doc, "Args")

    for argument, parameter in inspect.signature(FUNCTIONS[name]).parameters.items():
        entry = re.search(rf"^    \*{{0,2}}{argument}: (.*(?:\n        .*)*)", listed, re.MULTILINE)
        assert entry, f"{name} does not explain {argument}"
        if re.fullmatch(r"(float|int|Floats|Quantity)( \| None)?", str(parameter.annotation)):
            assert UNIT.search(entry.group(1)), f"{name}: {argument} has no unit"
