# SPDX-License-Identifier: MIT
"""The flows of heat and mass of a simulated pot: its state in, its rates of change out.

Pure: standard library only. Must not import `api`, and shares nothing with `api.process`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from collector.instruments.simulated.properties import (
    LIQUID_DENSITY_KG_M3,
    Heats,
    latent_heat_j_kg,
    saturation_pressure_pa,
)
from collector.instruments.simulated.vessel import Controls, Hob, Kitchen, Mixing, Pot

EMPTY_KG = 1e-9
# Positions in the state that is integrated: three zones of (water, solids, enthalpy), the wall,
# the plate, and what crossed the border.
WALL, PLATE, VAPOUR_KG, VAPOUR_J, LOST_J, HEAT_J = 9, 10, 11, 12, 13, 14
SIZE = 15
# Above this share of the air pressure the boundary layer over the milk is mostly vapour, and the
# film law used here no longer says anything; the rest leaves as boil-off.
_VAPOUR_SHARE_MAX = 0.85
# Heat transfer from a steel wall to milk: still, stirred, boiling [W/(m2 K)] (common practice).
_FILM_STILL, _FILM_STIRRED, _FILM_BOILING = 350.0, 900.0, 2500.0


@dataclass(frozen=True, slots=True)
class Setup:
    """What stays the same while a pot is on the hob.

    Attributes:
        pot: The pot.
        hob: The hob.
        kitchen: The air round them.
        heats: Heat capacities.
        mixing: Times of mixing.
    """

    pot: Pot
    hob: Hob
    kitchen: Kitchen = field(default_factory=Kitchen)
    heats: Heats = field(default_factory=Heats)
    mixing: Mixing = field(default_factory=Mixing)


def rates(y: list[float], setup: Setup, controls: Controls, *, boiling: bool) -> list[float]:
    """Return the rates of change of a state [1/s of the state's units].

    Args:
        y: Bulk, bottom and fresh as water [kg], solids [kg], enthalpy [J]; wall [degC]; plate
            [W]; and what crossed the border: vapour [kg], its enthalpy [J], loss [J], heat [J].
        setup: What stays the same.
        controls: What the maker does.
        boiling: The milk boils, which mixes it.
    """
    out = [0.0] * SIZE
    heat_w = _heat_plate(y, out, setup.hob, controls)
    if y[0] + y[1] <= EMPTY_KG:
        _empty_pot(y, out, setup, heat_w)
        return out
    bulk_degc = setup.heats.temperature(*y[0:3])
    bottom = y[3] + y[4] > EMPTY_KG
    bottom_degc = setup.heats.temperature(*y[3:6]) if bottom else bulk_degc
    if bottom:
        per_s = _exchange_per_s(setup.mixing, controls, bottom_degc - bulk_degc, boiling=boiling)
        _exchange(y, out, per_s)
    if y[6] + y[7] > EMPTY_KG:
        _mix_in(y, out, setup.mixing, controls)
    if setup.pot.wall_kg > 0.0:
        film = _film_w_m2_k(controls, boiling=boiling)
        _wall(y, out, setup, (heat_w, film, bulk_degc, bottom_degc))
    else:
        _no_wall(out, setup, heat_w, bulk_degc, layered=bottom)
    _surface(out, setup, bulk_degc, covered=controls.covered)
    return out


def _heat_plate(y: list[float], out: list[float], hob: Hob, controls: Controls) -> float:
    """Return the heat into the pot [W]."""
    wanted_w = hob.power_w * controls.power_fraction
    plate_w = wanted_w
    if hob.time_constant_s > 0.0:
        plate_w = y[PLATE]
        out[PLATE] = (wanted_w - plate_w) / hob.time_constant_s
    heat_w = plate_w * hob.efficiency_fraction if controls.on_hob else 0.0
    out[HEAT_J] = heat_w
    return heat_w


def _empty_pot(y: list[float], out: list[float], setup: Setup, heat_w: float) -> None:
    pot = setup.pot
    if pot.wall_kg <= 0.0:
        out[LOST_J] = heat_w
        return
    area_m2 = pot.outer_area_m2 + pot.area_m2
    loss_w = pot.wall_loss_w_m2_k * area_m2 * (y[WALL] - setup.kitchen.room_degc)
    out[LOST_J] = loss_w
    out[WALL] = (heat_w - loss_w) / (pot.wall_kg * pot.wall_heat_j_kg_k)


def _exchange_per_s(mixing: Mixing, controls: Controls, excess_k: float, *, boiling: bool) -> float:
    """Return the rate at which the bottom is exchanged, it being so much hotter [1/s]."""
    stirring = controls.stirring_fraction
    share = min(max(excess_k, 0.0), 1.0)
    still = share / mixing.rising_s + (1.0 - share) / mixing.layered_s
    per_s = stirring / mixing.stirred_s + (1.0 - stirring) * still
    if boiling:
        per_s += 1.0 / mixing.stirred_s
    return per_s * (mixing.gel_fraction if controls.set else 1.0)


def _exchange(y: list[float], out: list[float], per_s: float) -> None:
    """Exchange equal masses between bulk and bottom."""
    bulk_kg, bottom_kg = y[0] + y[1], y[3] + y[4]
    flow_kg_s = per_s * min(bottom_kg, bulk_kg)
    for index in range(3):
        net = flow_kg_s * (y[3 + index] / bottom_kg - y[index] / bulk_kg)
        out[index] += net
        out[3 + index] -= net


def _mix_in(y: list[float], out: list[float], mixing: Mixing, controls: Controls) -> None:
    """Let poured liquid enter the bulk."""
    stirring = controls.stirring_fraction
    per_s = stirring / mixing.fresh_stirred_s + (1.0 - stirring) / mixing.fresh_still_s
    for index in range(3):
        out[index] += per_s * y[6 + index]
        out[6 + index] -= per_s * y[6 + index]


def _film_w_m2_k(controls: Controls, *, boiling: bool) -> float:
    if boiling:
        return _FILM_BOILING
    return _FILM_STILL + (_FILM_STIRRED - _FILM_STILL) * controls.stirring_fraction


def _no_wall(
    out: list[float], setup: Setup, heat_w: float, bulk_degc: float, *, layered: bool
) -> None:
    """Bring the heat straight into the milk, and lose some from it."""
    pot = setup.pot
    loss_w = pot.wall_loss_w_m2_k * pot.outer_area_m2 * (bulk_degc - setup.kitchen.room_degc)
    out[5 if layered else 2] += heat_w
    out[2] -= loss_w
    out[LOST_J] += loss_w


def _wall(
    y: list[float], out: list[float], setup: Setup, now: tuple[float, float, float, float]
) -> None:
    """Bring the hob's heat through the wall, and some of it to the room."""
    heat_w, film, bulk_degc, bottom_degc = now
    pot, wall_degc = setup.pot, y[WALL]
    wetted_m2 = 4.0 * (y[0] + y[1]) / (LIQUID_DENSITY_KG_M3 * pot.diameter_m)
    side_w = film * wetted_m2 * (wall_degc - bulk_degc)
    base_w = film * pot.area_m2 * (wall_degc - bottom_degc)
    loss_w = pot.wall_loss_w_m2_k * pot.outer_area_m2 * (wall_degc - setup.kitchen.room_degc)
    out[2] += side_w
    out[5 if y[3] + y[4] > EMPTY_KG else 2] += base_w
    out[LOST_J] += loss_w
    net_w = heat_w - side_w - base_w - loss_w
    out[WALL] = net_w / (pot.wall_kg * pot.wall_heat_j_kg_k)


def _surface(out: list[float], setup: Setup, bulk_degc: float, *, covered: bool) -> None:
    """Lose dry heat and vapour from the surface, through the lid if it is on."""
    pot, kitchen = setup.pot, setup.kitchen
    loss_w_m2_k = pot.lid_loss_w_m2_k if covered else pot.surface_loss_w_m2_k
    loss_w = loss_w_m2_k * pot.area_m2 * (bulk_degc - kitchen.room_degc)
    out[2] -= loss_w
    out[LOST_J] += loss_w
    pressure = kitchen.pressure_pa
    vapour = min(saturation_pressure_pa(bulk_degc), _VAPOUR_SHARE_MAX * pressure)
    if pot.vapour_kg_m2_s <= 0.0 or vapour <= kitchen.vapour_pa:
        return
    # Diffusion through a film of stagnant air (Stefan).
    drive = math.log((pressure - kitchen.vapour_pa) / (pressure - vapour))
    leak = pot.lid_leak_fraction if covered else 1.0
    flow_kg_s = pot.vapour_kg_m2_s * pot.area_m2 * drive * leak
    flow_w = flow_kg_s * (setup.heats.water.enthalpy(bulk_degc) + latent_heat_j_kg(bulk_degc))
    out[0] -= flow_kg_s
    out[2] -= flow_w
    out[VAPOUR_KG] += flow_kg_s
    out[VAPOUR_J] += flow_w
