# SPDX-License-Identifier: MIT
"""The walk through a check: what to do, step by step, and what it is held against.

Pure presentation: imports only what is.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dashboards import formats
from dashboards.check_rows import CHECKS, correction_words
from dashboards.reader import Reader

Json = Mapping[str, Any]

# Common practice of ice and boiling points; nothing of it decides a verdict.
_STEPS = {
    "ice": (
        "Fill a jug with crushed ice, the finer the better, and add just enough clean cold water "
        "to fill the gaps. Stir, and wait two minutes.",
        "Put the probe into the middle of the ice, off the walls and the bottom, and keep stirring "
        "gently.",
        "Wait until the reading is steady. Water alone is warmer than ice: where ice floats up, "
        "press it down.",
    ),
    "boil": (
        "Bring clean water to a rolling boil in a deep pot, and keep it boiling.",
        "Hold the probe in the water, not on the bottom and not in the steam alone.",
        "If you have today's air pressure where you are (not “at sea level”), type it below: "
        "10 hPa move the boiling point by about 0.3 °C.",
        "Wait until the reading is steady.",
    ),
    "weight": (
        "Level the scale, switch it on ten minutes before, and set it to zero empty.",
        "Put a weight on it whose mass you know, in the middle; best one near what you weigh.",
        "Wait until the reading is steady.",
    ),
    "dip": (
        "Hold the probe still in the air of the room until the reading is steady.",
        "Have a pot of hot water ready, well stirred, at least 20 °C warmer than the room.",
        "Touch “It goes in now” and plunge the probe at that moment, as deep as in a batch. Keep "
        "stirring.",
        "Wait until the reading is steady again, then touch “It has settled”.",
    ),
}
_SAYS = {
    "ice": "Melting ice is at 0 °C. What the probe shows above or below is its error there.",
    "boil": "Water boils at a temperature that the air pressure sets.",
    "weight": "A known mass tells by what factor the scale shows too much or too little.",
    "dip": "How long a probe takes to follow tells how far it trails behind milk that is heating.",
}


def check(data: Json, reader: Reader) -> dict[str, Any]:
    """Return what the template of a check is given."""
    one, kind = data["instrument"], data["kind"]
    boiling = data["boiling"]
    mass_unit = "oz" if reader.units.mass == "oz" else "g"
    return {
        "series": one["series"],
        "name": one["name"],
        "kind": kind,
        "kind_name": CHECKS[kind],
        "kinds": [(key, CHECKS[key]) for key in data["kinds"]],
        "says": _SAYS[kind],
        "steps": _STEPS[kind],
        "boiling": formats.quantity(boiling, reader.units),
        "boiling_from": "; ".join(boiling.get("from") or []),
        "correction": correction_words({**one, "in_force": []}, reader),
        "unit": mass_unit if kind == "weight" else reader.units.temperature,
        "unit_shown": mass_unit if kind == "weight" else formats.degree(reader.units),
        "mass_units": ("g", "kg", "oz", "lb"),
        "facts": {
            "now": reader.now,
            "position": data.get("position") or "",
            "zone": reader.zone_name,
            "units": {"temperature": reader.units.temperature, "mass": reader.units.mass},
            "instruments": [
                {
                    "series": one["series"],
                    "unit": one.get("unit"),
                    "scale": 1.0,
                    "offset": 0.0,
                    "canonical": one["correction"]["unit"],
                    "stale_after_s": one.get("stale_after_s"),
                    "last_at": (one.get("last") or {}).get("time"),
                }
            ],
            "batches": [],
            "alarms": [],
            "check": {"series": one["series"], "kind": kind, "recent": data["recent"]},
        },
    }
