# SPDX-License-Identifier: MIT
"""A simulated pot that is lived through step by step, with its instruments.

Imports numpy. Must not import `api`, and shares nothing with `api.process`. Knows no clock of the
machine: it is told how far to go.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, field, replace

import numpy as np

from collector.errors import ProcessError
from collector.instruments.simulated.channels import PLACES, Channel, Said, around_probe
from collector.instruments.simulated.instruments import Probe, ProbeModel, Scale, ScaleModel
from collector.instruments.simulated.outfit import Sampling
from collector.instruments.simulated.physics import STEP_S
from collector.instruments.simulated.plan import Scenario
from collector.instruments.simulated.run import BatchRun


@dataclass(slots=True)
class LivePot:
    """A pot with its instruments; its methods may be called from any thread.

    Attributes:
        scenario: The plan.
        seed: Of the instruments' noise.
        start_ms: Time 0 of the run [ms since 1970 UTC].
        run: The batch.
    """

    scenario: Scenario
    seed: int = 0
    start_ms: int = 0
    run: BatchRun = field(init=False)
    _channels: dict[str, Channel] = field(init=False)
    _pours: list[tuple[float, float, float]] = field(init=False, default_factory=list)
    _ahead: list[Said] = field(init=False, default_factory=list)
    _lock: threading.RLock = field(init=False, default_factory=threading.RLock)

    def __post_init__(self) -> None:
        self.run = BatchRun(self.scenario)
        outfit = self.scenario.outfit
        water = replace(outfit.block, place_bias_k=0.0)
        self._channels = {}
        self._probe("milk", outfit.milk, outfit.milk_sampling)
        self._scale("under_pot", outfit.under_pot, outfit.scale_sampling)
        self._scale("under_press", outfit.under_press, outfit.scale_sampling)
        if self.scenario.chilling is not None:
            self._probe("block_core", outfit.block, outfit.block_sampling)
            self._probe("chill_water", water, outfit.block_sampling)

    def _probe(self, place: str, model: ProbeModel, sampling: Sampling) -> None:
        rng = np.random.default_rng([self.seed, PLACES.index(place), 2])
        around = around_probe(self.run, place)
        start_degc = around.bulk_degc if around.air_degc is None else around.air_degc
        probe = Probe(model, rng, start_degc)
        self._channels[place] = Channel(place, self._name(place), sampling, rng, probe)

    def _scale(self, place: str, model: ScaleModel | None, sampling: Sampling) -> None:
        if model is not None:
            rng = np.random.default_rng([self.seed, PLACES.index(place), 2])
            load_kg = self.run.on_scale_kg if place == "under_pot" else 0.0
            scale = Scale(model, rng, load_kg)
            self._channels[place] = Channel(place, self._name(place), sampling, rng, scale)

    def _name(self, place: str) -> str:
        return f"{self.scenario.name}/{place.replace('_', '-')}"

    @property
    def places(self) -> tuple[str, ...]:
        """Where it has instruments."""
        return tuple(self._channels)

    @property
    def time_s(self) -> float:
        """How far it has come [s]."""
        return self.run.time_s

    @property
    def events_ms(self) -> dict[str, int]:
        """When things began, by kind [ms since 1970 UTC]."""
        with self._lock:
            return {
                kind: self.start_ms + round(at_s * 1000.0)
                for kind, at_s in self.run.events_s.items()
                if kind != "set_begins"
            }

    def series(self, place: str) -> str:
        """Return the name of the series at a place."""
        return self._channel(place).series

    def advance_to(self, time_s: float) -> list[Said]:
        """Go on to a time, and return what the instruments said on the way, in order.

        The last step may end after it; what is said in the rest of that step comes next time.

        Args:
            time_s: Since the beginning of the run [s].
        """
        limit_ms = self.start_ms + time_s * 1000.0
        with self._lock:
            said, self._ahead = self._ahead, []
            while self.run.time_s < time_s - 1e-9:
                self._poured()
                step_s = self.run.advance()
                if step_s <= 0.0:
                    self.run.take_over()
                    continue
                for channel in self._channels.values():
                    said.extend(channel.heard(self.run, step_s, self.start_ms))
            self._ahead = [one for one in said if one.time_ms > limit_ms]
        return [one for one in said if one.time_ms <= limit_ms]

    # -- what someone at the pot does --------------------------------------------------------

    def take_over(self) -> None:
        """Leave the plan; from now on the pot does only what it is told."""
        with self._lock:
            self.run.take_over()

    def hob(self, power_fraction: float) -> None:
        """Set the hob, 0 is off and 1 full [-]."""
        with self._lock:
            self.run.pot.controls.power_fraction = _fraction(power_fraction, "hob")

    def stir(self, stirring_fraction: float) -> None:
        """Stir, 0 not at all and 1 well [-]."""
        with self._lock:
            self.run.pot.controls.stirring_fraction = _fraction(stirring_fraction, "stirring")

    def cover(self, *, lid: bool = True) -> None:
        """Put the lid on, or take it off."""
        with self._lock:
            self.run.pot.controls.covered = lid

    def pour(self, mass_kg: float, temperature_degc: float, duration_s: float) -> None:
        """Pour coagulant in water, from now on.

        Args:
            mass_kg: Above 0 [kg].
            temperature_degc: [degC].
            duration_s: Above 0 [s].

        Raises:
            ProcessError: Mass or duration is 0 or less.
        """
        if mass_kg <= 0.0 or duration_s <= 0.0:
            raise ProcessError(
                f"{mass_kg:.6g} kg in {duration_s:.6g} s can't be poured.",
                where=f"simulated pot {self.scenario.name}",
                do="Pour more than 0 kg in more than 0 s.",
            )
        with self._lock:
            self._pours.append((mass_kg, temperature_degc, duration_s))
            self.run.mark("addition")

    def _poured(self) -> None:
        left = []
        for mass_kg, degc, duration_s in self._pours:
            step_s = min(STEP_S, duration_s)
            now_kg = mass_kg * step_s / duration_s
            self.run.pot.pour(now_kg, 0.0, degc)
            if duration_s > step_s + 1e-9:
                left.append((mass_kg - now_kg, degc, duration_s - step_s))
        self._pours = left

    def lift(self, place: str = "milk", *, out: bool = True) -> None:
        """Take a probe out of what it is in, or put it back."""
        with self._lock:
            self._channel(place).lifted = out

    def silence(self, place: str, *, silent: bool = True) -> None:
        """Let an instrument say nothing, or speak again."""
        with self._lock:
            self._channel(place).silent = silent

    def tare(self, place: str = "under_pot") -> None:
        """Press the tare key of a scale; a probe has none."""
        with self._lock:
            instrument = self._channel(place).instrument
            if isinstance(instrument, Scale):
                instrument.tare()

    def _channel(self, place: str) -> Channel:
        if place not in self._channels:
            raise ProcessError(
                f"There is no instrument at {place!r}.",
                where=f"simulated pot {self.scenario.name}",
                do=f"Use {', '.join(self._channels)}.",
            )
        return self._channels[place]


def _fraction(value: float, what: str) -> float:
    if not 0.0 <= value <= 1.0:
        raise ProcessError(
            f"A {what} of {value:.6g} is not a fraction.",
            where="simulated pot",
            do="Give a number from 0 to 1.",
        )
    return value


def event_time_s(scenario: Scenario, event: str) -> float:
    """Return when something begins if the plan is carried out [s since its beginning].

    Args:
        scenario: The plan.
        event: A kind of event, as in `Truth.events_s`.

    Raises:
        ProcessError: It never comes.
    """
    run = BatchRun(scenario)
    while event not in run.events_s:
        if run.advance() <= 0.0 and event not in run.events_s:
            raise ProcessError(
                f"The plan has no {event!r}.",
                where=f"simulated pot {scenario.name}",
                do=f"Use one of {', '.join(run.events_s)}.",
            )
    return run.events_s[event]


def pot_before(
    scenario: Scenario, event: str, before_s: float, *, now_ms: int, seed: int = 0
) -> tuple[LivePot, list[Said]]:
    """Return a pot that is a while before an event, and all that its instruments said till then.

    Args:
        scenario: The plan.
        event: A kind of event, as in `Truth.events_s`.
        before_s: How long before it [s].
        now_ms: The time that it is then [ms since 1970 UTC].
        seed: Of the instruments' noise.

    Raises:
        ProcessError: The event never comes.
    """
    at_s = max(0.0, event_time_s(scenario, event) - before_s)
    pot = LivePot(scenario, seed, now_ms - round(at_s * 1000.0))
    return pot, pot.advance_to(at_s)
