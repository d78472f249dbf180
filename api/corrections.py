# SPDX-License-Identifier: MIT
"""What is known of each instrument, and the corrections that its checks give.

Order of corrections: raw, calibration, lag, thinning. A correction is valid from a time to a
time, and was made at a time; readings keep what the instrument said.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from api.process.curves import Floats
from api.process.probe_check import TwoPointCorrection
from api.records.chain import Entry
from api.records.journal import Journal
from api.times import parse_ms
from collector.units import CANONICAL, difference_to_kelvin, kind_of, to_canonical

# An unchecked probe thermometer: +-0.5 K, rectangular (common practice for a good one).
UNCHECKED_U_K = 0.5 / math.sqrt(3.0)
CHECKED_U_K = 0.1
UNCHECKED_SCALE_FRACTION = 0.001
ICE_POINT_DEGC = 0.0
# A series counts as silent after this, unless the maker has said another time (common practice).
STALE_AFTER_S = 30.0


@dataclass(frozen=True, slots=True)
class Check:
    """One check of an instrument as recorded.

    Attributes:
        id: Its record.
        kind: "ice", "boil", "weight" or "dip".
        made_at: When it was recorded, RFC 3339.
        from_ms: Readings from here on are corrected by it [ms since 1970 UTC].
        to_ms: Up to here, not included; None for ever [ms since 1970 UTC].
        body: What was recorded.
    """

    id: str
    kind: str
    made_at: str
    from_ms: int
    to_ms: int | None
    body: dict[str, Any]

    def covers(self, time_ms: int) -> bool:
        """Tell whether it is valid at a time."""
        return self.from_ms <= time_ms and (self.to_ms is None or time_ms < self.to_ms)


@dataclass(frozen=True, slots=True)
class Correction:
    """How the indications of one series become values, at one time.

    Attributes:
        scale: value = indication * scale + offset, in the canonical unit.
        offset: Likewise [K or kg].
        u: Standard uncertainty common to all values [K or kg].
        time_constant_s: Of the probe in this place, None without a dip check [s].
        u_time_constant_s: Its standard uncertainty [s].
        sources: The checks used, or that there was none.
        method: In a few words.
    """

    scale: float
    offset: float
    u: float
    time_constant_s: float | None
    u_time_constant_s: float
    sources: tuple[str, ...]
    method: str

    def apply(self, values: Floats) -> Floats:
        """Return calibrated values, shape as given [degC or kg]."""
        return values * self.scale + self.offset


class Corrections:
    """The checks of all instruments, read once."""

    def __init__(self, journal: Journal, also: Sequence[Check] = ()) -> None:
        """Read them.

        Args:
            journal: The kitchen's records.
            also: Checks that aren't recorded, to see what they would do.
        """
        entries = journal.kitchen("check", "withdrawal")
        withdrawn = {e.body["withdraws"] for e in entries if e.kind == "withdrawal"}
        self._checks: dict[str, list[Check]] = {}
        for entry in entries:
            if entry.kind == "check" and entry.id not in withdrawn:
                self._checks.setdefault(entry.body["series"], []).append(_check(entry))
        for check in also:
            self._checks.setdefault(check.body["series"], []).append(check)
        self._known = {
            series: entry.body
            for series, entry in journal.latest_by("instrument", "series").items()
        }

    def checks(self, series: str) -> Sequence[Check]:
        """Return the standing checks of a series, in the order in which they were recorded."""
        return self._checks.get(series, [])

    def known(self, series: str) -> dict[str, Any]:
        """Return what the maker said of an instrument, {} if nothing."""
        return dict(self._known.get(series, {}))

    def at(self, series: str, unit: str, time_ms: int) -> Correction:
        """Return the correction that is valid for a series at a time.

        Args:
            series: Its name.
            unit: The unit of its indications, as said.
            time_ms: [ms since 1970 UTC]
        """
        valid = {c.kind: c for c in self.checks(series) if c.covers(time_ms)}
        kind = kind_of(unit)
        if kind == "temperature":
            return self._thermometer(series, valid)
        if kind == "mass":
            return self._scale(series, valid)
        return Correction(1.0, 0.0, 0.0, None, 0.0, (), "as said")

    def resolution(self, series: str, values: Floats) -> float:
        """Return the display step: as stated, else the smallest step seen [canonical unit]."""
        stated = self._known.get(series, {}).get("display_step_canonical")
        if stated:
            return float(stated)
        levels = np.unique(values)
        if levels.size < 3:
            return 0.0
        steps = np.diff(levels)
        # Numbers that were rounded in decimal differ in the last binary digits.
        steps = steps[steps > 1e-6]
        return float(steps.min()) if steps.size else 0.0

    def _thermometer(self, series: str, valid: dict[str, Check]) -> Correction:
        dip = valid.get("dip")
        tau_s = float(dip.body["time_constant_s"]) if dip else None
        u_tau_s = float(dip.body["u_s"]) if dip else 0.0
        ice, boil = valid.get("ice"), valid.get("boil")
        sources = tuple(f"check {c.id} ({c.kind})" for c in (ice, boil, dip) if c is not None)
        stated_u = self._known.get(series, {}).get("u_canonical")
        if ice and boil:
            line = TwoPointCorrection(
                ice.body["indicated_degc"],
                boil.body["indicated_degc"],
                boil.body["reference_degc"],
                0.05,
                0.05,
                boil.body["u_reference_k"],
            )
            zero, ninety = line.apply(0.0), line.apply(90.0)
            scale = (ninety.value - zero.value) / 90.0
            u_k = max(zero.u, ninety.u)
            return Correction(
                scale, zero.value, u_k, tau_s, u_tau_s, sources, "ice and boiling point"
            )
        one = ice or boil
        offset = 0.0 if one is None else one.body["reference_degc"] - one.body["indicated_degc"]
        u_k = UNCHECKED_U_K
        method = "as indicated; the probe was never checked"
        if one is not None:
            u_k, method = math.hypot(CHECKED_U_K, UNCHECKED_U_K / 2.0), f"{one.kind} point only"
        if stated_u is not None:
            u_k, method = float(stated_u), "stated by the maker"
            sources = (*sources, f"instrument {series}")
        if not sources:
            sources = ("assumed: +-0.5 K, no check on record (common practice)",)
        return Correction(1.0, offset, u_k, tau_s, u_tau_s, sources, method)

    def _scale(self, series: str, valid: dict[str, Check]) -> Correction:
        weight = valid.get("weight")
        if weight is None:
            return Correction(
                1.0, 0.0, 0.0, None, 0.0, ("no reference weight on record",), "as indicated"
            )
        scale = weight.body["reference_kg"] / weight.body["indicated_kg"]
        return Correction(
            scale, 0.0, 0.0, None, 0.0, (f"check {weight.id} (weight)",), "reference weight"
        )


def canonical_values(values: Floats, unit: str) -> Floats:
    """Return values in the canonical unit of their kind; a unit that isn't known stays.

    Args:
        values: As said [unit], shape (n,).
        unit: As said.
    """
    kind = kind_of(unit)
    if kind is None or unit in ("Cel", "degC", "kg"):
        return values
    zero = to_canonical(0.0, unit, kind)
    if kind == "temperature":
        return zero + values * difference_to_kelvin(1.0, unit)
    return values * to_canonical(1.0, unit, kind)


def canonical_unit(unit: str) -> str:
    """Return the canonical unit for a unit as said; one that isn't known stays."""
    kind = kind_of(unit)
    return CANONICAL[kind] if kind else unit


def _check(entry: Entry) -> Check:
    body = dict(entry.body)
    return Check(
        id=entry.id,
        kind=body["kind"],
        made_at=entry.at,
        from_ms=parse_ms(body["valid_from"]),
        to_ms=parse_ms(body["valid_to"]) if body.get("valid_to") else None,
        body=body,
    )
