# SPDX-License-Identifier: MIT
"""The instruments of a simulated batch, when they are read, and what goes wrong with them.

Must not import `api`, and shares nothing with `api.process`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from collector.instruments.simulated.instruments import ProbeModel, ScaleModel

TroubleKind = Literal["gap", "lifted", "power_on", "disconnected", "repeated"]


@dataclass(frozen=True, slots=True)
class Trouble:
    """Something that goes wrong with an instrument.

    Attributes:
        kind: "gap" (nothing is sent), "lifted" (out of the milk), "power_on" (85.0),
            "disconnected" (-127.0) or "repeated" (each reading is sent twice).
        place: Which instrument, by its place.
        after: The event that it follows; a negative `offset_s` puts it before.
        offset_s: From that event to its beginning [s].
        duration_s: How long it lasts [s].
    """

    kind: TroubleKind
    place: str
    after: str
    offset_s: float
    duration_s: float


@dataclass(frozen=True, slots=True)
class Sampling:
    """When an instrument is read.

    Attributes:
        rate_hz: [1/s].
        jitter_s: Standard deviation of each time [s].
        loss_fraction: Share of readings that never come, one by one [-].
    """

    rate_hz: float = 1.0
    jitter_s: float = 0.0
    loss_fraction: float = 0.0


@dataclass(frozen=True, slots=True)
class Outfit:
    """The instruments of one batch.

    Attributes:
        milk: The probe in the milk.
        milk_sampling: When it is read.
        under_pot: The scale under the pot, None if there is none.
        under_press: The scale under the press tray, None if there is none.
        scale_sampling: When the scales are read.
        block: The probe in the block.
        block_sampling: When it is read.
        weighing_kg: Standard deviation of the maker's own weighings [kg].
        weighing_step_kg: Display step of the kitchen scale [kg].
        milk_calibration_u_k: How well the milk probe's correction and place are known, as its
            maker would state it [K].
        dip_s: Time constant that a dip check of the milk probe gave, None without one [s].
        dip_u_s: Its standard uncertainty [s].
        mark_s: Standard deviation of the maker's marks [s].
        addition_mark_s: How late the addition is marked; below 0 early [s].
    """

    milk: ProbeModel = field(default_factory=ProbeModel)
    milk_sampling: Sampling = Sampling()
    under_pot: ScaleModel | None = field(default_factory=ScaleModel)
    under_press: ScaleModel | None = field(default_factory=ScaleModel)
    scale_sampling: Sampling = Sampling()
    block: ProbeModel = field(default_factory=lambda: ProbeModel(time_constant_s=10.0))
    block_sampling: Sampling = Sampling(0.2)
    weighing_kg: float = 0.001
    weighing_step_kg: float = 0.001
    milk_calibration_u_k: float = 0.1
    dip_s: float | None = None
    dip_u_s: float = 0.0
    mark_s: float = 5.0
    addition_mark_s: float = 0.0
