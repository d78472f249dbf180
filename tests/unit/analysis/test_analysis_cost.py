"""What a batch costs, as the interface tells it."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest


def test_a_lot_s_price_gives_the_cost_by_the_batch_the_block_and_the_hundred_grams(
    site: Any,
) -> None:
    site.price("soybeans", "sack 3", "12.92")
    site.price("gypsum", "jar", "8", currency="USD", per={"value": 100, "unit": "g"})
    batch = site.make(
        ingredients=[{"name": "soybean", "lot": "sack 3"}],
        coagulant={"name": "gypsum", "lot": "jar"},
        nominal_block={"value": 350, "unit": "g"},
    )
    site.weigh(batch)

    cost = site.analysis(batch)["cost"]

    # 0.5 kg at 12.92 / 0.45359237 kg and 12 g at 8 for 100 g: by hand.
    total = 0.5 * 12.92 / 0.45359237 + 0.012 * 80
    assert cost["total"]["value"] == pytest.approx(total, rel=1e-12)
    assert cost["total"]["unit"] == "USD"
    assert cost["total"]["shown"] == f"{total:.2f} USD"
    assert "lot sack 3 of soybean" in cost["total"]["from"]
    assert cost["nominal_block"]["value"] == pytest.approx(total * 0.35 / 1.55, rel=1e-12)
    assert cost["per_100_g"]["value"] == pytest.approx(total / 15.5, rel=1e-12)
    assert cost["dry_for_nominal"]["value"] == pytest.approx(0.5 * 0.35 / 1.55)
    assert cost["notes"] == [
        "the protein is computed, an estimate",
        "water, fuel and labour are not in it",
    ]


def test_a_stated_rate_shows_the_cost_in_a_second_currency_with_its_day(
    site: Any,
) -> None:
    site.price("soybean", "a", "10", per={"value": 1, "unit": "kg"})
    site.post("/v1/rates", **{"from": "USD", "to": "EUR", "rate": "0.92", "date": "2026-03-01"})
    batch = site.make()
    site.weigh(batch)

    (other,) = site.analysis(batch)["cost"]["other_currencies"]

    assert other["stated"] == {"from": "USD", "to": "EUR", "rate": "0.92", "date": "2026-03-01"}
    assert Decimal(other["total"]["amount"]) == Decimal("4.6")
    assert other["total"]["unit"] == "EUR"
    assert "rate USD to EUR 0.92 of 2026-03-01, as stated" in other["total"]["from"]
    assert site.client.get("/v1/rates").json()["rates"][0]["rate"] == "0.92"


def test_prices_in_two_currencies_are_not_added_without_a_rate(site: Any) -> None:
    site.price("soybean", "a", "10", per={"value": 1, "unit": "kg"})
    site.price("sesame", "b", "9", currency="EUR", per={"value": 1, "unit": "kg"})
    blend = [{"name": "soybean", "share": 0.8}, {"name": "sesame", "share": 0.2}]
    batch = site.make(ingredients=blend)
    site.weigh(batch)

    assert "state a rate" in site.analysis(batch)["cost"]["total"]["why"]

    site.post("/v1/rates", **{"from": "EUR", "to": "USD", "rate": "1.1", "date": "2026-03-01"})
    total = site.analysis(batch)["cost"]["total"]
    assert total["value"] == pytest.approx(0.4 * 10 + 0.1 * 9 * 1.1)


def test_two_lots_of_one_ingredient_are_priced_each_by_its_own(site: Any) -> None:
    per_kg = {"per": {"value": 1, "unit": "kg"}}
    site.price("soybean", "old", "10", **per_kg)
    site.price("soybean", "new", "12", **per_kg)
    lots = [
        {"name": "soybean", "share": 0.25, "lot": "old"},
        {"name": "soybean", "share": 0.75, "lot": "new"},
    ]
    batch = site.make(ingredients=lots)
    site.weigh(batch)

    found = site.analysis(batch)

    assert found["cost"]["total"]["value"] == pytest.approx(0.5 * (0.25 * 10 + 0.75 * 12))
    assert found["nutrition"]["protein"]["value"] > 0


def test_blocks_weighed_one_by_one_cost_by_their_own_mass(site: Any) -> None:
    site.price("soybean", "a", "10", per={"value": 1, "unit": "kg"})
    batch = site.make()
    site.weigh(batch, "block")
    for mass in (0.35, 0.40):
        body = {"stream": "block", "mass": {"value": mass, "unit": "kg"}, "u": 0.001}
        site.post(f"/v1/batches/{batch}/weighings", **body)

    blocks = site.analysis(batch)["cost"]["blocks"]

    assert [b["cost"]["value"] for b in blocks] == pytest.approx([5 * 0.35 / 0.75, 5 * 0.40 / 0.75])


def test_an_ingredient_without_a_price_leaves_the_cost_out_and_says_which(
    site: Any,
) -> None:
    batch = site.make(ingredients=[{"name": "soybean", "lot": "sack 9"}])
    site.weigh(batch)

    assert site.analysis(batch)["cost"]["total"] == {
        "status": "not shown",
        "why": "soybean: no lot 'sack 9' of soybean is recorded",
    }


def test_a_lot_bought_after_the_batch_does_not_price_it(site: Any) -> None:
    site.price("soybean", "later", "10", bought_at="2026-03-02T07:00:00Z")
    batch = site.make()
    site.weigh(batch)

    assert "no lot of soybean with a price" in site.analysis(batch)["cost"]["total"]["why"]


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ({"price": "12.92"}, "all three"),
        ({"price": "cheap", "currency": "EUR", "per": {"value": 1, "unit": "kg"}}, "not a number"),
        ({"price": "1", "currency": "EUR", "per": {"value": 0, "unit": "kg"}}, "is none"),
        ({"price": "1", "currency": "EUR", "per": {"value": 1, "unit": "cup"}}, "unit of mass"),
    ],
)
def test_a_price_that_makes_no_sense_is_refused(site: Any, body: dict[str, Any], said: str) -> None:
    answer = site.client.post("/v1/lots", json={"ingredient": "soybean", "lot": "x", **body})

    assert answer.status_code == 422
    assert said in answer.json()["detail"]


@pytest.mark.parametrize("rate", ["0", "x", "-1"])
def test_a_rate_that_makes_no_sense_is_refused(site: Any, rate: str) -> None:
    body = {"from": "USD", "to": "EUR", "rate": rate, "date": "2026-03-01"}

    assert site.client.post("/v1/rates", json=body).status_code == 422
