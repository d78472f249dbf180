"""The firmware notes: their form, and every frame they show against the decoder they name."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import pytest

from collector.config import SerialLine, Topic, load_config
from collector.readings import Quality, Reading

_NOTES = Path(__file__).parents[2] / "firmware_notes"
_NAMES = sorted(path.name for path in _NOTES.glob("*.md") if path.stem not in ("README", "FORM"))
_ARRIVAL_MS = 1_772_356_540_000


@dataclass(frozen=True)
class Row:
    """One row of a table of frames."""

    hex: str
    text: str
    value: str
    unit: str
    quality: str
    reason: str

    @property
    def frame(self) -> bytes:
        """The bytes; where both columns give them, they must be the same."""
        written = None if self.hex == "-" else bytes.fromhex(self.hex)
        as_text = None if self.text == "-" else self.text.encode()
        assert written is not None or as_text is not None
        assert None in (written, as_text) or written == as_text, f"{self.text} is not {self.hex}"
        return written if written is not None else as_text or b""


@dataclass(frozen=True)
class Stretch:
    """A block of configuration with the frames below it."""

    configuration: str
    rows: tuple[Row, ...]


def _headings(name: str) -> list[str]:
    return re.findall(r"^## (.+)$", (_NOTES / name).read_text(encoding="utf-8"), re.MULTILINE)


def _stretches(name: str) -> list[Stretch]:
    text = (_NOTES / name).read_text(encoding="utf-8")
    section = text.split("## Captured frames\n", 1)[1].split("\n## ", 1)[0]
    found = []
    for block in section.split("```toml\n")[1:]:
        configuration, _, below = block.partition("```")
        lines = [line for line in below.splitlines() if line.startswith("|")]
        assert lines[0] == "| Hex | Text | Value | Unit | Quality | Reason |"
        rows = [Row(*_cells(line)) for line in lines[2:]]
        found.append(Stretch(configuration, tuple(rows)))
    return found


def _cells(line: str) -> list[str]:
    """Return the cells of a row; spaces inside a code cell count."""
    cells = [cell.strip() for cell in line.strip("|").split("|")]
    return [cell[1:-1] if cell.startswith("`") else cell for cell in cells]


def _read(stretch: Stretch, folder: Path) -> list[list[Reading]]:
    file = folder / "curdwright.toml"
    file.write_text(stretch.configuration, encoding="utf-8")
    config = load_config(file, folder, environ={})
    places: list[SerialLine | Topic] = [*config.serial, *(t for b in config.mqtt for t in b.topics)]
    (place,) = places
    decoder, guard = place.decoder(), place.guard()
    read = [
        decoder.decode(row.frame, channel="kitchen/probe", arrival_ms=_ARRIVAL_MS)
        for row in stretch.rows
    ]
    return [[guard.check(r) if guard else r for r in readings] for readings in read]


def _all_stretches() -> list[tuple[str, int]]:
    return [(name, n) for name in _NAMES for n in range(len(_stretches(name)))]


@pytest.mark.parametrize(("name", "number"), _all_stretches())
def test_every_frame_of_a_note_is_read_as_the_note_says(
    name: str, number: int, tmp_path: Path
) -> None:
    stretch = _stretches(name)[number]
    assert len(stretch.rows) >= 2
    for row, readings in zip(stretch.rows, _read(stretch, tmp_path), strict=True):
        (reading,) = readings
        said = f"{row.text} {row.hex}: {reading}"
        assert reading.value == (None if row.value == "-" else float(row.value)), said
        assert reading.unit == ("" if row.unit == "-" else row.unit), said
        assert reading.quality.word == row.quality, said
        assert (row.reason == "-") == (reading.quality is Quality.GOOD), said
        assert row.reason == "-" or row.reason in reading.reason, said


def test_there_are_notes_and_each_shows_frames() -> None:
    assert len(_NAMES) >= 2
    assert {name for name, _ in _all_stretches()} == set(_NAMES)


@pytest.mark.parametrize("name", _NAMES)
def test_a_note_has_the_headings_of_the_form_in_order(name: str) -> None:
    assert _headings(name) == _headings("FORM.md")


def test_the_index_names_every_note_and_every_link_leads_to_a_file() -> None:
    for name in ("README.md", *_NAMES):
        text = (_NOTES / name).read_text(encoding="utf-8")
        for target in re.findall(r"\]\(([^)#]+)\)", text):
            assert (_NOTES / target).is_file(), f"{name} links to {target}"
    index = (_NOTES / "README.md").read_text(encoding="utf-8")
    assert all(f"({name})" in index for name in _NAMES)


@pytest.mark.parametrize("name", _NAMES)
def test_a_note_comes_with_the_cautions_of_its_place(name: str) -> None:
    index = (_NOTES / "README.md").read_text(encoding="utf-8")
    for caution in ("Hot liquid", "Mains", "Food"):
        assert f"**{caution}.**" in index
    wiring = (_NOTES / name).read_text(encoding="utf-8").split("## Wiring\n")[1].split("\n## ")[0]
    assert re.search(r"steam|mains|food", wiring)
