"""The trial form: method and results, and nothing that tells whose they are."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from PIL import Image

from api.kitchen import Kitchen, open_kitchen

SECRETS = {
    "kitchen": "Zyxkitchen", "batch": "Zyxbatch", "pot": "Zyxpot", "recipe": "Zyxrecipe",
    "hold": "Zyxhold", "series": "zyxseries/milk", "who": "Zyxperson", "note": "Zyxnote",
    "lot": "Zyxlot", "seller": "Zyxseller", "vessel": "Zyxvessel", "taste": "Zyxtaste",
    "action": "Zyxaction", "photo": "Zyxphoto",
}  # fmt: skip
ZONE = "Europe/Vienna"


@pytest.fixture
def kitchen(tmp_path: Path, clock: Any) -> Any:
    """A kitchen whose every name is a word that occurs nowhere else."""
    folder = tmp_path / "kitchen"
    folder.mkdir()
    (folder / "curdwright.toml").write_text(
        f'[kitchen]\nname = "{SECRETS["kitchen"]}"\nzone = "{ZONE}"\naltitude_m = 187\n'
    )
    opened: Kitchen = open_kitchen(folder, now_ms=clock)
    yield opened
    opened.close()


@pytest.fixture
def batch(client: TestClient, senml: Any) -> str:
    """A batch that tells every secret there is to tell."""

    def post(path: str, **body: Any) -> Any:
        answer = client.post(path, json=body)
        assert answer.status_code in (200, 201), answer.text
        return answer.json()

    post("/v1/lots", ingredient="soybean", lot=SECRETS["lot"], price="7.77", currency="CHF",
         per={"value": 1, "unit": "kg"}, supplier=SECRETS["seller"])  # fmt: skip
    steps = [
        {"kind": "heat", "note": SECRETS["note"]},
        {"kind": "boil", "hold": {"name": SECRETS["hold"], "low": {"value": 96, "unit": "degC"},
         "least": {"value": 1, "unit": "min"}, "starts": "boil", "ends": "addition"}},
        {"kind": "addition"},
    ]  # fmt: skip
    recipe = post(
        "/v1/recipes", name=SECRETS["recipe"], steps=steps,
        ingredients=[{"name": "soybean", "lot": SECRETS["lot"]}],
    )  # fmt: skip
    start_s = 1_772_438_100
    series = SECRETS["series"]
    senml(*({"n": series, "u": "Cel", "t": start_s + 2 * i, "v": min(20 + i, 98)}
            for i in range(300)))  # fmt: skip
    made = post(
        "/v1/batches", name=SECRETS["batch"], pot=SECRETS["pot"], recipe=recipe["id"],
        thermometer=series, started_at="2026-03-02T07:55:00Z", note=SECRETS["note"],
        who=SECRETS["who"],
        ingredients=[{"name": "soybean", "lot": SECRETS["lot"]}],
    )  # fmt: skip
    path = f"/v1/batches/{made['id']}"
    for kind, at in (("heat", "07:55:10"), ("boil", "07:58:00"), ("addition", "08:03:00")):
        post(f"{path}/events", kind=kind, at=f"2026-03-02T{at}Z", note=SECRETS["note"],
             who=SECRETS["who"])  # fmt: skip
    for stream, kg in (("dry", 0.5), ("milk", 3.38), ("whey", 1.07), ("block", 1.55)):
        post(f"{path}/weighings", stream=stream, mass={"value": kg, "unit": "kg"}, u=0.001,
             who=SECRETS["who"], note=SECRETS["note"])  # fmt: skip
    post(f"{path}/observations", quantity="taste", text=SECRETS["taste"], who=SECRETS["who"])
    post(f"{path}/observations", quantity="outcome", text="set", who=SECRETS["who"])
    post(f"{path}/observations", quantity="moisture", value=84.5, unit="%", of="block")
    post(f"{path}/deviations", text=SECRETS["note"], action=SECRETS["action"])
    post(f"{path}/reviews", who=SECRETS["who"])
    out = io.BytesIO()
    Image.new("RGB", (9, 9)).save(out, "JPEG")
    sent = client.post(f"{path}/photos", content=out.getvalue(), params={"text": SECRETS["photo"]},
                       headers={"Content-Type": "image/jpeg"})  # fmt: skip
    assert sent.status_code == 201
    return str(made["id"])


@pytest.mark.parametrize("path", ["/v1/batches/{}/trial", "/v1/batches/{}/trial.json",
                                  "/batches/{}/trial"])  # fmt: skip
def test_nothing_on_it_tells_whose_it_is(client: TestClient, batch: str, path: str) -> None:
    text = client.get(path.format(batch)).text

    assert "0.5" in text or "500" in text
    for what, secret in SECRETS.items():
        assert secret.lower() not in text.lower(), what
        assert secret.split("/")[0].lower() not in text.lower(), what
    for told in (ZONE, "Vienna", "CHF", "7.77", "2026-03-02", "March 2026", "187 m", "sha256"):
        assert told not in text, told
    assert not re.search(r"[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-", text)


def test_the_record_of_the_same_batch_does_tell_them(client: TestClient, batch: str) -> None:
    text = client.get(f"/v1/batches/{batch}/record.json").text

    for what in ("kitchen", "batch", "pot", "recipe", "series", "who", "note", "lot", "action"):
        assert SECRETS[what] in text, what


def test_method_and_results_stand_on_it_with_their_uncertainty(
    client: TestClient, batch: str
) -> None:
    form = client.get(f"/v1/batches/{batch}/trial").json()

    assert form["method"]["ingredients"] == [{"name": "soybean", "share": 1.0}]
    assert [one["kind"] for one in form["method"]["events"]] == ["heat", "boil", "addition"]
    assert [one["after_s"] for one in form["method"]["events"]] == [0.0, 170.0, 470.0]
    [hold] = form["results"]["holds"]
    assert (hold["hold"], hold["verdict"]) == ("hold 1", "met")
    assert form["results"]["yield"]["value"] == pytest.approx(1.55 / 0.5, rel=0.02)
    assert form["results"]["yield"]["u"] > 0
    assert {"quantity": "outcome", "text": "set"} in form["observed"]
    assert form["curve"]["readings"][0][0] == pytest.approx(-10.0, abs=11.0)


def test_the_page_shows_the_curve_as_a_picture(client: TestClient, batch: str) -> None:
    page = client.get(f"/batches/{batch}/trial").text

    assert '<svg xmlns="http://www.w3.org/2000/svg" class="curve"' in page
    assert "hold 1: met" in page
    assert "<script" not in page
