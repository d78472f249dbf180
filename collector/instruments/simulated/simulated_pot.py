# SPDX-License-Identifier: MIT
"""A simulated pot as an instrument of the collector: readings without any door.

Must not import `api`, and shares nothing with `api.process`.
"""

from __future__ import annotations

import asyncio
import time
import uuid
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from collector.errors import ConfigError
from collector.instruments.protocol import Clock, Delivery
from collector.instruments.simulated.channels import Said
from collector.instruments.simulated.fern_lane import INGREDIENTS, POTS, fern_lane, preparation_of
from collector.instruments.simulated.live import LivePot, event_time_s
from collector.instruments.simulated.plan import Scenario
from collector.readings import Quality, Reading, TimeSource

TICK_S = 0.1
_NUMBERS = ("dry_kg", "target_degc", "hob_power_w", "rate_hz", "before_s")
_WORDS = ("pot", "ingredient", "before")
Options = Mapping[str, bool | int | float | str]


class SimulatedPot:
    """A pot that exists only in the computer, and speaks straight to the collector."""

    def __init__(
        self,
        pot: LivePot,
        clock: Clock,
        *,
        name: str = "",
        speed: float = 1.0,
        steady_s: Callable[[], float] = time.monotonic,
    ) -> None:
        """Take a pot as it is; its time runs on from there once it is listened to.

        Args:
            pot: The pot.
            clock: Stamps arrivals.
            name: As the log calls it; the series' first part if empty.
            speed: Seconds of the pot in one second of the clock, above 0 [-].
            steady_s: A clock that is never set [s].
        """
        self._pot = pot
        self._name = name or pot.scenario.name
        self._clock = clock
        self._speed = speed
        self._steady_s = steady_s
        self._boot = uuid.uuid4().hex[:12]  # else the next run's numbers would look like repeats
        self._sequence = 0

    @property
    def name(self) -> str:
        """The pot's name."""
        return self._name

    @property
    def pot(self) -> LivePot:
        """The pot itself, for whoever stands at it."""
        return self._pot

    async def deliveries(self) -> AsyncIterator[Delivery]:
        """Yield what the pot's instruments say, until cancelled."""
        begun_s, from_s = self._steady_s(), self._pot.time_s
        while True:
            gone_s = (self._steady_s() - begun_s) * self._speed
            said = self._pot.advance_to(from_s + gone_s)
            if said:
                yield Delivery([self._reading(one) for one in said])
            await asyncio.sleep(TICK_S)

    def committed(self, receipts: Sequence[object]) -> None:
        """Nobody waits for it."""

    def _reading(self, said: Said) -> Reading:
        self._sequence += 1
        overload = said.value is None
        moving = not said.stable
        return Reading(
            series=said.series,
            value=said.value,
            unit=said.unit,
            time_ms=said.time_ms,
            time_source=TimeSource.INSTRUMENT,
            arrival_ms=self._clock.now_ms(),
            quality=Quality.BAD if overload else Quality.SUSPECT if moving else Quality.GOOD,
            reason="overload" if overload else "not stable" if moving else "",
            boot=self._boot,
            sequence=self._sequence,
        )


def scenario_from(name: str, options: Options, series_prefix: str = "") -> Scenario:
    """Return the plan that a line of configuration asks for.

    Args:
        name: Of the pot; one of Fern Lane's is taken for that pot if `options` names none.
        options: `pot` ("north", "south", "small"), `ingredient`, `dry_kg`, `target_degc`,
            `hob_power_w`, `rate_hz`; `before` and `before_s` belong to `simulated_pot`.
        series_prefix: First part of the series' names; the name in small letters if empty.

    Raises:
        ConfigError: All that is wrong with them.
    """
    faults = _faults(options)
    if faults:
        raise ConfigError(faults, where=f"simulated pot {name}")
    usual = name.lower() if name.lower() in POTS else POTS[0]
    plan = fern_lane(str(options.get("pot", usual)))
    dry_kg = float(options.get("dry_kg", plan.preparation.dry_kg))
    share = dry_kg / plan.preparation.dry_kg
    ingredient = str(options.get("ingredient", plan.preparation.ingredient))
    outfit = plan.outfit
    sampling = replace(
        outfit.milk_sampling, rate_hz=float(options.get("rate_hz", outfit.milk_sampling.rate_hz))
    )
    power_w = float(options.get("hob_power_w", plan.hob.power_w * share))
    target_degc = float(options.get("target_degc", plan.target.value_degc))
    return replace(
        plan,
        name=series_prefix or name.lower(),
        preparation=preparation_of(ingredient, dry_kg),
        hob=replace(plan.hob, power_w=power_w),
        target=replace(plan.target, value_degc=target_degc),
        pours=tuple(
            replace(p, coagulant_kg=p.coagulant_kg * share, water_kg=p.water_kg * share)
            for p in plan.pours
        ),
        outfit=replace(outfit, milk_sampling=sampling),
    )


def _faults(options: Options) -> list[str]:
    faults = []
    for key, value in options.items():
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if key not in (*_NUMBERS, *_WORDS):
            faults.append(f"{key}: not known; use {', '.join((*_WORDS, *_NUMBERS))}")
        elif key in _NUMBERS and not number:
            faults.append(f"{key}: {value!r} is not a number")
        elif key in _WORDS and not isinstance(value, str):
            faults.append(f"{key}: {value!r} is not a word")
        elif key in _NUMBERS and not float(value) > 0.0:
            faults.append(f"{key}: {value!r} must be above 0")
        elif key == "pot" and value not in POTS:
            faults.append(f"pot: {value!r} isn't one of {', '.join(POTS)}")
        elif key == "ingredient" and value not in INGREDIENTS:
            faults.append(f"ingredient: {value!r} isn't one of {', '.join(INGREDIENTS)}")
    return faults


@dataclass(frozen=True, slots=True)
class Wanted:
    """A simulated pot as a line of configuration asks for it.

    Attributes:
        name: As the log calls it.
        series_prefix: First part of the series' names; the name in small letters if empty.
        seed: Of the instruments' noise.
        speed: Seconds of the pot in one second of the clock, above 0 [-].
        options: As in `scenario_from`, and where it starts: with `before = "target"` and
            `before_s = 180` three minutes before the milk is at its target; without, when the
            milk stands in the pot.
    """

    name: str
    series_prefix: str = ""
    seed: int = 0
    speed: float = 1.0
    options: Options = field(default_factory=dict)


def simulated_pot(wanted: Wanted, clock: Clock) -> SimulatedPot:
    """Return the instrument that a line of configuration asks for.

    Args:
        wanted: What it asks for.
        clock: Stamps arrivals.

    Raises:
        ConfigError: All that is wrong with the options.
        ProcessError: The plan never comes to the event named by `before`.
    """
    options = wanted.options
    plan = scenario_from(wanted.name, options, wanted.series_prefix)
    from_s = 0.0
    if "before" in options:
        event_s = event_time_s(plan, str(options["before"]))
        from_s = max(0.0, event_s - float(options.get("before_s", 180.0)))
    pot = LivePot(plan, wanted.seed, clock.now_ms() - round(from_s * 1000.0))
    pot.advance_to(from_s)
    return SimulatedPot(pot, clock, name=wanted.name, speed=wanted.speed)
