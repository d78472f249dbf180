"""The record as PDF where there is no browser, and the page that stands alone."""

from __future__ import annotations

from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from api.paper import standing_alone


def test_without_a_browser_the_problem_says_that_print_gives_the_same(
    client: TestClient, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.delenv("CURDWRIGHT_BROWSER", raising=False)
    batch = client.post("/v1/batches", json={"name": "Small"}).json()["id"]
    answer = client.get(f"/v1/batches/{batch}/record.pdf")

    assert answer.status_code == 501
    assert "press Print" in answer.json()["do"]


def test_a_browser_that_cannot_be_run_is_told(
    client: TestClient, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("CURDWRIGHT_BROWSER", str(tmp_path / "none"))
    batch = client.post("/v1/batches", json={"name": "Small"}).json()["id"]
    answer = client.get(f"/v1/batches/{batch}/record.pdf")

    assert answer.status_code == 501
    assert "can't be run" in answer.json()["detail"]


def test_a_page_that_stands_alone_has_its_styles_inside_and_no_script(tmp_path: Path) -> None:
    (tmp_path / "a.css").write_text("p { color: red; }")
    page = (
        '<link rel="stylesheet" href="/static/a.css" media="print">'
        '<script type="module" src="/static/js/x.js"></script><script>\n1</script><p>x</p>'
    )

    assert standing_alone(page, tmp_path) == (
        '<style media="print">p { color: red; }</style><p>x</p>'
    )
