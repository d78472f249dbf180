# SPDX-License-Identifier: MIT
"""A curve of readings as a picture that prints: SVG with title, description and real text.

A gap in the readings is drawn as a gap. Nothing depends on colour alone: bands are hatched and
named, the target is dashed, marks are lines with words. Pure presentation: imports only what is.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from dashboards import formats, times
from dashboards.svg_axes import rows_for, text_width, time_ticks, value_ticks
from dashboards.svg_picture import Band, Mark, Picture, described, gaps_ms, usable, wording

_TEXT = 13.0
_ROW = 17.0
_LEFT, _RIGHT, _BOTTOM = 60.0, 14.0, 28.0
_HALO = 'class="halo" paint-order="stroke" stroke="#ffffff" stroke-width="4" fill="#1c1b19"'
_PATTERNS = {"met": "kept", "running": "kept", "not met": "broken"}
_SHORTEST_NAMED_GAP_PX = 70.0


def curve(picture: Picture) -> str:
    """Return the picture as one `<svg>` element, "" if there is no usable reading."""
    if not usable(picture.points):
        return ""
    frame = _Frame(picture)
    title, words = f"{picture.key}-title", f"{picture.key}-words"
    return "".join(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="curve" role="img" '
            f'viewBox="0 0 {picture.width:g} {picture.height:g}" font-size="{_TEXT:g}" '
            f'aria-labelledby="{title} {words}">',
            f'<title id="{title}">{escape(picture.title)}</title>',
            f'<desc id="{words}">{escape(described(picture))}</desc>',
            _pattern_definitions(picture.key),
            *(frame.band(band) for band in picture.bands),
            *frame.value_axis(),
            *frame.time_axis(),
            *(frame.gap(start, end) for start, end in frame.gaps),
            frame.target(),
            frame.line(),
            *frame.doubtful(),
            *(frame.band_name(band) for band in picture.bands),
            *frame.marks(),
            "</svg>",
        )
    )


def _pattern_definitions(key: str) -> str:
    line = 'class="hatch" stroke="#009E73" stroke-width="1.5" fill="none"'
    size = 'patternUnits="userSpaceOnUse"'
    return (
        f'<defs><pattern id="{key}-kept" width="9" height="9" {size}>'
        f'<path d="M0 9L9 0" {line}/></pattern>'
        f'<pattern id="{key}-broken" width="9" height="9" {size}>'
        f'<path d="M0 9L9 0M0 0L9 9" {line}/></pattern>'
        f'<pattern id="{key}-open" width="8" height="8" {size}>'
        f'<path d="M1 4L5 4" {line}/></pattern></defs>'
    )


def _label(x: float, y: float, text: str, anchor: str = "start") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" {_HALO}>{escape(text)}</text>'


class _Frame:
    """The plot's ends and where a time and a value fall in it."""

    def __init__(self, picture: Picture) -> None:
        self.picture = picture
        self.good = usable(picture.points)
        self.gaps = gaps_ms([time for time, _ in self.good])
        self.from_ms, self.to_ms = self._times()
        self.low, self.high = self._values()
        self._rows = self._mark_rows()
        self.top = 12.0 + _ROW * (1 + max((row for _, row in self._rows), default=-1))
        self.bottom = picture.height - _BOTTOM

    def x(self, time_ms: float) -> float:
        """Return where a time falls [px]."""
        inside = (time_ms - self.from_ms) / (self.to_ms - self.from_ms)
        return _LEFT + inside * (self.picture.width - _LEFT - _RIGHT)

    def y(self, value: float) -> float:
        """Return where a value falls [px]."""
        inside = (value - self.low) / (self.high - self.low)
        return self.bottom - inside * (self.bottom - self.top)

    def _times(self) -> tuple[float, float]:
        picture = self.picture
        moments = [time for time, _, _ in picture.points] + [mark.at_ms for mark in picture.marks]
        first, last = min(moments), max(moments)
        return (first, last) if last - first >= 60_000.0 else (first, first + 60_000.0)

    def _values(self) -> tuple[float, float]:
        picture = self.picture
        seen = [value for _, value in self.good]
        edges = [edge for band in picture.bands for edge in (band.low, band.high)]
        seen += [edge for edge in (*edges, picture.target) if edge is not None]
        low, high = min(seen), max(seen)
        margin = max((high - low) * 0.06, 0.01 if picture.quantity == "mass" else 1.0)
        return low - margin, high + margin

    def _mark_rows(self) -> list[tuple[Mark, int]]:
        marks = sorted(self.picture.marks, key=lambda mark: mark.at_ms)
        spans = [self._mark_span(mark) for mark in marks]
        return list(zip(marks, rows_for(spans), strict=True))

    def _mark_span(self, mark: Mark) -> tuple[float, float]:
        width = text_width(mark.label, _TEXT) + 10.0
        x = self.x(mark.at_ms)
        return (x - width, x) if x + width > self.picture.width else (x, x + width)

    def _band_sides(self, band: Band) -> tuple[float, float, float, float]:
        left = self.x(min(max(band.from_ms, self.from_ms), self.to_ms))
        right = self.x(min(max(band.to_ms, self.from_ms), self.to_ms))
        top = self.top if band.high is None else self.y(band.high)
        bottom = self.bottom if band.low is None else self.y(band.low)
        return left, right, top, bottom

    def band(self, band: Band) -> str:
        """Return a hold: its stretch of time and its band, hatched by its verdict."""
        left, right, top, bottom = self._band_sides(band)
        pattern = _PATTERNS.get(band.verdict, "open")
        return (
            f'<rect class="band" x="{left:.1f}" y="{top:.1f}" width="{max(right - left, 1):.1f}" '
            f'height="{max(bottom - top, 1):.1f}" fill="url(#{self.picture.key}-{pattern})" '
            f'stroke="#009E73" stroke-width="1"/>'
        )

    def band_name(self, band: Band) -> str:
        """Return the name and the verdict of a hold, below its band where there is room."""
        left, right, _, bottom = self._band_sides(band)
        name = f"{band.label}: {band.verdict}"
        y = bottom + 15 if bottom + 20 < self.bottom else bottom - 6
        if left + text_width(name, _TEXT) > self.picture.width - _RIGHT:
            return _label(right - 2, y, name, "end")
        return _label(left + 2, y, name)

    def value_axis(self) -> list[str]:
        """Return lines across with their values, in the reader's unit."""
        picture = self.picture
        scale, offset, unit = 1.0, 0.0, "kg"
        if picture.quantity == "temperature":
            fahrenheit = picture.units.temperature == "degF"
            scale, offset = (1.8, 32.0) if fahrenheit else (1.0, 0.0)
            unit = formats.degree(picture.units)
        elif picture.units.mass == "oz":
            scale, unit = 1.0 / formats.KG_IN_A_POUND, "lb"
        parts = []
        ticks = value_ticks(self.low * scale + offset, self.high * scale + offset)
        for tick in ticks:
            y = self.y((tick - offset) / scale)
            name = f"{tick:g}".replace("-", formats.MINUS) + (
                f" {unit}" if tick == ticks[-1] else ""
            )
            parts.append(
                f'<path class="grid" d="M{_LEFT:g} {y:.1f}H{picture.width - _RIGHT:g}" '
                f'stroke="#d9d5cc" fill="none"/>'
            )
            parts.append(
                f'<text class="tick" x="{_LEFT - 7:g}" y="{y + 4.5:.1f}" text-anchor="end" '
                f'fill="#1c1b19">{name}</text>'
            )
        return parts

    def time_axis(self) -> list[str]:
        """Return the clock times below, and the line they stand on."""
        right = self.picture.width - _RIGHT
        parts = [
            f'<path class="axis" d="M{_LEFT:g} {self.bottom:g}H{right:g}" stroke="#1c1b19" '
            f'fill="none"/>'
        ]
        for tick in time_ticks(self.from_ms, self.to_ms, self.picture.zone):
            x = self.x(tick)
            name = times.clock(times.from_milliseconds(tick), self.picture.zone)
            parts.append(
                f'<path class="axis" d="M{x:.1f} {self.bottom:g}v5" stroke="#1c1b19" fill="none"/>'
                f'<text class="tick" x="{min(max(x, 20.0), right - 14):.1f}" '
                f'y="{self.bottom + 19:g}" text-anchor="middle" fill="#1c1b19">{name}</text>'
            )
        return parts

    def gap(self, start_ms: float, end_ms: float) -> str:
        """Return a stretch without readings, with words where they fit."""
        left, right = self.x(start_ms), self.x(end_ms)
        edge = (
            f'<path class="gap" d="M{left:.1f} {self.top:g}V{self.bottom:g}M{right:.1f} '
            f'{self.top:g}V{self.bottom:g}" stroke="#6b675f" stroke-dasharray="1 4" fill="none"/>'
        )
        if right - left < _SHORTEST_NAMED_GAP_PX:
            return edge
        return edge + _label((left + right) / 2.0, self.bottom - 24, "no reading", "middle")

    def target(self) -> str:
        """Return the dashed line of the target with its value."""
        if self.picture.target is None:
            return ""
        y = self.y(self.picture.target)
        right = self.picture.width - _RIGHT
        name = f"target {wording(self.picture)(self.picture.target)}"
        return (
            f'<path class="target" d="M{_LEFT:g} {y:.1f}H{right:g}" stroke="#D55E00" '
            f'stroke-width="2" stroke-dasharray="9 5" fill="none"/>'
            + _label(_LEFT + 4, y - 6, name)
        )

    def line(self) -> str:
        """Return the curve itself, broken where readings are missing."""
        ends = {start for start, _ in self.gaps}
        path: list[str] = []
        pen = "M"
        for time, value in self.good:
            path.append(f"{pen}{self.x(time):.1f} {self.y(value):.1f}")
            pen = "M" if time in ends else "L"
        return (
            f'<path class="line" d="{"".join(path)}" stroke="#0072B2" stroke-width="2.5" '
            f'stroke-linejoin="round" stroke-linecap="round" fill="none"/>'
        )

    def doubtful(self) -> list[str]:
        """Return open diamonds for suspect readings and crosses below for bad ones."""
        parts = []
        for time, value, quality in self.picture.points:
            x = self.x(time)
            if quality == "suspect" and value is not None and self.low < value < self.high:
                shape = f"M{x:.1f} {self.y(value) - 5:.1f}l5 5l-5 5l-5 -5Z"
            elif quality == "good":
                continue
            else:
                shape = f"M{x - 3:.1f} {self.bottom - 9:.1f}l6 6m0 -6l-6 6"
            parts.append(
                f'<path class="doubt" d="{shape}" stroke="#D55E00" stroke-width="1.5" fill="none"/>'
            )
        return parts

    def marks(self) -> Sequence[str]:
        """Return a line with its word for each mark; words keep out of each other's way."""
        parts = []
        for mark, row in self._rows:
            x = self.x(mark.at_ms)
            y = 12.0 + _ROW * row
            left, _ = self._mark_span(mark)
            anchor = "start" if left >= x else "end"
            parts.append(
                f'<path class="mark" d="M{x:.1f} {y - 8:.1f}V{self.bottom:g}" stroke="#1c1b19" '
                f'stroke-width="1.2" fill="none"/>'
                + _label(x + (5 if anchor == "start" else -5), y + 3, mark.label, anchor)
            )
        return parts
