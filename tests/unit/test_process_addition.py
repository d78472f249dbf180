# SPDX-License-Identifier: MIT
"""One pour after another, made from closed forms: slopes, drop, and a first-order lag."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.typing import NDArray

from api.process.addition import Addition, AdditionMark, temperature_at_addition
from api.process.addition_mixture import AdditionInputs, expected_mixture
from api.process.additions import temperatures_at_additions
from api.process.composition import SOYMILK
from api.process.curves import Curve
from api.process.quantities import NotShown, Quantity, Result
from collector.errors import ProcessError

POUR_S = 300.0


@dataclass(frozen=True)
class Pot:
    """A pour at 300 s into the readings; temperatures in degC, slopes in K/min."""

    level: float = 82.0
    slope_before: float = -0.6
    slope_after: float = -0.4
    drop: float = 4.0
    duration_s: float = 12.0
    lag_s: float = 8.0
    noise: float = 0.03
    step: float = 0.0625
    rate_hz: float = 1.0
    seed: int = 1

    @property
    def after(self) -> float:
        """True mixture at the end of the pour."""
        return self.level + self.slope_before / 60.0 * self.duration_s - self.drop

    def shown(self, time_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """What a first-order probe shows of it, in closed form."""

        def ramp(since_s: NDArray[np.float64]) -> NDArray[np.float64]:
            x = np.maximum(since_s, 0.0)
            return x - self.lag_s * (1.0 - np.exp(-x / self.lag_s))

        start, end = time_s - POUR_S, time_s - POUR_S - self.duration_s
        trend = self.level + self.slope_before / 60.0 * (start - self.lag_s)
        bend = (self.slope_after - self.slope_before) / 60.0 * ramp(end)
        return trend + bend - self.drop * (ramp(start) - ramp(end)) / self.duration_s

    def curve(self, **changes: float | None) -> Curve:
        """Readings of 10 minutes with noise and a display step."""
        rng = np.random.default_rng(self.seed)
        time_s = np.arange(0.0, 600.0, 1.0 / self.rate_hz)
        value = self.shown(time_s) + rng.normal(0.0, self.noise, time_s.size)
        value = np.round(value / self.step) * self.step
        known = Curve(
            time_s,
            value,
            resolution=self.step,
            time_constant_s=self.lag_s,
            u_time_constant_s=0.08 * self.lag_s,
            name="kitchen/milk",
        )
        return replace(known, **changes) if changes else known  # type: ignore[arg-type]


def mass(value_kg: float) -> Quantity:
    return Quantity(value_kg, "kg", 0.002, "weighed", ("weighing",))


WEIGHED = AdditionInputs(
    milk=mass(3.0),
    coagulant=mass(0.012),
    coagulant_water=mass(0.21),
    slurry_temperature=Quantity(21.0, "degC", 0.5, "by hand"),
)


def close(result: Result, truth: float, least: float = 0.0) -> bool:
    assert isinstance(result, Quantity), result
    return abs(result.value - truth) < max(2 * result.u, least)


def shown(result: Result) -> Quantity:
    assert isinstance(result, Quantity), result
    return result


def test_before_and_after_come_out_of_a_plain_pour() -> None:
    pot = Pot()
    addition = temperature_at_addition(pot.curve(), AdditionMark(POUR_S))

    assert addition.placed_by == "dip"
    assert shown(addition.before).value == pytest.approx(pot.level, abs=0.1)
    assert shown(addition.after).value == pytest.approx(pot.after, abs=0.15)
    assert shown(addition.before).u < 0.15
    assert shown(addition.after).u < 0.3
    assert shown(addition.pour_start).value == pytest.approx(POUR_S, abs=4)
    assert shown(addition.pour_end).value == pytest.approx(POUR_S + 12, abs=8)


@pytest.mark.parametrize("late_s", [-60.0, -30.0, 0.0, 30.0, 75.0])
@pytest.mark.parametrize("slope", [-1.5, 0.0, 1.8])
def test_a_late_or_early_mark_changes_nothing(late_s: float, slope: float) -> None:
    pot = Pot(slope_before=slope)
    addition = temperature_at_addition(pot.curve(), AdditionMark(POUR_S + late_s))

    assert addition.placed_by == "dip"
    assert close(addition.before, pot.level)
    assert close(addition.after, pot.after)
    assert shown(addition.before).value == pytest.approx(pot.level, abs=0.2)
    assert shown(addition.after).value == pytest.approx(pot.after, abs=0.3)


@pytest.mark.parametrize(
    "pot",
    [
        Pot(step=0.01, noise=0.01),
        Pot(step=0.5, noise=0.05),
        Pot(rate_hz=0.2),
        Pot(rate_hz=5.0),
        Pot(lag_s=2.0),
        Pot(lag_s=30.0),
        Pot(drop=0.6, noise=0.02, step=0.01),
        Pot(drop=9.0),
        Pot(duration_s=3.0),
        Pot(duration_s=40.0, drop=6.0),
        Pot(slope_after=0.8, slope_before=1.0),
    ],
)
def test_pours_of_many_kinds_are_measured_within_their_uncertainty(pot: Pot) -> None:
    addition = temperature_at_addition(pot.curve(), AdditionMark(POUR_S + 20.0), WEIGHED)

    assert addition.placed_by == "dip"
    assert close(addition.before, pot.level)
    assert close(addition.after, pot.after)


def test_indicated_is_what_the_probe_showed_and_nothing_more() -> None:
    pot = Pot()
    curve = pot.curve()
    addition = temperature_at_addition(curve, AdditionMark(POUR_S + 25.5))

    between = (curve.value[325] + curve.value[326]) / 2
    assert shown(addition.indicated).value == pytest.approx(between)
    assert shown(addition.indicated).u == pytest.approx(0.037, abs=0.015)


def test_without_a_time_constant_the_slope_goes_into_the_uncertainty() -> None:
    pot = Pot(slope_before=-1.5)
    known = temperature_at_addition(pot.curve(), AdditionMark(POUR_S))
    unknown = temperature_at_addition(pot.curve(time_constant_s=None), AdditionMark(POUR_S))

    # The probe trails by 1.5/60 times 8 s = 0.2 K, and nothing takes that off.
    assert shown(unknown.before).value == pytest.approx(pot.level + 0.2, abs=0.08)
    assert close(unknown.before, pot.level)
    assert close(unknown.after, pot.after)
    assert shown(unknown.before).u > shown(known.before).u + 0.05
    assert "not undone" in " ".join(shown(unknown.before).sources)
    assert "lag of the probe isn't known" in unknown.why


def test_without_a_dip_the_mark_gives_the_moment_and_its_doubt() -> None:
    pot = Pot(drop=0.0, slope_before=-1.2, slope_after=-1.2)
    addition = temperature_at_addition(pot.curve(), AdditionMark(POUR_S))

    assert addition.placed_by == "mark"
    assert "No dip stands out" in addition.why
    assert shown(addition.before).value == pytest.approx(pot.level, abs=0.15)
    # 1.2 K/min over 30 s.
    assert shown(addition.before).u == pytest.approx(0.6, abs=0.15)
    assert shown(addition.pour_start).value == POUR_S
    assert shown(addition.pour_start).u == 30.0


def test_a_mark_without_a_dip_is_covered_when_it_is_late() -> None:
    pot = Pot(drop=0.0, slope_before=-1.2, slope_after=-1.2)
    addition = temperature_at_addition(pot.curve(), AdditionMark(POUR_S + 40.0))

    assert close(addition.before, pot.level)


def test_a_lifted_probe_is_no_pour() -> None:
    pot = Pot(drop=0.0)
    curve = pot.curve()
    out = np.clip((curve.time_s - 320.0) / 40.0, 0.0, None)
    away = 55.0 * (1 - np.exp(-out)) * (curve.time_s < 332.0)
    back = 55.0 * (1 - np.exp(-0.3)) * np.exp(-(curve.time_s - 332.0) / 8.0)
    lifted = replace(curve, value=curve.value - away - np.where(curve.time_s >= 332.0, back, 0.0))

    addition = temperature_at_addition(lifted, AdditionMark(POUR_S))

    assert addition.placed_by == "mark"
    assert "out of the milk" in addition.why
    assert close(addition.before, pot.level)


def test_a_probe_that_is_pulled_out_for_good_shows_nothing_after() -> None:
    pot = Pot(drop=0.0)
    curve = pot.curve()
    fall = 60.0 * (1 - np.exp(-np.clip(curve.time_s - 310.0, 0.0, None) / 20.0))

    addition = temperature_at_addition(
        replace(curve, value=curve.value - fall), AdditionMark(300.0)
    )

    assert isinstance(addition.after, NotShown)
    assert isinstance(addition.loss, NotShown)


def test_spikes_are_set_aside_and_said() -> None:
    pot = Pot()
    curve = pot.curve()
    value = curve.value.copy()
    value[[250, 330, 400]] += (20.0, -15.0, 9.0)
    addition = temperature_at_addition(replace(curve, value=value), AdditionMark(POUR_S))

    assert "3 single readings" in addition.why
    assert shown(addition.before).value == pytest.approx(pot.level, abs=0.1)
    assert shown(addition.after).value == pytest.approx(pot.after, abs=0.2)


def _without(curve: Curve, from_s: float, to_s: float) -> Curve:
    keep = (curve.time_s < from_s) | (curve.time_s > to_s)
    return replace(curve, time_s=curve.time_s[keep], value=curve.value[keep])


def test_a_gap_over_the_pour_widens_the_uncertainty() -> None:
    pot = Pot(slope_before=-1.5, slope_after=-1.0)
    whole = temperature_at_addition(pot.curve(), AdditionMark(POUR_S))
    gap = temperature_at_addition(_without(pot.curve(), 280.0, 330.0), AdditionMark(POUR_S))

    assert close(gap.before, pot.level)
    assert close(gap.after, pot.after)
    assert shown(gap.before).u > 1.5 * shown(whole.before).u


def test_readings_that_are_too_far_away_give_no_number() -> None:
    curve = Pot().curve()
    late = temperature_at_addition(_without(curve, 100.0, 308.0), AdditionMark(POUR_S))
    early = temperature_at_addition(_without(curve, 305.0, 700.0), AdditionMark(POUR_S))
    never = temperature_at_addition(_without(curve, 0.0, 1e9), AdditionMark(POUR_S))

    assert isinstance(late.before, NotShown)
    assert isinstance(early.after, NotShown)
    assert isinstance(never.before, NotShown)
    assert isinstance(never.indicated, NotShown)
    assert "0 usable readings" in never.why


def test_the_mark_in_a_gap_has_no_indication() -> None:
    addition = temperature_at_addition(_without(Pot().curve(), 280.0, 330.0), AdditionMark(300.0))

    assert isinstance(addition.indicated, NotShown)
    assert "gap of 52 s" in addition.indicated.why


def test_the_balance_predicts_the_mixture_and_says_what_was_lost() -> None:
    slurry = WEIGHED.slurry_temperature
    assert slurry is not None
    known = replace(WEIGHED, milk_composition=SOYMILK, pot_mass=mass(0.8))
    truth = expected_mixture(Quantity(82.0, "degC", 0.0, "truth"), known)
    assert not isinstance(truth, NotShown)
    # What the balance says, and 0.5 K more lost to the room.
    pot = Pot(drop=82.0 - truth.mixture.value + 0.5, slope_before=0.0)
    addition = temperature_at_addition(pot.curve(), AdditionMark(POUR_S), known)

    assert close(addition.predicted_after, truth.mixture.value)
    assert shown(addition.loss).value == pytest.approx(0.5, abs=0.2)
    assert shown(addition.loss).unit == "K"
    whole = shown(addition.predicted_after).u + shown(addition.after).u
    assert shown(addition.loss).u < whole


def test_a_common_calibration_error_mostly_cancels_in_the_loss() -> None:
    pot = Pot()
    sure = temperature_at_addition(pot.curve(), AdditionMark(POUR_S), WEIGHED)
    unsure = temperature_at_addition(pot.curve(u_calibration=0.5), AdditionMark(POUR_S), WEIGHED)

    assert shown(unsure.before).u > 0.5
    assert shown(unsure.after).u > 0.5
    assert shown(unsure.loss).u < shown(sure.loss).u + 0.05


def test_what_was_not_weighed_is_named() -> None:
    curve, mark = Pot().curve(), AdditionMark(POUR_S)
    nothing = temperature_at_addition(curve, mark)
    no_water = temperature_at_addition(curve, mark, replace(WEIGHED, coagulant_water=None))

    assert isinstance(nothing.predicted_after, NotShown)
    assert "milk was not weighed" in nothing.predicted_after.why
    assert isinstance(no_water.loss, NotShown)
    assert "water of the coagulant" in no_water.loss.why


def test_a_slurry_that_nobody_measured_is_taken_from_the_room_and_said() -> None:
    measured = expected_mixture(Quantity(82.0, "degC", 0.0, ""), WEIGHED)
    room = Quantity(24.0, "degC", 1.0, "room", ("room probe",))
    assumed = expected_mixture(
        Quantity(82.0, "degC", 0.0, ""),
        replace(WEIGHED, slurry_temperature=None, room_temperature=room, coagulant=None),
    )

    assert not isinstance(measured, NotShown)
    assert not isinstance(assumed, NotShown)
    assert assumed.mixture.value > measured.mixture.value
    assert assumed.mixture.u > measured.mixture.u
    said = " ".join(assumed.mixture.sources)
    assert "slurry within 5 K of the room" in said
    assert "coagulant up to a tenth" in said


def test_two_halves_are_measured_each_by_its_own_mark() -> None:
    first, second = Pot(drop=3.0, slope_after=-0.6), Pot(drop=2.0)
    time_s = np.arange(0.0, 840.0, 1.0)
    late = second.shown(time_s - 180.0) - first.level - first.slope_before / 60 * (time_s - 488.0)
    rng = np.random.default_rng(4)
    value = first.shown(time_s) + late + rng.normal(0.0, 0.03, time_s.size)
    curve = replace(first.curve(), time_s=time_s, value=value, resolution=0.01)
    marks = [AdditionMark(POUR_S + 20.0), AdditionMark(POUR_S + 200.0)]

    one, two = temperatures_at_additions(curve, marks, [AdditionInputs(), AdditionInputs()])

    before_second = first.level - 0.6 * 3.0 - 3.0
    assert close(one.before, first.level)
    assert close(one.after, first.after)
    assert shown(one.after).value == pytest.approx(first.after, abs=0.2)
    assert shown(two.before).value == pytest.approx(before_second, abs=0.2)
    assert close(two.before, before_second)
    assert shown(two.pour_start).value == pytest.approx(POUR_S + 180.0, abs=5.0)


def test_limits_keep_a_dip_elsewhere_from_being_the_pour() -> None:
    pot = Pot()
    mark = AdditionMark(POUR_S + 60.0, earliest_s=POUR_S + 40.0)

    addition = temperature_at_addition(pot.curve(), mark)

    assert addition.placed_by == "mark"


def test_marks_that_make_no_sense_are_refused() -> None:
    curve = Pot().curve()
    with pytest.raises(ProcessError, match="above 0"):
        temperature_at_addition(curve, AdditionMark(POUR_S, u_time_s=0.0))
    with pytest.raises(ProcessError, match="before it starts"):
        temperature_at_addition(curve, AdditionMark(POUR_S, earliest_s=310.0, latest_s=300.0))
    with pytest.raises(ProcessError, match="in order"):
        temperatures_at_additions(
            curve, [AdditionMark(300.0), AdditionMark(200.0)], [AdditionInputs()] * 2
        )
    with pytest.raises(ProcessError, match="one set of inputs"):
        temperatures_at_additions(curve, [AdditionMark(300.0)], [])


def test_the_same_readings_give_the_same_answer() -> None:
    def once() -> Addition:
        return temperature_at_addition(Pot().curve(), AdditionMark(POUR_S), WEIGHED)

    assert once() == once()
