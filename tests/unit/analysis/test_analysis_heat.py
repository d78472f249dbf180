"""Heat treatment of a batch: the coldest probe, the boil, and no cook-through by silence."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

import api.analysis.heat_treatment as section
from api.process.ingredient_rows import Hazard, Status

HEAT = "2026-03-02T07:00:00Z"
HEAT_S = 1_772_434_800.0


def held(site: Any, senml: Any, tops: dict[str, float], **batch: Any) -> str:
    """Make a batch whose probes show a rise and a quarter of an hour at some temperature."""
    time_s = HEAT_S + np.arange(0.0, 1800.0, 3.0)
    for series, top in tops.items():
        degc = np.minimum(20.0 + 0.1 * (time_s - HEAT_S), top)
        senml(
            *(
                {"n": series, "u": "Cel", "t": t, "v": round(v, 2)}
                for t, v in zip(time_s.tolist(), degc.tolist(), strict=True)
            )
        )
    first, *others = tops
    made = site.make(thermometer=first, started_at="2026-03-02T06:59:00Z", **batch)
    for other in others:
        body = {"series": other, "place": "milk", "from": "2026-03-02T06:59:00Z"}
        site.post(f"/v1/batches/{made}/bindings", **body)
    site.post(f"/v1/batches/{made}/events", kind="heat", at=HEAT)
    return str(made)


def test_equivalent_times_stand_beside_their_references_and_sources(site: Any, senml: Any) -> None:
    found = site.analysis(held(site, senml, {"north/milk": 95.0}))["heat_treatment"]

    assert found["highest"]["value"] == pytest.approx(95.0, abs=0.02)
    botulinum = found["references"][0]
    # 1050 s at 95 degC, z 10 above 90: 10^0.5 each second, and the rise through 90 to 95 on top.
    assert botulinum["equivalent"]["value"] == pytest.approx(1050 * 10**0.5, rel=0.07)
    assert botulinum["verdict"] == "met"
    assert botulinum["known"] == "seen"
    assert found["references"][1]["verdict"] == "not shown"
    assert [one["temperature_degc"] for one in found["time_above"]] == [70.0, 90.0, 95.0]
    assert found["boil"]["boiled"] is False


def test_of_two_probes_in_the_milk_the_coldest_decides(site: Any, senml: Any) -> None:
    tops = {"north/wall": 96.0, "north/middle": 82.0}
    found = site.analysis(held(site, senml, tops))["heat_treatment"]

    assert found["probe"] == "north/middle"
    assert found["highest"]["value"] == pytest.approx(82.0, abs=0.02)
    assert found["references"][0]["verdict"] == "not met"
    assert "the coldest: north/middle" in found["notes"][0]


def test_an_ingredient_is_not_cleared_by_silence(site: Any, senml: Any) -> None:
    names = ["soybean", "kidney bean", "moonbean"]
    parts = [{"name": name, "share": 1 / 3} for name in names]
    batch = held(site, senml, {"north/milk": 99.0}, ingredients=parts)

    cooked = {
        one["ingredient"]: one for one in site.analysis(batch)["heat_treatment"]["cook_through"]
    }

    assert {one["verdict"] for one in cooked.values()} == {"not shown"}
    assert cooked["moonbean"]["why"].startswith("no cook-through requirement is known here")
    assert cooked["kidney bean"]["known"]
    assert "decides nothing" in cooked["kidney bean"]["why"]


@pytest.mark.parametrize(("top", "verdict"), [(99.5, "met"), (92.0, "not met")])
def test_a_requirement_that_was_read_would_be_judged_by_the_readings(
    site: Any, senml: Any, monkeypatch: pytest.MonkeyPatch, top: float, verdict: str
) -> None:
    """No row of the table is a requirement that was read; this one is made up."""
    read = Hazard("cook-through", "lectin", "", "", 600.0, True, "a standard", Status.SEEN)
    monkeypatch.setattr(section, "cook_through", lambda names: [(names[0], read)])
    batch = held(site, senml, {"north/milk": top})
    pressure = {"quantity": "pressure", "value": 1013.25, "unit": "hPa"}
    site.post(f"/v1/batches/{batch}/observations", **pressure)
    ladle = "2026-03-02T07:29:00Z"
    site.post(f"/v1/batches/{batch}/events", kind="ladle", at=ladle)

    (cooked,) = site.analysis(batch)["heat_treatment"]["cook_through"]

    assert cooked["verdict"] == verdict


def test_without_a_probe_nothing_is_shown_but_the_cautions(site: Any) -> None:
    found = site.analysis(site.make())["heat_treatment"]

    assert (found["status"], found["why"]) == ("not shown", "no probe is bound to milk")
    assert found["cook_through"][0]["verdict"] == "not shown"
    assert "no kill step" in found["notes"][0]
