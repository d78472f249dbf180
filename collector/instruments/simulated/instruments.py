# SPDX-License-Identifier: MIT
"""Simulated probes and scales: what they show of a true temperature or mass.

Imports numpy. Must not import `api`, and shares nothing with `api.process`.
"""

from __future__ import annotations

import enum
import math
from dataclasses import dataclass, field

import numpy as np

POWER_ON_DEGC = 85.0
DISCONNECTED_DEGC = -127.0


class Fault(enum.IntEnum):
    """What is wrong with a sample, as only the simulation knows."""

    NONE = 0
    POWER_ON = 1
    DISCONNECTED = 2
    LIFTED = 3
    REPEATED = 4


def quantised(value: float, step: float) -> float:
    """Return a value rounded to a display step; as it is if the step is 0.

    Example:
        >>> quantised(82.2, 0.0625)
        82.1875
    """
    return round(round(value / step) * step, 9) if step > 0.0 else value


@dataclass(frozen=True, slots=True)
class ProbeModel:
    """A probe thermometer in its place.

    Attributes:
        time_constant_s: Main time constant in the stirred liquid [s].
        second_time_constant_s: Of a sheath before the sensor; 0 for a first-order probe [s].
        still_factor: Both time constants are longer by this in still liquid [-].
        air_factor: And by this in air [-].
        place_bias_k: What its place differs from the bulk, stirred or not [K].
        bottom_fraction: How much of the bottom layer it sees when nobody stirs [-].
        plume_k: Swing of plumes past it when nobody stirs and the hob is on [K].
        offset_k: Calibration offset, at 0 degC [K].
        gain: Calibration gain, 1 is right [-].
        noise_k: Standard deviation of white noise [K].
        drift_k: Standard deviation of slowly wandering noise [K].
        drift_s: Its correlation time [s].
        resolution_k: Display step; 0 for none [K].
    """

    time_constant_s: float = 6.0
    second_time_constant_s: float = 0.0
    still_factor: float = 1.0
    air_factor: float = 4.0
    place_bias_k: float = 0.0
    bottom_fraction: float = 0.0
    plume_k: float = 0.0
    offset_k: float = 0.0
    gain: float = 1.0
    noise_k: float = 0.02
    drift_k: float = 0.0
    drift_s: float = 30.0
    resolution_k: float = 0.0625


@dataclass(frozen=True, slots=True)
class Place:
    """What is round the probe at one moment.

    Attributes:
        bulk_degc: Temperature of the bulk, or of whatever it is in [degC].
        bottom_degc: Temperature of the bottom layer [degC].
        stirring_fraction: 0 still, 1 stirred well [-].
        air_degc: Temperature of the room, if the probe is out of the liquid [degC].
        heated: The hob is on.
    """

    bulk_degc: float
    bottom_degc: float
    stirring_fraction: float = 1.0
    air_degc: float | None = None
    heated: bool = False


def wandering(
    value: float, spread: float, correlation_s: float, step: tuple[float, float]
) -> float:
    """Return the next value of a noise with a memory (Ornstein and Uhlenbeck).

    Args:
        value: The last value.
        spread: Its standard deviation in the long run.
        correlation_s: [s].
        step: Time since the last value [s], and a standard normal deviate.
    """
    keep = math.exp(-step[0] / correlation_s)
    return value * keep + spread * math.sqrt(1.0 - keep * keep) * step[1]


def lagged(value: float, before: float, now: float, step: tuple[float, float]) -> float:
    """Return where a first-order lag is after its input went in a straight line.

    Exact for the straight line: on a ramp the lag is the rate times the time constant.

    Args:
        value: Where it was.
        before: Input at the beginning.
        now: Input at the end.
        step: Duration and time constant [s].
    """
    duration_s, time_constant_s = step
    if time_constant_s <= 0.0:
        return now
    behind = (now - before) / duration_s * time_constant_s
    gone = math.exp(-duration_s / time_constant_s)
    return now - behind + (value - before + behind) * gone


@dataclass(slots=True)
class Probe:
    """A probe that follows its surroundings: `follow` in steps, then `indication`.

    Attributes:
        model: What it is like.
        rng: Where its noise comes from.
        sheath_degc: Temperature of the sheath [degC].
        sensor_degc: Temperature of the sensor, without noise [degC].
        before_degc: The same one step earlier [degC].
    """

    model: ProbeModel
    rng: np.random.Generator
    sheath_degc: float
    sensor_degc: float = field(init=False)
    before_degc: float = field(init=False)
    _around_degc: float = field(init=False)
    _drift_k: float = field(init=False)
    _plume: float = field(init=False, default=0.0)

    def __post_init__(self) -> None:
        self.sensor_degc = self.before_degc = self._around_degc = self.sheath_degc
        self._drift_k = self.model.drift_k * float(self.rng.standard_normal())

    def place_degc(self, place: Place) -> float:
        """Return the true temperature at the tip of the probe [degC]."""
        if place.air_degc is not None:
            return place.air_degc
        model = self.model
        unstirred = 1.0 - place.stirring_fraction
        seen = model.bottom_fraction * unstirred * (place.bottom_degc - place.bulk_degc)
        plume = model.plume_k * unstirred * self._plume if place.heated else 0.0
        return place.bulk_degc + model.place_bias_k + seen + plume

    def follow(self, place: Place, step_s: float) -> None:
        """Let time pass while the surroundings go straight to what they are now.

        Args:
            place: Where the probe is at the end of the step.
            step_s: Above 0 [s].
        """
        model, rng = self.model, self.rng
        if model.plume_k > 0.0:
            self._plume = wandering(self._plume, 1.0, 8.0, (step_s, float(rng.standard_normal())))
        factor = model.air_factor
        if place.air_degc is None:
            factor = model.still_factor + (1.0 - model.still_factor) * place.stirring_fraction
        around, sheath = self.place_degc(place), self.sheath_degc
        second = (step_s, model.second_time_constant_s * factor)
        self.sheath_degc = lagged(sheath, self._around_degc, around, second)
        self._around_degc, self.before_degc = around, self.sensor_degc
        first = (step_s, model.time_constant_s * factor)
        self.sensor_degc = lagged(self.sensor_degc, sheath, self.sheath_degc, first)

    def indication(self, interval_s: float, back_fraction: float = 0.0) -> float:
        """Return what the probe shows, with noise and rounding [degC].

        Args:
            interval_s: Time since it was last asked [s].
            back_fraction: How far back within the last step, 0 for its end [-].
        """
        model, rng = self.model, self.rng
        if model.drift_k > 0.0:
            draw = (interval_s, float(rng.standard_normal()))
            self._drift_k = wandering(self._drift_k, model.drift_k, model.drift_s, draw)
        level = self.sensor_degc + back_fraction * (self.before_degc - self.sensor_degc)
        noise = model.noise_k * float(rng.standard_normal()) + self._drift_k
        return quantised(level * model.gain + model.offset_k + noise, model.resolution_k)


@dataclass(frozen=True, slots=True)
class ScaleModel:
    """A platform scale.

    Attributes:
        noise_kg: Standard deviation at rest [kg].
        stirring_noise_kg: More of it while someone stirs or ladles [kg].
        settle_s: Time constant of its filter [s].
        resolution_kg: Display step [kg].
        drift_kg_h: Drift of its zero [kg/h].
        gain: Calibration gain, 1 is right [-].
        stable_steps: It calls itself stable while it moves less than so many steps [-].
        capacity_kg: Above it shows overload [kg].
    """

    noise_kg: float = 0.0005
    stirring_noise_kg: float = 0.02
    settle_s: float = 0.6
    resolution_kg: float = 0.001
    drift_kg_h: float = 0.0
    gain: float = 1.0
    stable_steps: float = 1.5
    capacity_kg: float = 150.0


@dataclass(frozen=True, slots=True)
class Indicated:
    """What a scale shows.

    Attributes:
        mass_kg: Net mass, None on overload [kg].
        stable: Its own word for it.
    """

    mass_kg: float | None
    stable: bool


@dataclass(slots=True)
class Scale:
    """A scale that follows its load: `follow` in steps, then `indication`.

    Attributes:
        model: What it is like.
        rng: Where its noise comes from.
        load_kg: Filtered load [kg].
        tare_kg: What is taken off [kg].
    """

    model: ScaleModel
    rng: np.random.Generator
    load_kg: float = 0.0
    tare_kg: float = 0.0
    _zero_kg: float = 0.0
    _moving_kg: float = 0.0
    _shaken_kg: float = 0.0

    def tare(self) -> None:
        """Take off what lies on it now, as it shows it."""
        self.tare_kg = quantised(self.load_kg * self.model.gain, self.model.resolution_kg)

    def follow(self, true_kg: float, stirring_fraction: float, step_s: float) -> None:
        """Let time pass under a load.

        Args:
            true_kg: What lies on it [kg].
            stirring_fraction: 0 still, 1 stirred well or ladled from [-].
            step_s: [s].
        """
        model = self.model
        gone = math.exp(-step_s / model.settle_s) if model.settle_s > 0.0 else 0.0
        before_kg = self.load_kg
        self.load_kg = true_kg + (before_kg - true_kg) * gone
        self._moving_kg = abs(true_kg - self.load_kg)
        self._shaken_kg = model.stirring_noise_kg * stirring_fraction
        self._zero_kg += model.drift_kg_h * step_s / 3600.0

    def indication(self) -> Indicated:
        """Return what the scale shows."""
        model = self.model
        shake = self._shaken_kg * float(self.rng.standard_normal())
        noise = model.noise_kg * float(self.rng.standard_normal())
        gross_kg = self.load_kg * model.gain + self._zero_kg + noise + shake
        if gross_kg > model.capacity_kg:
            return Indicated(None, False)
        moved = max(abs(shake), self._moving_kg)
        stable = moved <= model.stable_steps * model.resolution_kg
        return Indicated(quantised(gross_kg - self.tare_kg, model.resolution_kg), stable)
