# SPDX-License-Identifier: MIT
"""What the page Set-up is given: what is set and by whom, what is found, what is still to do."""

from __future__ import annotations

import ipaddress
import shutil
import zoneinfo
from pathlib import Path
from typing import Any

from starlette.types import Scope

from api import views
from api.access import is_local, lan_addresses
from api.kitchen import Kitchen
from api.routes.instruments import instruments
from api.routes.notices import route_json
from api.routes.settings import settings_json, walk_states
from api.watch.route_book import RouteBook
from collector.config import FILE_NAME

Json = dict[str, Any]
STEPS = ("kitchen", "place", "units", "instruments", "pots", "notices", "data", "phone")
_WHAT = {
    "records.sqlite3": "batches, marks, weighings, recipes, settings, alarms",
    "token": "the secret that pairs phones and tablets",
    FILE_NAME: "ports, brokers and defaults",
}


def is_first_run(kitchen: Kitchen) -> bool:
    """Tell whether nothing is known of this kitchen yet: no file, no setting, no batch, no walk."""
    place = kitchen.settings.file.kitchen
    if place.model_fields_set or walk_states(kitchen):
        return False
    if any(one.by == "page" for one in kitchen.settings.all()):
        return False
    return not kitchen.journal.batches(limit=1)


def setup_page(kitchen: Kitchen, scope: Scope, *, host: str, token: str) -> Json:
    """Return what the page shows.

    Args:
        kitchen: The open kitchen.
        scope: Whose call it is: the pairing address is shown on this machine alone.
        host: The address that the server listens on.
        token: The secret that pairs other devices.
    """
    local = is_local(scope)
    found = {
        **settings_json(kitchen),
        "instruments": instruments(kitchen),
        "sources": _sources(kitchen),
        "pots": [views.listed(e) for e in kitchen.journal.latest_by("pot", "name").values()],
        "routes": [route_json(one) for one in RouteBook(kitchen.journal).routes()],
        "local": local,
        "data": _data(kitchen),
        "phone": _phone(scope, host=host, token=token if local else ""),
        "zones": sorted(zoneinfo.available_timezones()),
        "first": is_first_run(kitchen),
    }
    return {**found, "steps": step_states(found)}


def step_states(found: Json) -> dict[str, str]:
    """Return how far each step is: "done", "later" or "open".

    What shows by itself counts as done whoever did it; else what the maker said of the step.
    """
    settings, walk = found["settings"], found["walk"]
    shows = {
        "kitchen": settings["name"]["by"] != "default",
        "place": any(settings[key]["value"] is not None for key in ("altitude_m", "pressure_hpa")),
        "units": any(
            settings[key]["by"] == "page" for key in ("temperature_unit", "mass_unit", "currency")
        ),
        "instruments": any(
            one.get("last") and not one["last"]["stale"] for one in found["instruments"]
        ),
        "pots": any(one.get("thermometer") for one in found["pots"]),
        "notices": any(one["proven_at"] and not one["gone"] for one in found["routes"]),
        "data": False,
        "phone": bool(found["phone"]["beyond"]),
    }
    return {step: "done" if shows[step] else walk.get(step, "open") for step in STEPS}


def _sources(kitchen: Kitchen) -> list[Json]:
    """Return where the collector listens, by the configuration file."""
    config = kitchen.settings.file
    ports = [{"kind": "serial", "at": one.port, "series": one.series} for one in config.serial]
    brokers = [
        {
            "kind": "mqtt",
            "at": f"{one.host}:{one.port}",
            "series": ", ".join(topic.filter for topic in one.topics),
        }
        for one in config.mqtt
    ]
    return [*ports, *brokers]


def _data(kitchen: Kitchen) -> Json:
    folder = kitchen.data_dir.resolve()
    readings = kitchen.settings.file.store.file
    what = {**_WHAT, readings: "every reading, as the instruments said it"}
    files = [
        {"name": name, "bytes": _size(folder / name), "what": words}
        for name, words in sorted(what.items())
        if (folder / name).is_file()
    ]
    usage = shutil.disk_usage(folder)
    source = kitchen.settings.file.source
    return {
        "folder": str(folder),
        "file": str(source.resolve()) if source else str(folder / FILE_NAME),
        "has_file": source is not None,
        "files": files,
        "free_bytes": usage.free,
        "records_elsewhere": kitchen.journal.engine.dialect.name != "sqlite",
    }


def _size(path: Path) -> int:
    """Return a file's size with its journal beside it [bytes]."""
    beside = [path, path.with_name(path.name + "-wal")]
    return sum(one.stat().st_size for one in beside if one.is_file())


def _phone(scope: Scope, *, host: str, token: str) -> Json:
    """Return how other devices reach this kitchen; the token is in no address from elsewhere."""
    port = (scope.get("server") or ("", 0))[1]
    beyond = not _is_loopback(host)
    addresses = [] if not beyond else lan_addresses() if host in ("0.0.0.0", "::") else [host]
    return {
        "beyond": beyond,
        "port": port,
        "addresses": [
            {
                "plain": f"http://{_in_url(one)}:{port}/",
                "pairing": f"http://{_in_url(one)}:{port}/pair#{token}" if token else "",
            }
            for one in addresses
        ],
        "picture": _picture(f"http://{_in_url(addresses[0])}:{port}/pair#{token}")
        if addresses and token
        else "",
    }


def _picture(address: str) -> str:
    """Return a QR code as SVG (ISO/IEC 18004, by segno)."""
    import segno

    code = segno.make(address, micro=False)
    return str(code.svg_inline(scale=6, border=4, dark="#000000", light="#ffffff", omitsize=True))


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _in_url(address: str) -> str:
    return f"[{address}]" if ":" in address else address
