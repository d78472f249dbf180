"""Chilling of a batch: by the probe in the block alone, rule by rule, with a forecast."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

UNMOULD = "2026-03-02T03:00:00Z"
UNMOULD_S = 1_772_420_400.0


def cooling(
    site: Any, senml: Any, hours: float, k_per_h: float, *, place: str = "block_core",
    from_degc: float = 70.0, **batch: Any,
) -> str:  # fmt: skip
    """Make a batch whose block cools towards 3 degC by Newton's law, read each half minute."""
    time_s = UNMOULD_S + np.arange(0.0, 3600.0 * hours, 30.0)
    degc = 3.0 + (from_degc - 3.0) * np.exp(-k_per_h * (time_s - UNMOULD_S) / 3600.0)
    senml(
        *(
            {"n": "north/core", "u": "Cel", "t": t, "v": round(v, 2)}
            for t, v in zip(time_s.tolist(), degc.tolist(), strict=True)
        )
    )
    senml_check = {"kind": "ice", "indicated": {"value": 0.0, "unit": "degC"}}
    site.post("/v1/instruments/north/core/checks", **senml_check, valid_from="2026-01-01T00:00:00Z")
    made = site.make(started_at="2026-03-02T02:00:00Z", **batch)
    body = {"series": "north/core", "place": place, "from": UNMOULD}
    site.post(f"/v1/batches/{made}/bindings", **body)
    site.post(f"/v1/batches/{made}/events", kind="unmould", at=UNMOULD)
    return str(made)


def two_stage(found: dict[str, Any]) -> dict[str, Any]:
    return next(rule for rule in found["rules"] if rule["name"].startswith("two stages"))


def test_without_a_probe_in_the_block_nothing_is_shown(site: Any, senml: Any) -> None:
    nowhere = site.analysis(site.make())["chilling"]
    elsewhere = site.analysis(cooling(site, senml, 1.0, 0.6, place="chill_water"))["chilling"]

    for found in (nowhere, elsewhere):
        assert found == {"status": "not shown", "why": "no probe in the block"}


def test_a_block_that_cools_fast_enough_meets_the_rule_with_its_times(
    site: Any, senml: Any
) -> None:
    found = site.analysis(cooling(site, senml, 5.0, 1.2))["chilling"]

    rule = two_stage(found)
    assert rule["verdict"] == "met"
    # ln(54/18)/1.2 h and ln(54/2)/1.2 h: Newton's law, closed form.
    for leg, hours in zip(rule["legs"], (np.log(3) / 1.2, np.log(27) / 1.2), strict=True):
        assert leg["took"]["value"] == pytest.approx(3600 * hours, rel=0.01)
        assert leg["at_least_s"] <= 3600 * hours <= leg["at_most_s"]
    assert found["forecast"] != [] or rule["legs"][1]["verdict"] == "met"


def test_one_that_cools_too_slowly_does_not(site: Any, senml: Any) -> None:
    rule = two_stage(site.analysis(cooling(site, senml, 5.2, 0.4))["chilling"])

    assert rule["legs"][0]["verdict"] == "not met"
    assert rule["verdict"] == "not met"


def test_while_it_runs_each_leg_has_a_forecast_that_holds_the_truth(site: Any, senml: Any) -> None:
    found = site.analysis(cooling(site, senml, 1.5, 0.9))["chilling"]

    (leg,) = [
        one for one in found["forecast"] if one["to_degc"] == 5.0 and "two stages" in one["name"]
    ]
    reached_s = UNMOULD_S + 3600 * np.log(67 / 2) / 0.9
    earliest, latest = (
        np.datetime64(leg[key].rstrip("Z"), "ms").astype(float) / 1000 if leg[key] else np.inf
        for key in ("earliest", "latest")
    )
    assert earliest <= reached_s <= latest
    assert leg["expected"] in ("in time", "may be late")


def test_rules_that_nobody_has_read_decide_nothing_and_cold_food_s_rule_does_not_apply(
    site: Any, senml: Any
) -> None:
    rules = site.analysis(cooling(site, senml, 5.0, 1.2))["chilling"]["rules"]

    assert {rule["verdict"] for rule in rules if rule["known"] != "seen"} == {"not shown"}
    cold = next(rule for rule in rules if rule["start_degc"] is None)
    assert cold["verdict"] == "not applicable"


def test_a_block_first_read_below_the_start_has_no_clock_to_be_judged_by(
    site: Any, senml: Any
) -> None:
    rule = two_stage(site.analysis(cooling(site, senml, 3.0, 1.2, from_degc=50.0))["chilling"])

    assert rule["verdict"] == "not shown"
    assert "No reading shows the core above 57 degC" in rule["why"]
