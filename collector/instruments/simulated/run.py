# SPDX-License-Identifier: MIT
"""One simulated batch under way: the maker's plan carried out on the pot, step by step.

Must not import `api`, and shares nothing with `api.process`. Nothing here is random: the same plan
always goes the same way. Times are seconds since the beginning of the run.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from collector.instruments.simulated import cooking, forming
from collector.instruments.simulated.block import Block
from collector.instruments.simulated.flows import Setup
from collector.instruments.simulated.physics import STEP_S, PotOnHob
from collector.instruments.simulated.plan import Scenario
from collector.instruments.simulated.streams import Streams, prepared
from collector.instruments.simulated.truth import PourTruth

SETTLED_AFTER_S = 60.0


@dataclass(slots=True)
class BatchRun:
    """A batch on its way: `advance` carries it one step on, until it has `ended`.

    Attributes:
        scenario: The plan.
        pot: The pot on its hob.
        streams: True masses so far.
        events_s: When things began, by kind [s].
        pours: The additions so far.
        block: The curd once it is out of the pot.
        press_whey_kg: In the tray [kg].
        time_s: Since the beginning [s].
        ended: Nothing more happens.
        ladling: Someone is ladling.
    """

    scenario: Scenario
    pot: PotOnHob = field(init=False)
    streams: Streams = field(init=False)
    events_s: dict[str, float] = field(default_factory=dict)
    pours: list[PourTruth] = field(default_factory=list)
    block: Block | None = None
    press_whey_kg: float = 0.0
    time_s: float = 0.0
    ended: bool = False
    ladling: bool = False
    _steps: Iterator[float] = field(init=False)

    def __post_init__(self) -> None:
        plan = self.scenario
        self.streams = prepared(plan.preparation)
        self.pot = PotOnHob(Setup(plan.vessel, plan.hob, plan.kitchen, mixing=plan.mixing))
        milk_kg = self.streams.mass_kg["milk"]
        solids_kg = self.streams.solids_kg["milk"]
        self.pot.pour(milk_kg - solids_kg, solids_kg, plan.heating.milk_degc)
        self.pot.wall_degc = plan.heating.milk_degc
        self._steps = self._whole()

    @property
    def on_scale_kg(self) -> float:
        """What a scale under the pot carries besides the pot: contents and lid [kg]."""
        lid_kg = self.pot.setup.pot.lid_kg if self.pot.controls.covered else 0.0
        return self.pot.mass_kg + lid_kg

    def advance(self) -> float:
        """Carry the batch one step on and return how long it took, 0 once it has ended [s]."""
        step_s = next(self._steps, 0.0)
        self.ended = step_s <= 0.0
        return step_s

    def mark(self, kind: str) -> None:
        """Set down that something begins now, if it hasn't begun yet."""
        self.events_s.setdefault(kind, self.time_s)

    def take_over(self) -> None:
        """Leave the plan: from now on time just passes, and only `pot.controls` act."""
        self._steps = self._by_hand()

    def _by_hand(self) -> Iterator[float]:
        while True:
            yield from self.on_hob(STEP_S)

    def on_hob(self, duration_s: float) -> Iterator[float]:
        """Let time pass for the pot, and for curd that is out of it already.

        Args:
            duration_s: [s].
        """
        end_s = self.time_s + duration_s
        while self.time_s < end_s - 1e-9:
            step_s = min(STEP_S, end_s - self.time_s)
            self.pot.step(step_s)
            if self.block is not None:
                self.block.step(step_s)
            self.time_s += step_s
            self._settle()
            yield step_s

    def _settle(self) -> None:
        if self.pours and self.time_s <= self.pours[-1].end_s + SETTLED_AFTER_S:
            self.pours[-1] = replace(self.pours[-1], settled_degc=self.pot.mean_degc)

    def _whole(self) -> Iterator[float]:
        plan = self.scenario
        self.events_s |= cooking.before(plan.preparation)
        yield from cooking.heat(self)
        yield from cooking.cool(self)
        for pour in plan.pours:
            yield from cooking.pour(self, pour)
        yield from cooking.stand(self)
        yield from forming.ladle(self)
        yield from forming.press(self)
        if plan.chilling is not None:
            yield from forming.chill(self, plan.chilling)
        self.mark("end")
