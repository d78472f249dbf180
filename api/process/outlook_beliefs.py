# SPDX-License-Identifier: MIT
"""What is believed of a pot before its curve tells: a bank of suppositions, each with its weight.

Pure: numpy only.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from api.process.curves import Floats
from api.process.heating_inputs import USUAL_ROOM
from api.process.quantities import Quantity

# Places in the state of a pot: temperature [K], steady heat [K/s], heat that dies away or comes
# up [K/s], dry loss [1/s], evaporation at 95 degC [K/s], stirring [K].
TEMPERATURE, STEADY, FADING, LOSS, VAPOUR, STIRRING = range(6)
STATES = 6

# 3 kg of milk: dry loss from 10 W/(m2 K) over a usual pot, evaporation of an open surface and of
# one under a lid (computed); surface to volume goes with the inverse third root of the mass.
LOSS_PER_S, U_LOSS_FRACTION = 1.05e-4, 0.35
OPEN_K_PER_S, U_OPEN_FRACTION = 0.045, 0.35
COVERED_FRACTION, U_COVERED_FRACTION = 0.05, 0.05
LID_LOSS_FRACTION = 0.88
BELIEVED_AT_KG = 3.0
# Unlike shapes of pots, where the mass is known; and from half a kilogram to a hundred where it
# is not.
_SHAPES, _SHAPE_WEIGHTS = (0.72, 1.0, 1.38), (0.25, 0.5, 0.25)
_ANY_SCALE = (0.36, 0.5, 0.7, 1.0, 1.4, 1.95)
_ANY_WEIGHTS = (0.1, 0.18, 0.27, 0.25, 0.14, 0.06)
# How restless the milk is: scatter of stirring [K], the same for each K/s of warming [s], how long
# it is remembered [s], how much the heat wanders [1/sqrt(s)].
_RESTLESS = (
    (0.04, 0.0, 40.0, 0.0006),
    (0.2, 0.0, 40.0, 0.0006),
    (0.06, 0.0, 40.0, 0.003),
    (0.06, 10.0, 200.0, 0.001),
)
_RESTLESS_WEIGHTS = (0.3, 0.2, 0.2, 0.3)
# Time in which a hob comes to its heat, or gives off what it holds [s] (common practice).
_HOB_S, _HOB_WEIGHTS = (12.0, 50.0, 130.0, 300.0), (0.5, 0.2, 0.2, 0.1)
_LOW_FLAME_WEIGHT = 0.12
# How far earlier batches are trusted to be like this one (common practice).
_TAUGHT_WEIGHT = 0.8


@dataclass(frozen=True, slots=True)
class Taught:
    """What earlier batches of the same pot and hob taught, brought to the mass of this one.

    Attributes:
        power: Heat of the hob by heat capacity of milk and wall [K/s]; None if none did.
        loss: Dry loss by heat capacity [1/s].
        vapour: Evaporation at 95 degC by heat capacity [K/s].
        batches: From how many batches [-].
    """

    power: Quantity | None
    loss: Quantity
    vapour: Quantity
    batches: int


@dataclass(frozen=True, slots=True)
class PotKnown:
    """What is known of a pot beside its curve.

    Attributes:
        boiling: Local boiling point [degC].
        room: Temperature of the room, None takes 21 degC with u 4 K [degC].
        milk: In the pot, None if nobody weighed it [kg].
        covered: Whether the lid is on, None if that isn't known.
        taught: By earlier batches, None if there are none.
    """

    boiling: Quantity
    room: Quantity | None = None
    milk: Quantity | None = None
    covered: bool | None = None
    taught: Taught | None = None

    @property
    def around(self) -> Quantity:
        """The temperature of the room, measured or usual [degC]."""
        return self.room or USUAL_ROOM


@dataclass(frozen=True, slots=True)
class Bank:
    """Suppositions beside each other; arrays of shape (h, …).

    Attributes:
        mean: State at the start [K, K/s, K/s, 1/s, K/s, K], shape (h, 6).
        spread: Standard deviations of it, shape (h, 6).
        hob_s: How fast the fading heat fades [s], shape (h,).
        stirring_k: Scatter of stirring [K], shape (h,).
        lasts_s: How long a stirring is remembered [s], shape (h,).
        wander: How much the heat wanders, relative [1/sqrt(s)], shape (h,).
        covered: The lid is on, shape (h,).
        scale: Surface to volume against 3 kg [-], shape (h,).
        weight: How likely each is beforehand, sums to 1 [-], shape (h,).
    """

    mean: Floats
    spread: Floats
    hob_s: Floats
    stirring_k: Floats
    lasts_s: Floats
    wander: Floats
    covered: Floats
    scale: Floats
    weight: Floats


def bank_of(known: PotKnown, start_degc: float, slope_k_per_s: float, *, rising: bool) -> Bank:
    """Return what is believed of a pot as it begins to warm or to cool.

    Args:
        known: What is known of it.
        start_degc: Temperature at the start [degC].
        slope_k_per_s: How fast it moves, for the scale of things [K/s].
        rising: It warms.

    Returns:
        Suppositions with their weights.

    Source:
        Heat and mass transfer of usual pots (computed); shares and weights are ours.
    """
    rows = [
        _row(known, choice, start_degc, abs(slope_k_per_s), rising=rising)
        for choice in itertools.product(
            _scales(known), _lids(known, rising=rising), _hobs(rising=rising),
            zip(_RESTLESS, _RESTLESS_WEIGHTS, strict=True),
        )
    ]  # fmt: skip
    table = np.array(rows)
    weight = table[:, -1] / table[:, -1].sum()
    hob_s, stirring, lasts_s, wander, covered, scale = table[:, 2 * STATES : -1].T
    return Bank(
        mean=table[:, :STATES],
        spread=table[:, STATES : 2 * STATES],
        hob_s=hob_s,
        stirring_k=stirring,
        lasts_s=lasts_s,
        wander=wander,
        covered=covered,
        scale=scale,
        weight=weight,
    )


def _scales(known: PotKnown) -> list[tuple[float, bool, float]]:
    """Return surface to volume against 3 kg [-], whether batches before taught it, weight."""
    if known.milk is None or not known.milk.value > 0:
        plain = [(s, False, w) for s, w in zip(_ANY_SCALE, _ANY_WEIGHTS, strict=True)]
    else:
        middle = (BELIEVED_AT_KG / max(known.milk.value, 0.05)) ** (1.0 / 3.0)
        plain = [(middle * s, False, w) for s, w in zip(_SHAPES, _SHAPE_WEIGHTS, strict=True)]
    if known.taught is None:
        return plain
    taught = (known.taught.vapour.value / OPEN_K_PER_S, True, _TAUGHT_WEIGHT)
    return [taught, *((s, t, (1.0 - _TAUGHT_WEIGHT) * w) for s, t, w in plain)]


def _lids(known: PotKnown, *, rising: bool) -> list[tuple[bool, float]]:
    if known.covered is not None:
        return [(known.covered, 0.95), (not known.covered, 0.05)]
    return [(False, 0.65), (True, 0.35)] if rising else [(False, 0.85), (True, 0.15)]


def _hobs(*, rising: bool) -> list[tuple[float, bool, float]]:
    """Return time of the hob [s], whether a flame stays on, weight."""
    share = 1.0 if rising else 1.0 - _LOW_FLAME_WEIGHT
    found = [(s, rising, share * w) for s, w in zip(_HOB_S, _HOB_WEIGHTS, strict=True)]
    return found if rising else [*found, (30.0, True, _LOW_FLAME_WEIGHT)]


def _row(
    known: PotKnown,
    choice: tuple[
        tuple[float, bool, float], tuple[bool, float], tuple[float, bool, float],
        tuple[tuple[float, float, float, float], float],
    ],
    start_degc: float,
    slope: float,
    *,
    rising: bool,
) -> list[float]:  # fmt: skip
    (
        (scale, by_batches, w1),
        (covered, w2),
        (hob_s, flame, w3),
        ((still, per_slope, lasts_s, wander), w4),
    ) = choice
    stirring = still + per_slope * slope
    loss, vapour = _losses(known.taught if by_batches else None, scale, covered=covered)
    over = max(start_degc - known.around.value, 5.0)
    taught = known.taught.power if by_batches and known.taught is not None else None
    usual = (loss[0] * known.around.u, loss[0] * over, vapour[0])
    power, u_power = _power(usual, slope, taught, rising=rising, flame=flame)
    u_fading = max(slope, 0.03) * (1.6 if rising else 1.0) * (1.0 if hob_s > 20.0 else 0.5)
    mean = [start_degc, power, 0.0, loss[0], vapour[0], 0.0]
    spread = [3.0, u_power, u_fading, loss[1], vapour[1], stirring]
    return [
        *mean,
        *spread,
        hob_s,
        stirring,
        lasts_s,
        wander,
        float(covered),
        scale,
        w1 * w2 * w3 * w4,
    ]


def _power(
    usual: tuple[float, float, float], slope: float, taught: Quantity | None,
    *, rising: bool, flame: bool,
) -> tuple[float, float]:  # fmt: skip
    """Return the steady heat and its standard deviation [K/s].

    `usual` holds what the room's doubt makes of the loss, the loss, and the evaporation [K/s].
    """
    doubt, loss, vapour = usual
    if rising and taught is not None:
        return taught.value, taught.u
    if rising:
        return 1.4 * slope + loss, max(2.5 * slope, 0.06)
    if flame:
        return 0.5 * loss, loss + 0.5 * vapour
    return 0.0, doubt


def _losses(
    taught: Taught | None, scale: float, *, covered: bool
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return dry loss and evaporation, each with its standard deviation [1/s, K/s]."""
    loss, vapour = scale * LOSS_PER_S, scale * OPEN_K_PER_S
    u_loss, u_vapour = U_LOSS_FRACTION * loss, U_OPEN_FRACTION * vapour
    if taught is not None:
        loss, u_loss = taught.loss.value, taught.loss.u
        vapour, u_vapour = taught.vapour.value, taught.vapour.u
    if covered:
        loss *= LID_LOSS_FRACTION
        u_vapour, vapour = U_COVERED_FRACTION * vapour, COVERED_FRACTION * vapour
    return (loss, u_loss), (vapour, u_vapour)
