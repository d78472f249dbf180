"""The scripts and styles as files: their size, their syntax, their words, what they import."""

from __future__ import annotations

import gzip
import re
from typing import get_args

from api.schemas import EventKind
from dashboards.assets import static_folder
from dashboards.steps import HINTS, marks_of

JS = sorted((static_folder() / "js").glob("*.js"))
CSS = sorted((static_folder() / "css").glob("*.css"))
MOST_BYTES = 150_000
# The Okabe-Ito set (Okabe and Ito 2008, Color Universal Design, from memory).
OKABE_ITO = {
    "#000000", "#e69f00", "#56b4e9", "#009e73", "#f0e442", "#0072b2", "#d55e00", "#cc79a7",
}  # fmt: skip


def code_of(text: str) -> str:
    """Return a script without comments, strings and regular expressions."""
    no_blocks = re.sub(r"/\*.*?\*/", "", text, flags=re.DOTALL)
    no_strings = re.sub(r"\"(?:\\.|[^\"\\])*\"|'(?:\\.|[^'\\])*'", '""', no_blocks)
    return re.sub(r"(?<![:\"'])//[^\n]*", "", no_strings)


def test_all_scripts_together_are_small_enough_for_an_old_tablet() -> None:
    files = [*JS, *(static_folder() / "vendor").glob("*.js")]

    assert sum(len(gzip.compress(file.read_bytes())) for file in files) < MOST_BYTES


def test_no_script_uses_syntax_that_is_newer_than_2018() -> None:
    newer = {
        "optional chaining": r"\?\.(?!\d)",
        "nullish coalescing": r"\?\?",
        "optional catch binding": r"catch\s*\{",
        "numeric separator": r"\d_\d",
        "dynamic import": r"\bimport\(",
    }
    for file in JS:
        code = code_of(file.read_text(encoding="utf-8"))
        for name, pattern in newer.items():
            assert not re.search(pattern, code), (file.name, name)


def test_scripts_import_only_scripts_that_are_there() -> None:
    for file in JS:
        for address in re.findall(r"from \"([^\"]+)\"", file.read_text(encoding="utf-8")):
            if "/vendor/" in address:
                assert file.name == "uplot_curve.js"
                continue
            assert (file.parent / address).resolve().is_file(), (file.name, address)


def test_only_the_module_that_draws_by_uplot_needs_it() -> None:
    users = [file.name for file in JS if "vendor" in code_of(file.read_text(encoding="utf-8"))]
    imports = [file.name for file in JS if "uplot_curve" in file.read_text(encoding="utf-8")]

    assert users in ([], ["uplot_curve.js"])
    assert imports == []


def test_scripts_and_styles_name_no_other_host() -> None:
    for file in [*JS, *CSS]:
        assert not re.search(r"https?://|url\(", file.read_text(encoding="utf-8")), file.name


def test_colours_stand_in_one_file_and_the_hues_are_the_published_set() -> None:
    greys = re.compile(r"#([0-9a-f]{2})([0-9a-f]{2})([0-9a-f]{2})$")
    for file in CSS:
        for name, colour in re.findall(r"(--[\w-]+):\s*(#[0-9a-f]{6})", file.read_text("utf-8")):
            parts = greys.match(colour)
            assert parts is not None
            levels = [int(part, 16) for part in parts.groups()]
            is_grey = max(levels) - min(levels) <= 30
            assert is_grey or colour in OKABE_ITO or name == "--link", (file.name, name, colour)
        if file.name not in ("tokens.css", "print.css"):
            assert not re.search(r"#[0-9a-fA-F]{3,6}\b(?=[;\s])", file.read_text("utf-8"))


def test_every_kind_of_event_has_words_for_its_button() -> None:
    assert set(HINTS) == set(get_args(EventKind))


def test_without_a_recipe_the_pot_goes_on_the_heat_first() -> None:
    marks = marks_of({"events": []})

    assert marks.expected == "heat"
    assert marks.last is None


def test_a_self_set_batch_expects_the_first_curd_and_no_addition() -> None:
    marks = marks_of({"self_set": True, "events": [{"kind": "heat"}]})

    assert "addition" not in marks.order
    assert marks.expected == "set"
    assert marks.beside == ("simmer", "boil", "cover")


def test_a_recipe_that_stops_at_the_addition_still_goes_on_to_the_block() -> None:
    recipe = {"steps": [{"kind": "boil"}, {"kind": "addition"}]}

    marks = marks_of({"recipe": recipe, "events": [{"kind": "boil"}, {"kind": "addition"}]})

    assert marks.expected == "cover"
    assert marks.order[-1] == "end"


def test_a_mark_that_was_forgotten_is_not_waited_for() -> None:
    recipe = {"steps": [{"kind": "heat"}, {"kind": "boil"}, {"kind": "addition"}]}

    assert marks_of({"recipe": recipe, "events": [{"kind": "addition"}]}).expected == "cover"


def test_after_the_end_nothing_is_expected() -> None:
    assert marks_of({"events": [{"kind": "end"}]}).expected is None
