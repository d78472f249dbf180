"""Heating power of a batch, from its curve and the mass of its milk."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

HEAT = "2026-03-02T07:00:00Z"
HEAT_S = 1_772_434_800.0
RATE_K_PER_S = 0.08


def heated(site: Any, senml: Any, **batch: Any) -> str:
    """Make a batch whose milk rises by 0.08 K/s from 20 to 90 degC."""
    time_s = HEAT_S + np.arange(0.0, 880.0, 2.0)
    degc = 20.0 + RATE_K_PER_S * (time_s - HEAT_S)
    senml(
        *(
            {"n": "north/milk", "u": "Cel", "t": t, "v": round(v, 2)}
            for t, v in zip(time_s.tolist(), degc.tolist(), strict=True)
        )
    )
    series = {"thermometer": "north/milk", "pot": "North"}
    made = site.make(started_at="2026-03-02T06:59:00Z", **series, **batch)
    site.post(f"/v1/batches/{made}/events", kind="heat", at=HEAT)
    return str(made)


def weigh_milk(site: Any, batch: str, mass_kg: float) -> None:
    mass = {"value": mass_kg, "unit": "kg"}
    site.post(f"/v1/batches/{batch}/weighings", stream="milk", mass=mass, u=0.001)


def test_power_needs_the_mass_that_was_heated(site: Any, senml: Any) -> None:
    found = site.analysis(heated(site, senml))["heating"]

    assert found["status"] == "not shown"
    assert "Nobody weighed milk" in found["why"]
    assert site.analysis(site.make())["heating"]["why"] == "no probe is bound to milk"


def test_the_net_power_is_mass_times_heat_capacity_times_rate(site: Any, senml: Any) -> None:
    batch = heated(site, senml)
    weigh_milk(site, batch, 3.0)

    found = site.analysis(batch)["heating"]

    # 3 kg at 3.92 kJ/(kg K), less what boiled off: plain arithmetic.
    assert found["net_power"]["value"] == pytest.approx(3.0 * 3920 * RATE_K_PER_S, rel=0.03)
    assert found["net_power_per_kg"]["value"] == pytest.approx(3920 * RATE_K_PER_S, rel=0.01)
    assert found["rate"]["value"] == pytest.approx(60 * RATE_K_PER_S, rel=0.005)
    assert "lid" in found["loss_coefficient"]["why"]
    assert "wall of the pot was not weighed" in found["notes"][0]


def test_a_pot_that_was_weighed_takes_its_share_of_the_power(site: Any, senml: Any) -> None:
    batch = heated(site, senml)
    weigh_milk(site, batch, 3.0)
    bare = site.analysis(batch)["heating"]["pot_power"]
    empty = {"value": 1.5, "unit": "kg"}
    site.post("/v1/pots", name="North", empty=empty, material="stainless steel")

    found = site.analysis(batch)["heating"]

    # 1.5 kg of steel at 0.5 kJ/(kg K) beside 3 kg at 3.92: by hand.
    share = 1.5 * 0.5 / (3.0 * 3.92)
    assert found["pot_power"]["value"] / bare["value"] == pytest.approx(1 + share, rel=0.01)
    assert found["pot_power"]["u"] < bare["u"]
    assert found["notes"] == [
        note for note in found["notes"] if "wall of the pot was not weighed" not in note
    ]


def test_without_an_addition_or_a_lid_there_is_no_cooling_to_judge(site: Any, senml: Any) -> None:
    batch = heated(site, senml)
    weigh_milk(site, batch, 3.0)

    cooling = site.analysis(batch)["heating"]["cooling"]

    assert cooling["covered"]["why"] == "no lid is marked"
    assert "no addition" in cooling["before_addition"]["why"]
