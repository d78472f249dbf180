# SPDX-License-Identifier: MIT
"""Faults of a configuration as lines that a maker can act on. Imports pydantic and the topics."""

from __future__ import annotations

import difflib
import re
import types
from collections.abc import Sequence
from typing import Any, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError

from collector.frames.topics import overlap

_SECRET_WORDS = ("password", "token", "secret")
_SHOWN_CHARACTERS = 60
_PYDANTIC_SUBJECT = re.compile(r"^(Input|String|Value|List|Tuple) should")


def key_path(location: Sequence[int | str]) -> str:
    """Return a key path such as `mqtt[0].topics[1].filter`.

    Example:
        >>> key_path(["mqtt", 0, "topics", 1, "filter"])
        'mqtt[0].topics[1].filter'
    """
    path = ""
    for step in location:
        path += f"[{step}]" if isinstance(step, int) else f".{step}" if path else step
    return path


def fault_lines(error: ValidationError, model: type[BaseModel]) -> list[str]:
    """Return one line for each fault that pydantic found.

    Args:
        error: What pydantic raised.
        model: The model of the whole file, for the nearest known names.

    Returns:
        Lines that start with the key path.
    """
    lines = []
    for fault in error.errors(include_url=False):
        location = [step for step in fault["loc"] if not _is_branch(step)]
        path = key_path(location)
        kind = fault["type"]
        if kind == "extra_forbidden":
            lines.append(f"{path}: there is no such key. {_nearest(location, model)}")
        elif kind == "missing":
            lines.append(f"{path}: it is missing. Give it.")
        elif kind in ("tuple_type", "list_type"):
            lines.append(f"{path}: it must be a list. Write its header in double brackets, [[…]].")
        else:
            said = fault["ctx"]["error"] if kind == "value_error" else fault["msg"]
            text = _PYDANTIC_SUBJECT.sub("it must", str(said)).rstrip(".")
            lines.append(f"{path}: {text}{_got(path, fault['input'])}.")
    return lines


def _is_branch(step: int | str) -> bool:
    return isinstance(step, str) and ("[" in step or step in ("int", "float", "str", "bool"))


def _got(path: str, given: Any) -> str:
    hidden = any(word in path.rsplit(".", 1)[-1] for word in _SECRET_WORDS)
    if isinstance(given, str) and "://" in given:
        hidden = hidden or any(mark in given for mark in "@?#")  # a password may stand there
    if given is None or hidden or isinstance(given, dict | list):
        return ""
    text = repr(given)
    return f" (it is {text if len(text) <= _SHOWN_CHARACTERS else text[:_SHOWN_CHARACTERS] + '…'})"


def _nearest(location: Sequence[int | str], model: type[BaseModel]) -> str:
    known = [
        name
        for name, field in (_model_at(location[:-1], model) or model).model_fields.items()
        if not field.exclude and name not in ("data_dir", "source")
    ]
    near = difflib.get_close_matches(str(location[-1]), known, n=1, cutoff=0.6)
    return f"Did you mean {near[0]}?" if near else f"Known are {', '.join(known)}."


def _model_at(location: Sequence[int | str], model: type[BaseModel]) -> type[BaseModel] | None:
    here: type[BaseModel] | None = model
    for step in location:
        if isinstance(step, int) or here is None:
            continue
        field = here.model_fields.get(step)
        here = _model_in(field.annotation) if field is not None else None
    return here


def _model_in(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    if get_origin(annotation) in (tuple, Union, types.UnionType):
        return next(filter(None, map(_model_in, get_args(annotation))), None)
    return None


def cross_faults(raw: dict[str, Any]) -> list[str]:
    """Return the faults between sections: two that claim one port, series or session.

    Args:
        raw: The file's tables, whatever their types.

    Returns:
        Lines that start with the key path of the later one.
    """
    seen: dict[tuple[str, str], str] = {}
    lines: list[str] = []

    def claim(kind: str, name: object, path: str, why: str) -> None:
        if not isinstance(name, str):
            return
        first = seen.setdefault((kind, name), path)
        if first != path:
            lines.append(f"{path}: {name!r} is used at {first} already. {why}")

    for n, line in enumerate(_tables(raw, "serial")):
        claim("port", line.get("port"), f"serial[{n}].port", "Give each port one section.")
        why = "Give each instrument a series of its own."
        claim("series", line.get("series"), f"serial[{n}].series", why)
    for n, one in enumerate(_tables(raw, "sounder")):
        claim("port", one.get("port"), f"sounder[{n}].port", "Give each port one section.")
        claim("sounder", one.get("name"), f"sounder[{n}].name", "Give each a name of its own.")
    for n, broker in enumerate(_tables(raw, "mqtt")):
        name = f"{broker.get('client_id')} at {broker.get('host', '127.0.0.1')}"
        name += f":{broker.get('port', 1883)}"
        why = "Two clients with one id throw each other out; give each its own."
        claim("client", name, f"mqtt[{n}].client_id", why)
        lines += _overlaps(_tables(broker, "topics"), f"mqtt[{n}]")
    for n, pot in enumerate(_tables(raw, "simulated")):
        why = "Give each pot a name of its own."
        claim("pot", pot.get("name"), f"simulated[{n}].name", why)
    return lines


def _overlaps(topics: Sequence[dict[str, Any]], path: str) -> list[str]:
    """A broker sends a message once for each filter that it fits."""
    filters = [str(topic.get("filter", "")) for topic in topics]
    return [
        f"{path}.topics[{n}].filter: {theirs!r} overlaps {path}.topics[{m}].filter, so that "
        "messages would be kept twice. Make one of them narrower, or leave it out."
        for n, theirs in enumerate(filters)
        for m, ours in enumerate(filters[:n])
        if overlap(ours, theirs)
    ]


def _tables(raw: dict[str, Any], key: str) -> list[dict[str, Any]]:
    found = raw.get(key)
    return [item for item in found if isinstance(item, dict)] if isinstance(found, list) else []
