# SPDX-License-Identifier: MIT
"""What changed from one version of a recipe to the next. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from difflib import SequenceMatcher
from typing import Any

Json = Mapping[str, Any]

_WHOLE = {
    "name": "name",
    "ingredients": "ingredients",
    "dry": "written for a dry mass of",
    "coagulant": "coagulant",
    "dose": "dose",
    "nominal_block": "block sold as",
    "milk_solids_fraction": "solids of the milk",
    "self_set": "self-set",
    "without": "streams left out",
    "accept_by_itself": "proposals taken by themselves",
    "note": "note",
}
_OF_STEP = {
    "target": "target",
    "hold": "hold",
    "limit": "limit",
    "masses": "amounts",
    "mass_ratio": "expected mass",
    "stream": "stream",
    "press_mass": "mass on the press",
    "press_area": "area of the curd",
    "note": "note",
}

_FORMS = {
    "approach": "{}",
    "tolerance": "\N{PLUS-MINUS SIGN} {}",
    "least": "at least {}",
    "longest": "at most {}",
    "low": "{} or warmer",
    "high": "{} or colder",
    "below_boiling": "within {} of the boiling point",
    "starts": "from {}",
    "ends": "to {}",
    "basis": "for {}",
    "side": "on the {} side",
    "stream": "{}",
    "mass": "{}",
    "ratio": "{} kg for each kg dry",
    "lot": "lot {}",
    "share": "share {}",
    "unbroken": "unbroken",
}


def changes(before: Json | None, after: Json) -> list[dict[str, str]]:
    """Return what a version says otherwise than the one before it, in the order of the recipe.

    Args:
        before: The version before; None for the first.
        after: The version.

    Returns:
        `{"what", "before", "after"}` for each; "" where there is nothing on one side.

    Example:
        >>> one = {"name": "Soy", "steps": [{"kind": "boil"}]}
        >>> changes(one, {"name": "Soy", "steps": [{"kind": "boil"}, {"kind": "press"}]})
        [{'what': 'step 2', 'before': '', 'after': 'press'}]
    """
    if before is None:
        return []
    found = list(_differences(_WHOLE, before, after, ""))
    return found + list(_step_changes(before.get("steps") or [], after.get("steps") or []))


def _differences(
    names: Mapping[str, str], old: Json, new: Json, of: str
) -> Iterator[dict[str, str]]:
    for key, name in names.items():
        was, now = words(old.get(key)), words(new.get(key))
        if was != now:
            yield {"what": f"{of}{name}", "before": was, "after": now}


def _step_changes(old: Sequence[Json], new: Sequence[Json]) -> Iterator[dict[str, str]]:
    matcher = SequenceMatcher(None, [s["kind"] for s in old], [s["kind"] for s in new], False)
    for tag, old_from, old_to, new_from, new_to in matcher.get_opcodes():
        if tag == "equal":
            pairs = zip(old[old_from:old_to], new[new_from:new_to], strict=True)
            for number, (was, now) in enumerate(pairs, new_from + 1):
                yield from _differences(_OF_STEP, was, now, f"step {number}, {now['kind']}: ")
            continue
        for number in range(old_from, old_to):
            yield {"what": f"step {number + 1}", "before": str(old[number]["kind"]), "after": ""}
        for number in range(new_from, new_to):
            yield {"what": f"step {number + 1}", "before": "", "after": str(new[number]["kind"])}


def words(value: Any) -> str:
    """Return a part of a recipe in words, "" for nothing.

    Args:
        value: As it is kept.

    Example:
        >>> words({"value": 80.0, "unit": "degC", "approach": "falling"})
        '80 degC, falling'
    """
    if value is None or value is False or value == [] or value == "":
        return ""
    if value is True:
        return "yes"
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, Mapping):
        parts = []
        rest = {k: v for k, v in value.items() if v is not None and k not in ("value", "unit")}
        if "value" in value:
            parts.append(f"{value['value']:g} {value['unit']}")
        if "name" in rest:
            parts.append(str(rest.pop("name")))
        parts += [_named(key, words(one)) for key, one in rest.items() if words(one)]
        return ", ".join(parts)
    if isinstance(value, Sequence) and not isinstance(value, str):
        return "; ".join(words(one) for one in value)
    return str(value)


def _named(key: str, said: str) -> str:
    """Return a part of a target, a hold, a limit or an amount as people say it."""
    form = _FORMS.get(key)
    return form.format(said) if form else f"{key.replace('_', ' ')} {said}"
