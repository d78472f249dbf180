# SPDX-License-Identifier: MIT
"""What the page Set-up shows: its steps, how far each is, and who says what is set.

Pure presentation: imports only what is.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dashboards import formats
from dashboards.reader import Reader
from dashboards.stove_view import instrument_line

Json = Mapping[str, Any]

_TITLES = {
    "kitchen": "The kitchen",
    "place": "Where water boils",
    "units": "Units and currency",
    "instruments": "Instruments",
    "pots": "Pots",
    "notices": "Who is called",
    "data": "Where the data lies",
    "phone": "Phone and tablet",
}
_WORDS = {"done": "done", "later": "put off", "open": "to do"}
_TAKEN = {"temperature_unit": "°C", "mass_unit": "g and kg", "altitude_m": "the height of the sea"}
_UNIT_OF = {"altitude_m": " m", "pressure_hpa": " hPa"}


def set_up(data: Json, reader: Reader) -> dict[str, Any]:
    """Return what the template is given.

    Args:
        data: As `dashboards.render` lists for it.
        reader: Who reads it.
    """
    states, settings = data["steps"], data["settings"]
    sums = _sums(data, reader)
    steps = [
        {
            "key": key,
            "number": number,
            "title": title,
            "state": states[key],
            "words": _WORDS[states[key]],
            "sum": sums[key],
        }
        for number, (key, title) in enumerate(_TITLES.items(), 1)
    ]
    return {
        "steps": steps,
        "step": {one["key"]: one for one in steps},
        "opened": next((one["key"] for one in steps if one["state"] == "open"), ""),
        "done_count": sum(one["state"] == "done" for one in steps),
        "settings": settings,
        "said": {key: said_by(one, reader) for key, one in settings.items()},
        "place": _place(settings),
        "boiling": formats.quantity(data["boiling_point"], reader.units),
        "boiling_from": data["boiling_point"].get("from") or [],
        "instruments": [instrument_line(one, reader) for one in data["instruments"]],
        "sources": data["sources"],
        "pots": [_pot(one, reader) for one in data["pots"]],
        "routes": data["routes"],
        "local": data["local"],
        "data": {**data["data"], "files": [_file(one) for one in data["data"]["files"]]},
        "free": size(data["data"]["free_bytes"]),
        "phone": data["phone"],
        "zones": data["zones"],
        "mass_units": ("lb", "oz") if reader.units.mass == "oz" else ("kg", "g"),
        "facts": {"walk": data["walk"], "first": data["first"]},
    }


def _sums(data: Json, reader: Reader) -> dict[str, str]:
    """Return what each step has come to, in a few words."""
    settings = {key: one["value"] for key, one in data["settings"].items()}
    named = data["settings"]["name"]["by"] != "default"
    place = _place(data["settings"])
    boils = formats.quantity(data["boiling_point"], reader.units)[0]
    speaking = sum(
        bool(one.get("last")) and not one["last"]["stale"] for one in data["instruments"]
    )
    proven = [one["name"] for one in data["routes"] if one["proven_at"] and not one["gone"]]
    chosen = {"degF": "°F", "degC": "°C", "oz": "oz and lb", "g": "g and kg"}
    units = [chosen.get(settings[key], "") for key in ("temperature_unit", "mass_unit")]
    return {
        "kitchen": f"{settings['name']}, {settings['zone']}" if named else "",
        "place": f"{place['value']} {place['unit']}: {boils}" if place["value"] else "",
        "units": ", ".join(filter(None, [*units, settings["currency"]])),
        "instruments": f"{speaking} of {len(data['instruments'])} speak"
        if data["instruments"]
        else "",
        "pots": ", ".join(one["name"] for one in data["pots"]),
        "notices": ", ".join(proven),
        "data": data["data"]["folder"],
        "phone": "open to this network" if data["phone"]["beyond"] else "this machine only",
    }


def said_by(one: Json, reader: Reader) -> dict[str, Any]:
    """Return who says what holds for a setting, and what the file would say.

    Args:
        one: `{"key", "value", "by", "file", "at", "who"}`.
        reader: Whose clock.
    """
    unit = _UNIT_OF.get(one["key"], "")
    in_file = "" if one["file"] is None else f"{_shown(one['file'])}{unit}"
    if one["by"] == "page":
        who = f" by {one['who']}" if one["who"] else ""
        rest = f"; the file or its default says {in_file}" if in_file else ""
        return {"words": f"Set here, {reader.moment(one['at'])}{who}{rest}.", "page": True}
    if one["by"] == "file":
        return {"words": "As curdwright.toml says. What you save here wins over it.", "page": False}
    taken = in_file or _TAKEN.get(one["key"], "")
    return {"words": f"Not set: {taken} is taken." if taken else "Not set.", "page": False}


def size(count: int) -> str:
    """Return a number of bytes as people read it.

    Example:
        >>> size(1_234_567), size(12_000_000_000), size(17)
        ('1.2 MB', '12.0 GB', '17 bytes')
    """
    for unit, factor in (("GB", 1e9), ("MB", 1e6), ("kB", 1e3)):
        if count >= factor:
            return f"{count / factor:.1f} {unit}"
    return f"{count} bytes"


def _shown(value: Any) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def _place(settings: Json) -> dict[str, str]:
    """Return the place as its form shows it: by pressure if that is known, else by altitude."""
    pressure, altitude = settings["pressure_hpa"]["value"], settings["altitude_m"]["value"]
    if pressure is not None:
        return {"value": _shown(pressure), "unit": "hPa"}
    return {"value": "" if altitude is None else _shown(round(altitude, 1)), "unit": "m"}


def _pot(one: Json, reader: Reader) -> dict[str, Any]:
    kg = one.get("empty_kg")
    parts = [f"{reader.mass(kg)} empty" if kg is not None else "not weighed empty"]
    if one.get("material"):
        parts.append(one["material"])
    parts.append(
        f"thermometer {one['thermometer']}" if one.get("thermometer") else "no thermometer"
    )
    if one.get("scale"):
        parts.append(f"scale {one['scale']}")
    return {"name": one["name"], "words": ", ".join(parts)}


def _file(one: Json) -> dict[str, str]:
    return {"name": one["name"], "size": size(one["bytes"]), "what": one["what"]}
