"""A whole batch of known truth, played, posted, and computed: every figure against the truth."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

POTS = ("small", "north")


def off(figure: dict[str, Any], truth: float) -> float:
    """Return how many of its own uncertainties a figure is away from the truth."""
    assert "value" in figure, figure
    return abs(float(figure["value"]) - truth) / float(figure["u"])


def crossed_s(posted: Any, level_degc: float) -> float:
    """Return when the core really fell through a temperature for the last time."""
    trace = posted.played.truth.trace
    core = trace.core_degc
    i = int(np.flatnonzero(np.isfinite(core) & (core >= level_degc))[-1])
    share = (core[i] - level_degc) / (core[i] - core[i + 1])
    return float(trace.time_s[i] + share * (trace.time_s[i + 1] - trace.time_s[i]))


@pytest.mark.parametrize("pot", POTS)
def test_every_figure_agrees_with_the_truth_within_its_uncertainty(
    post_batch: Any, pot: str
) -> None:
    posted = post_batch(pot, seed=5, coagulant={"name": "gypsum"})
    found = posted.get("analysis")

    check_masses_and_heat(posted, found)
    check_power(posted, found)
    check_drain(posted, found)
    check_chilling(posted, found)
    check_record(posted, found)


def check_masses_and_heat(posted: Any, found: dict[str, Any]) -> None:
    truth = posted.played.truth

    # Streams, as reconciled: three of their own uncertainties, for some seventeen figures.
    streams = {one["stream"]: one for one in found["balance"]["streams"]}
    for stream, true_kg in truth.streams_kg.items():
        assert off(streams[stream]["reconciled"], true_kg) < 3.0, stream
    assert found["balance"]["test"]["passed"] is True
    assert off(found["evaporation"], truth.streams_kg["evaporation"]) < 3.0
    assert off(found["yield"], truth.streams_kg["block"] / truth.streams_kg["dry"]) < 3.0
    assert found["yield"]["u"] < 0.02

    # The dose by the dry mass and by the milk.
    salt = truth.streams_kg["coagulant"]
    assert off(found["coagulant"]["of_dry"], 100 * salt / truth.streams_kg["dry"]) < 3.0
    assert off(found["coagulant"]["of_milk"], 100 * salt / truth.streams_kg["milk"]) < 3.0

    # The addition.
    pour = truth.pours[0]
    assert off(found["addition"]["before"], pour.before_degc) < 2.0
    assert off(found["addition"]["after"], pour.after_degc) < 2.0

    # The boil, against this milk's own boiling point.
    heat = found["heat_treatment"]
    assert heat["boil"]["length_s"] > 60.0
    assert off(heat["boil"]["level"], truth.boiling_degc) < 2.0


def check_power(posted: Any, found: dict[str, Any]) -> None:
    """The hob's heat over the stretch that was fitted, the wall of the pot not weighed."""
    trace, heat = posted.played.truth.trace, found["heating"]
    spans = [np.datetime64(heat[key].rstrip("Z"), "ms").astype(float) / 1000 for key in
             ("from_at", "to_at")]  # fmt: skip
    first, last = np.searchsorted(trace.time_s, spans)
    true_w = np.diff(trace.heat_j[[first, last]])[0] / np.diff(trace.time_s[[first, last]])[0]

    assert off(heat["pot_power"], true_w) < 3.0
    assert heat["pot_power"]["u"] < 0.1 * true_w
    assert heat["net_power"]["value"] < true_w
    milk_kg = posted.played.truth.streams_kg["milk"]
    per_kg = heat["net_power"]["value"] / milk_kg
    assert heat["net_power_per_kg"]["value"] == pytest.approx(per_kg, rel=0.03)
    # The covered pot loses less than the open one, by far more than either is known.
    cooling = heat["cooling"]
    open_w, covered_w = (cooling[k]["power"] for k in ("before_addition", "covered"))
    assert open_w["value"] - covered_w["value"] > 3 * np.hypot(open_w["u"], covered_w["u"])


def check_drain(posted: Any, found: dict[str, Any]) -> None:
    plan, truth = posted.played.scenario.forming, posted.played.truth
    end_kg = plan.run_off_fraction * truth.streams_kg["curd"]
    pressed_s = truth.events_s["press_end"] - truth.events_s["press"]
    left_kg = end_kg * (
        plan.fast_fraction * math.exp(-pressed_s / plan.fast_s)
        + (1 - plan.fast_fraction) * math.exp(-pressed_s / plan.slow_s)
    )

    drain = found["pressing"]["drain"]

    # The scale also carries 0.1 % that nobody checked.
    assert off(drain["end"], end_kg) < 3.0
    low, high = drain["left"]["interval"]
    assert low - drain["left"]["u"] <= left_kg <= high + drain["left"]["u"]


def check_chilling(posted: Any, found: dict[str, Any]) -> None:
    rule = found["chilling"]["rules"][0]
    start_s = crossed_s(posted, 57.0)

    assert rule["verdict"] in ("met", "not shown", "not met")
    for leg in rule["legs"]:
        if leg["to_degc"] < posted.played.truth.trace.core_degc[-1]:
            continue
        took_s = crossed_s(posted, leg["to_degc"]) - start_s
        assert leg["at_least_s"] <= took_s
        assert leg["at_most_s"] is None or took_s <= leg["at_most_s"]
        assert off(leg["took"], took_s) < 3.0


def check_record(posted: Any, found: dict[str, Any]) -> None:
    record = posted.get("record.json")
    assert {one["place"] for one in record["instruments"]} == {
        "milk", "under_pot", "under_press", "block_core", "chill_water",
    }  # fmt: skip
    for one in record["instruments"]:
        assert one["readings"]["count"] > 100
    assert record["analysis"]["yield"] == found["yield"]
    assert posted.client.get(f"/v1/batches/{posted.id}/record.csv").status_code == 200
    assert posted.client.get(f"/batches/{posted.id}").status_code == 200
