# SPDX-License-Identifier: MIT
"""How the evaporation of an open surface grows with its temperature.

Pure: numpy only.
"""

from __future__ import annotations

import functools

import numpy as np

from api.process.boiling import STANDARD_PRESSURE_PA, saturation_pressure
from api.process.curves import Floats

EVAPORATION_AT_DEGC = 95.0
# Beyond this share of the air pressure the film over the milk is all vapour, and its law ends.
MOST_SHARE_FRACTION = 0.9
NODES_DEGC: Floats = np.linspace(0.5, 110.5, 441)


def vapour_drive(value_degc: Floats, pressure_pa: float) -> Floats:
    """Return what drives vapour through the film of air over a wet surface.

    Args:
        value_degc: Temperatures of the surface, 0 to 110 [degC], shape (n,).
        pressure_pa: Of the air [Pa].

    Returns:
        ln(p/(p - ps)) [-], shape (n,).

    Source:
        Film of stagnant air over a surface (Stefan, from memory), ps by IAPWS-IF97 up to 0.9 p.
    """
    table = [saturation_pressure(t) / pressure_pa for t in NODES_DEGC.tolist()]
    drive = -np.log1p(-np.minimum(np.array(table), MOST_SHARE_FRACTION))
    return np.asarray(np.interp(value_degc, NODES_DEGC, drive), dtype=np.float64)


@functools.lru_cache(maxsize=16)
def usual_drive_table(pressure_pa: float) -> Floats:
    """Return the drive at `NODES_DEGC` against that at 95 degC under one atmosphere.

    Args:
        pressure_pa: Of the air [Pa].

    Returns:
        Evaporation relative to that of the same surface at 95 degC and 101 325 Pa [-],
        shape (441,).

    Source:
        As `vapour_drive`.
    """
    at = np.array([EVAPORATION_AT_DEGC])
    usual = float(vapour_drive(at, STANDARD_PRESSURE_PA)[0])
    table: Floats = vapour_drive(NODES_DEGC, pressure_pa) / usual
    table.flags.writeable = False
    return table
