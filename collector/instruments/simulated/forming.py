# SPDX-License-Identifier: MIT
"""What the maker does with the curd: ladle, press, unmould, chill.

Each function carries a run on and yields the length of every step [s]. Must not import `api`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from collector.errors import ProcessError
from collector.instruments.simulated.block import STEP_S, Block, Drain, Medium
from collector.instruments.simulated.plan import Chilling

if TYPE_CHECKING:
    from collector.instruments.simulated.run import BatchRun

# Curd in its cloth and mould in still air [W/(m2 K)] (common practice).
MOULD_FILM_W_M2_K = 9.0
# Still water round a block, moved now and then [W/(m2 K)] (common practice).
WATER_FILM_W_M2_K = 200.0
WHEY_SCOOPS = 4
FRIDGE_STEP_S = 5.0  # hours of little change; the block itself goes on in steps of 1 s
LARGEST_CURD_FRACTION = 0.85


@dataclass(frozen=True, slots=True)
class _Parting:
    """How the pot parts into curd and whey.

    Attributes:
        curd_kg: [kg].
        curd_solids_kg: [kg].
        whey_solids_fraction: Solids in the whey [-].
        first_kg: Whey drawn before the curd [kg].
        residue_kg: What stays in the pot [kg].
    """

    curd_kg: float
    curd_solids_kg: float
    whey_solids_fraction: float
    first_kg: float
    residue_kg: float


def _parting(run: BatchRun) -> _Parting:
    plan, pot = run.scenario.forming, run.pot
    mass_kg = pot.mass_kg
    solids_kg = sum(zone.solids_kg for zone in pot.zones)
    curd_solids_kg = plan.recovery_fraction * solids_kg
    curd_kg = min(
        curd_solids_kg / (1.0 - plan.curd_water_fraction), LARGEST_CURD_FRACTION * mass_kg
    )
    first_kg = min(plan.whey_first_fraction * mass_kg, 0.8 * (mass_kg - curd_kg))
    return _Parting(
        curd_kg=curd_kg,
        curd_solids_kg=curd_solids_kg,
        whey_solids_fraction=(solids_kg - curd_solids_kg) / (mass_kg - curd_kg),
        first_kg=first_kg,
        residue_kg=plan.residue_fraction * mass_kg,
    )


def ladle(run: BatchRun) -> Iterator[float]:
    """Draw some whey, ladle the curd into the mould, pour the rest of the whey off."""
    plan, pot = run.scenario.forming, run.pot
    part = _parting(run)
    run.mark("ladle")
    run.ladling = True
    pause_s = plan.ladle_s / (WHEY_SCOOPS + plan.scoops)
    for _ in range(WHEY_SCOOPS):
        solids_kg = part.first_kg * part.whey_solids_fraction / WHEY_SCOOPS
        drawn = pot.draw(part.first_kg / WHEY_SCOOPS - solids_kg, solids_kg)
        run.streams.put("whey", drawn.mass_kg, drawn.solids_kg)
        yield from run.on_hob(pause_s)
    for _ in range(plan.scoops):
        solids_kg = part.curd_solids_kg / plan.scoops
        drawn = pot.draw(part.curd_kg / plan.scoops - solids_kg, solids_kg)
        run.streams.put("curd", drawn.mass_kg, drawn.solids_kg)
        _lay(run, drawn.mass_kg, drawn.temperature_degc)
        yield from run.on_hob(pause_s)
    _pour_off(run, part.residue_kg)
    run.ladling = False
    run.mark("ladle_end")
    yield from run.on_hob(plan.settle_s)


def _lay(run: BatchRun, mass_kg: float, temperature_degc: float) -> None:
    room_degc = run.scenario.kitchen.room_degc
    if run.block is None:
        medium = Medium("room", room_degc, MOULD_FILM_W_M2_K)
        run.block = Block(mass_kg, temperature_degc, temperature_degc, medium, room_degc)
    else:
        run.block.add(mass_kg, temperature_degc)


def _pour_off(run: BatchRun, residue_kg: float) -> None:
    """Empty the pot: all but a residue is whey."""
    pot = run.pot
    water_kg = sum(zone.water_kg for zone in pot.zones)
    solids_kg = sum(zone.solids_kg for zone in pot.zones)
    drawn = pot.draw(water_kg, solids_kg)
    pot.empty()
    share = max(0.0, 1.0 - residue_kg / drawn.mass_kg)
    run.streams.put("whey", drawn.mass_kg * share, drawn.solids_kg * share)
    run.streams.residue_kg["set"] = drawn.mass_kg * (1.0 - share)
    run.streams.put("evaporation", pot.ledger.vapour_kg, 0.0)


def press(run: BatchRun) -> Iterator[float]:
    """Press the curd; its whey runs into the tray. Then unmould the block."""
    plan, block = run.scenario.forming, _curd(run)
    run.mark("press")
    curd_kg, solids_kg = run.streams.mass_kg["curd"], run.streams.solids_kg["curd"]
    drain = Drain(plan.run_off_fraction * curd_kg, plan.fast_fraction, plan.fast_s, plan.slow_s)
    pressed_s = 0.0
    while pressed_s < plan.press_s - 1e-9:
        step_s = min(STEP_S, plan.press_s - pressed_s)
        pressed_s += step_s
        run.press_whey_kg = drain.run_off_kg(pressed_s)
        block.mass_kg = curd_kg - run.press_whey_kg
        yield _pass(run, step_s)
    run.mark("press_end")
    run_off_kg = run.press_whey_kg
    residue_kg = plan.residue_fraction * curd_kg
    whey_solids = plan.whey_solids_fraction
    run.streams.put("press_whey", run_off_kg - residue_kg, (run_off_kg - residue_kg) * whey_solids)
    run.streams.put("block", block.mass_kg, solids_kg - run_off_kg * whey_solids)
    run.streams.residue_kg["press"] = residue_kg
    run.mark("unmould")


def _curd(run: BatchRun) -> Block:
    if run.block is None:
        raise ProcessError(
            "There is no curd yet.",
            where=f"simulated pot {run.scenario.name}",
            do="Give the plan at least one ladle of curd.",
        )
    return run.block


def _pass(run: BatchRun, step_s: float) -> float:
    """Let time pass for the block and the empty pot."""
    _curd(run).step(step_s)
    run.pot.step(step_s)
    run.time_s += step_s
    return step_s


def chill(run: BatchRun, plan: Chilling) -> Iterator[float]:
    """Chill the block in water, changed so many times, and then in a fridge."""
    block = _curd(run)
    block.mass_kg /= plan.blocks
    yield from _wait(run, plan.wait_s)
    run.mark("chill")
    start_s = run.time_s
    if plan.bath_s > 0.0:
        water_kg = plan.bath_ratio * block.mass_kg
        for _ in range(plan.changes + 1):
            block.put_in(Medium("water", plan.bath_degc, WATER_FILM_W_M2_K, water_kg))
            yield from _wait(run, plan.bath_s / (plan.changes + 1))
    run.mark("fridge")
    block.put_in(Medium("fridge", plan.fridge_degc, plan.fridge_film_w_m2_k, swing_k=0.7))
    while block.core_degc > plan.until_degc and run.time_s - start_s < plan.longest_s:
        yield _pass(run, FRIDGE_STEP_S)


def _wait(run: BatchRun, duration_s: float) -> Iterator[float]:
    end_s = run.time_s + duration_s
    while run.time_s < end_s - 1e-9:
        yield _pass(run, min(STEP_S, end_s - run.time_s))
