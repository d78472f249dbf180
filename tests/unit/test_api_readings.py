from __future__ import annotations

import csv
import io
import math
from typing import Any

import numpy as np
import pyarrow.parquet as pq
import pytest
from fastapi.testclient import TestClient
from hypothesis import given
from hypothesis import strategies as st

from api.process.thinning import thin
from collector.errors import ProcessError

T0 = 1_772_439_000.0  # 2026-03-02T08:10:00Z


def curve(client: TestClient, **query: Any) -> dict[str, Any]:
    answer = client.get("/v1/readings", params={"series": "north/milk", **query})
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json()
    return found


def ramp(n: int, start: float = 70.0) -> list[dict[str, Any]]:
    return [
        {"bn": "north/milk", "bt": T0, "bu": "Cel", "v": start},
        *({"t": i, "v": start + 0.0625 * i} for i in range(1, n)),
    ]


def test_readings_are_counted_after_the_commit(client: TestClient, senml: Any) -> None:
    done = senml(*ramp(10))

    assert done == {"stored": 10, "repeated": 0, "suspect": 0, "bad": 0, "conflicts": 0}
    assert senml(*ramp(10))["repeated"] == 10


def test_a_curve_is_read_back_in_the_canonical_unit_and_as_it_was_said(
    client: TestClient, senml: Any
) -> None:
    senml({"n": "north/milk", "u": "K", "bt": T0, "v": 353.15})

    assert curve(client)["unit"] == "degC"
    assert curve(client)["readings"][0][1] == pytest.approx(80.0)
    raw = curve(client, raw="true")
    assert (raw["unit"], raw["readings"][0][1]) == ("K", 353.15)


def test_from_is_included_and_to_is_not(client: TestClient, senml: Any) -> None:
    senml(*ramp(10))

    found = curve(
        client, **{"from": "2026-03-02T08:10:02Z", "to": "2026-03-02T08:10:05Z", "time": "ms"}
    )

    assert [row[0] for row in found["readings"]] == [1772439002000 + 1000 * i for i in range(3)]


def test_a_thinned_curve_keeps_its_extremes_and_every_bad_reading(
    client: TestClient, senml: Any
) -> None:
    pack = ramp(2000)
    pack[777]["v"] = 12.5
    pack[1333] = {"t": 1333, "vs": "probe broken"}
    senml(*pack)

    found = curve(client, points=50)
    values = [row[1] for row in found["readings"]]

    assert len(values) <= 53
    assert 12.5 in values
    assert max(v for v in values if v is not None) == pytest.approx(70 + 0.0625 * 1999)
    assert [row[2] for row in found["readings"] if row[1] is None] == ["bad"]
    assert (found["shown"], found["of"]) == (len(values), 2000)


def test_several_series_come_as_a_list(client: TestClient, senml: Any) -> None:
    senml(*ramp(2), {"bn": "north/scale", "u": "kg", "v": 3.5})

    answer = client.get(
        "/v1/readings", params=[("series", "north/milk"), ("series", "north/scale")]
    )

    assert [found["unit"] for found in answer.json()] == ["degC", "kg"]


def test_curves_come_as_csv_and_parquet_with_the_same_numbers(
    client: TestClient, senml: Any
) -> None:
    senml(*ramp(3))
    query = {"series": "north/milk"}

    text = client.get("/v1/readings", params={**query, "format": "csv"}).text
    table = pq.read_table(
        io.BytesIO(client.get("/v1/readings", params={**query, "format": "parquet"}).content)
    )

    rows = list(csv.DictReader(io.StringIO(text)))
    assert [float(row["value"]) for row in rows] == [70.0, 70.0625, 70.125]
    assert rows[0]["time"] == "2026-03-02T08:10:00.000Z"
    assert table["value"].to_pylist() == [70.0, 70.0625, 70.125]
    assert table["time"].to_pylist()[0].isoformat() == "2026-03-02T08:10:00+00:00"


def test_a_pack_that_breaks_a_rule_is_refused_whole(client: TestClient) -> None:
    answer = client.post(
        "/v1/readings",
        content=b'[{"n":"north/milk","u":"Cel","v":80},{"n":"north/milk","v":1,"vs":"x"}]',
        headers={"Content-Type": "application/senml+json"},
    )

    assert answer.status_code == 400
    assert answer.headers["content-type"] == "application/problem+json"
    assert client.get("/v1/instruments").json()["instruments"] == []


def test_odd_readings_are_stored_and_marked(client: TestClient, senml: Any) -> None:
    done = senml(
        {"n": "north/milk", "u": "Cel", "bt": T0 + 9e6, "v": 80},
        {"n": "north/odd", "u": "furlong", "v": 1},
    )

    assert (done["stored"], done["suspect"]) == (2, 2)
    found = curve(client)
    assert found["readings"][0][2] == "suspect"
    assert "future" in next(iter(found["reasons"].values()))


def test_an_instrument_appears_at_its_first_reading_with_its_age(
    client: TestClient, senml: Any
) -> None:
    senml({"n": "north/milk", "u": "Cel", "t": -45, "v": 80})

    found = client.get("/v1/instruments").json()["instruments"]

    assert [(i["series"], i["kind"], i["last"]["value"]) for i in found] == [
        ("north/milk", "thermometer", 80.0)
    ]
    assert found[0]["last"]["age_s"] == pytest.approx(45.0)
    assert found[0]["last"]["stale"] is True
    assert "never checked" in found[0]["correction"]["method"]


def test_an_ice_check_shifts_the_curve_and_leaves_the_raw_values(
    client: TestClient, senml: Any
) -> None:
    senml(*ramp(3))
    path = "/v1/instruments/north/milk/checks"
    checked = client.post(
        path,
        json={
            "kind": "ice",
            "indicated": {"value": 0.4, "unit": "degC"},
            "valid_from": "2026-03-02T08:10:01Z",
        },
    )

    assert checked.status_code == 201
    values = [row[1] for row in curve(client)["readings"]]
    assert values == pytest.approx([70.0, 70.0625 - 0.4, 70.125 - 0.4])
    assert [row[1] for row in curve(client, raw="true")["readings"]] == [70.0, 70.0625, 70.125]


def test_two_points_make_a_line_that_is_right_at_both(client: TestClient, senml: Any) -> None:
    senml({"n": "p", "u": "Cel", "bt": T0, "v": 0.5}, {"n": "p", "t": 1, "u": "Cel", "v": 98.0})
    path = "/v1/instruments/p/checks"
    valid = {"valid_from": "2026-03-02T08:00:00Z"}
    ice = {"kind": "ice", "indicated": {"value": 0.5, "unit": "degC"}, **valid}
    boil = {
        "kind": "boil",
        "indicated": {"value": 98.0, "unit": "degC"},
        "pressure": {"value": 101.325, "unit": "kPa"},
        **valid,
    }
    assert client.post(path, json=ice).status_code == 201
    assert client.post(path, json=boil).status_code == 201

    answer = client.get("/v1/readings", params={"series": "p"}).json()

    # Water boils at 99.974 degC at 101.325 kPa (IAPWS-IF97; seen in the iapws package).
    assert [row[1] for row in answer["readings"]] == pytest.approx([0.0, 99.974], abs=0.002)


def test_a_withdrawn_check_corrects_no_longer(client: TestClient, senml: Any) -> None:
    senml(*ramp(1))
    path = "/v1/instruments/north/milk/checks"
    body = {
        "kind": "ice",
        "indicated": {"value": 1.0, "unit": "degC"},
        "valid_from": "2026-03-02T08:00:00Z",
    }
    check = client.post(path, json=body).json()
    client.post(path, json={"withdraws": check["id"], "why": "the ice had melted"})

    assert curve(client)["readings"][0][1] == 70.0
    assert client.get(path).json()["checks"] == []


def test_lag_is_undone_only_where_a_dip_check_gave_a_time_constant(
    client: TestClient, senml: Any
) -> None:
    senml(*ramp(200))
    refused = client.get("/v1/readings", params={"series": "north/milk", "correct": "lag"})
    client.post(
        "/v1/instruments/north/milk/checks",
        json={"kind": "dip", "time_constant": {"value": 8, "unit": "s"}, "u": 0.5},
    )

    corrected = curve(client, correct="lag")["readings"]

    assert refused.status_code == 422
    assert "dip check" in refused.json()["do"]
    # A ramp of 0.0625 K/s lags by rate times time constant, 0.5 K (definition).
    assert corrected[100][1] - (70 + 6.25) == pytest.approx(0.5, abs=1e-6)


def test_a_logged_plunge_gives_the_time_constant(client: TestClient, senml: Any) -> None:
    # A first-order probe of 8 s from 22 into 82 degC: 22 + 60 (1 - exp(-t/8)) (definition).
    plunge = [22.0] * 20 + [82.0 - 60.0 * math.exp(-i / 8.0) for i in range(80)]
    senml(
        *(
            {"n": "p", "u": "Cel", "t": T0 + i, "v": round(v / 0.0625) * 0.0625}
            for i, v in enumerate(plunge)
        )
    )
    window = {"from": "2026-03-02T08:10:00Z", "to": "2026-03-02T08:12:00Z"}

    found = client.post("/v1/instruments/p/checks", json={"kind": "dip", **window})
    nothing = client.post("/v1/instruments/north/milk/checks", json={"kind": "dip", **window})

    assert found.status_code == 201, found.text
    assert found.json()["time_constant_s"] == pytest.approx(8.0, abs=0.4)
    assert found.json()["ratio"] == pytest.approx(3.32, abs=0.4)
    assert nothing.status_code == 422
    assert "gives no time constant" in nothing.json()["detail"]


def test_a_check_that_is_far_off_is_refused(client: TestClient) -> None:
    answer = client.post(
        "/v1/instruments/north/milk/checks",
        json={"kind": "ice", "indicated": {"value": 32, "unit": "degC"}},
    )

    assert answer.status_code == 422
    assert "32.0 degC where 0.0 degC" in answer.json()["detail"]


def test_health_tells_the_age_of_each_series(client: TestClient, senml: Any) -> None:
    senml({"n": "north/milk", "u": "Cel", "t": -3, "v": 80})

    health = client.get("/healthz").json()
    metrics = client.get("/metrics").text

    assert health["status"] == "ok"
    assert health["series"] == [{"series": "north/milk", "age_s": 3.0}]
    assert 'curdwright_series_age_seconds{series="north/milk"} 3.000' in metrics


@given(
    st.lists(st.floats(-100, 200, allow_nan=False), min_size=1, max_size=300),
    st.integers(4, 60),
)
def test_thinning_keeps_order_ends_and_extremes(values: list[float], points: int) -> None:
    value = np.array(values)
    time = np.arange(len(values), dtype=np.int64)

    chosen = thin(time, value, points)

    assert np.all(np.diff(chosen) > 0)
    assert chosen[0] == 0
    assert chosen[-1] == len(values) - 1
    assert len(chosen) <= max(points + 2, 4)
    assert value[chosen].max() == value.max()
    assert value[chosen].min() == value.min()


def test_thinning_refuses_too_few_points() -> None:
    with pytest.raises(ProcessError, match="at least 4"):
        thin(np.arange(9), np.zeros(9), 3)
