"""The record's page holds every section, whatever can be shown of it."""

from __future__ import annotations

from typing import Any


def test_the_page_of_a_batch_with_all_sections_is_rendered(site: Any) -> None:
    site.price("soybean", "a", "10", per={"value": 1, "unit": "kg"})
    batch = site.make(coagulant={"name": "gypsum"}, nominal_block={"value": 350, "unit": "g"})
    site.weigh(batch)

    answer = site.client.get(f"/batches/{batch}")

    assert answer.status_code == 200
    for name in ("Yield and recoveries", "Per 100 g", "Of dry", "Nutrition", "Protein"):
        assert name in answer.text, name


def test_the_page_of_an_empty_batch_says_why_for_each(site: Any) -> None:
    answer = site.client.get(f"/batches/{site.make()}")

    assert answer.status_code == 200
    assert "names no coagulant" in answer.text
