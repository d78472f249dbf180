# SPDX-License-Identifier: MIT
"""Curves of several batches over each other as a picture: SVG with title, words and real text.

Each batch has a letter, a dash and a colour, so that nothing depends on colour alone; its marks
stand in a lane of its own below. The same picture is shown, printed and saved. Pure presentation.
"""

from __future__ import annotations

import itertools
from html import escape

from dashboards import formats
from dashboards.svg_axes import text_width, value_ticks
from dashboards.svg_compare_picture import Line, Overlay, described

_TEXT = 13.0
_LEFT, _RIGHT, _TOP = 56.0, 26.0, 10.0
_ROW, _LANE, _AXIS = 20.0, 24.0, 40.0
_LETTER_APART = 15.0
_HALO = 'class="halo" paint-order="stroke" stroke="#ffffff" stroke-width="4" fill="#1c1b19"'
# Okabe and Ito 2008 (Color Universal Design, from memory), ink and a grey; each with its own dash.
STYLES = (
    ("#0072B2", ""), ("#D55E00", "10 5"), ("#009E73", "3 4"), ("#CC79A7", "12 4 3 4"),
    ("#E69F00", "6 3"), ("#56B4E9", "16 5"), ("#1c1b19", "2 6"), ("#6b675f", "8 3 2 3 2 3"),
)  # fmt: skip


def overlay(picture: Overlay) -> str:
    """Return the picture as one `<svg>` element."""
    frame = _Frame(picture)
    title, words = f"{picture.key}-title", f"{picture.key}-words"
    size = f"{picture.width:g} {frame.height:g}"
    return "".join(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="curve compared {picture.key}" '
            f'role="img" viewBox="0 0 {size}" font-size="{_TEXT:g}" '
            f'font-family="system-ui, sans-serif" aria-labelledby="{title} {words}" '
            f'data-left="{_LEFT:g}" data-right="{picture.width - _RIGHT:g}" '
            f'data-top="{frame.top:g}" data-bottom="{frame.bottom:g}" '
            f'data-from="{picture.x_from:g}" data-to="{picture.x_to:g}">',
            f'<title id="{title}">Temperature of the milk, batch over batch</title>',
            f'<desc id="{words}">{escape(described(picture))}</desc>',
            f'<rect class="back" width="{picture.width:g}" height="{frame.height:g}" '
            'fill="#ffffff"/>',
            _definitions(picture.key, frame),
            *frame.names(),
            *frame.value_axis(),
            *frame.x_axis(),
            *frame.band(),
            *frame.curves(),
            *frame.letters(),
            *frame.lanes(),
            "</svg>",
        )
    )


def _definitions(key: str, frame: _Frame) -> str:
    right, height = frame.picture.width - _RIGHT, frame.bottom - frame.top
    return (
        f'<defs><pattern id="{key}-good" width="8" height="8" patternUnits="userSpaceOnUse">'
        '<path class="hatch" d="M0 8L8 0" stroke="#6b675f" stroke-width="1" fill="none"/>'
        f'</pattern><clipPath id="{key}-plot"><rect x="{_LEFT:g}" y="{frame.top:g}" '
        f'width="{right - _LEFT:g}" height="{height:g}"/></clipPath></defs>'
    )


def _text(x: float, y: float, words: str, anchor: str = "start", more: str = _HALO) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" {more}>{escape(words)}</text>'


def _stroke(number: int, width: float = 2.5) -> str:
    colour, dash = STYLES[number % len(STYLES)]
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return f'class="batch-{number}" stroke="{colour}" stroke-width="{width:g}"{dashed} fill="none"'


class _Frame:
    """The plot's ends and where a place on the axis and a value fall in it."""

    def __init__(self, picture: Overlay) -> None:
        self.picture = picture
        self.inside = [
            [point for point in line.points if picture.x_from <= point[0] <= picture.x_to]
            for line in picture.lines
        ]
        self.band_inside = [p for p in picture.band if picture.x_from <= p[0] <= picture.x_to]
        self.low, self.high = self._values()
        rows = len(picture.lines) + (1 if picture.band_name else 0)
        self.top = _TOP + _ROW * rows + 12.0
        self.bottom = self.top + picture.plot_height
        self.height = self.bottom + _AXIS + _LANE * len(picture.lines) + 6.0

    def x(self, place: float) -> float:
        """Return where a place on the axis falls [px]."""
        picture = self.picture
        share = (place - picture.x_from) / (picture.x_to - picture.x_from)
        return _LEFT + share * (picture.width - _LEFT - _RIGHT)

    def y(self, value: float) -> float:
        """Return where a value falls [px]."""
        share = (value - self.low) / (self.high - self.low)
        return self.bottom - share * (self.bottom - self.top)

    def _values(self) -> tuple[float, float]:
        seen = [value for line in self.inside for _, value in line]
        seen += [edge for _, low, high in self.band_inside for edge in (low, high)]
        low, high = (min(seen), max(seen)) if seen else (0.0, 100.0)
        margin = max((high - low) * 0.05, 1.0)
        return low - margin, high + margin

    def names(self) -> list[str]:
        """Return the rows above that say which line is which batch."""
        parts = []
        for number, line in enumerate(self.picture.lines):
            y = _TOP + _ROW * number + 8.0
            words = _shortened(f"{line.letter}  {line.name}", self.picture.width - 70.0)
            parts.append(f'<path d="M8 {y:g}h34" {_stroke(number)}/>')
            parts.append(_text(52.0, y + 4.5, words))
        if self.picture.band_name:
            y = _TOP + _ROW * len(self.picture.lines) + 8.0
            parts.append(
                f'<rect class="band" x="8" y="{y - 7:g}" width="34" height="14" '
                f'fill="url(#{self.picture.key}-good)" stroke="#6b675f"/>'
            )
            words = _shortened(self.picture.band_name, self.picture.width - 70.0)
            parts.append(_text(52.0, y + 4.5, words))
        return parts

    def value_axis(self) -> list[str]:
        """Return lines across with their values, in the reader's unit."""
        picture = self.picture
        low, high = (formats.to_shown(edge, picture.units) for edge in (self.low, self.high))
        scale = (self.high - self.low) / (high - low)
        parts = []
        ticks = value_ticks(low, high)
        for tick in ticks:
            y = self.y(self.low + (tick - low) * scale)
            name = formats.plain(tick, 0)
            unit = f" {formats.degree(picture.units)}" if tick == ticks[-1] else ""
            parts.append(
                f'<path class="grid" d="M{_LEFT:g} {y:.1f}H{picture.width - _RIGHT:g}" '
                f'stroke="#d9d5cc" fill="none"/>'
                + _text(_LEFT - 7.0, y + 4.5, name + unit, "end", 'class="tick" fill="#1c1b19"')
            )
        return parts

    def x_axis(self) -> list[str]:
        """Return the places below, the line they stand on, and what they are."""
        picture = self.picture
        right = picture.width - _RIGHT
        parts = [
            f'<path class="axis" d="M{_LEFT:g} {self.bottom:g}H{right:g}" stroke="#1c1b19" '
            f'fill="none"/>'
        ]
        most = max(int((right - _LEFT) / 55.0), 2)
        plain = 'class="tick" fill="#1c1b19"'
        for tick in value_ticks(picture.x_from, picture.x_to, most):
            x = self.x(tick)
            parts.append(
                f'<path class="axis" d="M{x:.1f} {self.bottom:g}v5" stroke="#1c1b19" fill="none"/>'
                + _text(x, self.bottom + 19.0, f"{tick:g}".replace("-", formats.MINUS), "middle",
                        plain)
            )  # fmt: skip
            if tick == 0.0 and picture.x_from < 0.0:
                parts.append(
                    f'<path class="axis" d="M{x:.1f} {self.top:g}V{self.bottom:g}" '
                    f'stroke="#1c1b19" stroke-dasharray="1 5" fill="none"/>'
                )
        parts.append(_text(right, self.bottom + 35.0, picture.x_name, "end", plain))
        return parts

    def band(self) -> list[str]:
        """Return where the good batches ran, in as many pieces as there are."""
        places = [p[0] for p in self.band_inside]
        if len(places) < 2:
            return []
        usual = min(b - a for a, b in itertools.pairwise(places))
        parts, begin = [], 0
        for end in range(1, len(places) + 1):
            if end < len(places) and places[end] - places[end - 1] < 1.5 * usual:
                continue
            piece = self.band_inside[begin:end]
            begin = end
            there = "L".join(f"{self.x(x):.1f} {self.y(high):.1f}" for x, _, high in piece)
            back = "L".join(f"{self.x(x):.1f} {self.y(low):.1f}" for x, low, _ in piece[::-1])
            parts.append(
                f'<path class="band" d="M{there}L{back}Z" stroke="#6b675f" stroke-width="1" '
                f'fill="url(#{self.picture.key}-good)"/>'
            )
        return parts

    def curves(self) -> list[str]:
        """Return the curves themselves."""
        parts = []
        for number, points in enumerate(self.inside):
            if len(points) > 1:
                path = "L".join(f"{self.x(x):.1f} {self.y(value):.1f}" for x, value in points)
                parts.append(
                    f'<path d="M{path}" {_stroke(number)} stroke-linejoin="round" '
                    f'clip-path="url(#{self.picture.key}-plot)"/>'
                )
        return parts

    def letters(self) -> list[str]:
        """Return the letter of each curve at its end, out of each other's way."""
        ends = [
            (self.y(points[-1][1]), self.x(points[-1][0]), line.letter)
            for line, points in zip(self.picture.lines, self.inside, strict=True)
            if points
        ]
        parts: list[str] = []
        taken: list[tuple[float, float]] = []
        for y, x, letter in sorted(ends):
            while any(abs(x - a) < 14.0 and abs(y - b) < _LETTER_APART for a, b in taken):
                y += 4.0
            taken.append((x, y))
            parts.append(_text(x + 5.0, y + 4.5, letter, "start", f'{_HALO} font-weight="700"'))
        return parts

    def lanes(self) -> list[str]:
        """Return a lane for each batch with its marks; a word that has no room is left out."""
        parts = []
        right = self.picture.width - _RIGHT
        for number, line in enumerate(self.picture.lines):
            y = self.bottom + _AXIS + _LANE * number + 12.0
            parts.append(_text(_LEFT - 18.0, y + 4.5, line.letter, "middle",
                               f'{_HALO} font-weight="700"'))  # fmt: skip
            parts.append(f'<path d="M{_LEFT:g} {y:g}H{right:g}" {_stroke(number, 1.5)}/>')
            parts += self._ticks(line, y)
        return parts

    def _ticks(self, line: Line, y: float) -> list[str]:
        """Return the marks of a lane; a word stands where it meets no other mark."""
        marks = sorted(
            (self.x(place), word)
            for place, word in line.marks
            if self.picture.x_from <= place <= self.picture.x_to
        )
        parts = []
        taken = _LEFT
        for number, (x, word) in enumerate(marks):
            parts.append(
                f'<path class="mark" d="M{x:.1f} {y - 8:g}v16" stroke="#1c1b19" '
                f'stroke-width="2" fill="none"/>'
            )
            wide = text_width(word, _TEXT) + 6.0
            following = marks[number + 1][0] if number + 1 < len(marks) else self.picture.width
            if x >= taken and x + wide < following:
                parts.append(_text(x + 4.0, y + 4.5, word))
                taken = x + wide
            elif x - wide >= taken:
                parts.append(_text(x - 4.0, y + 4.5, word, "end"))
                taken = x
            taken = max(taken, x)
        return parts


def _shortened(words: str, width: float) -> str:
    most = max(int(width / text_width("m", _TEXT)), 12)
    return words if len(words) <= most else f"{words[: most - 1].rstrip()}\u2026"
