# SPDX-License-Identifier: MIT
"""The mass balance of a batch as a picture drawn to scale: what went in, what came out, where.

Solid: weighed. Striped: computed from the other streams. Cross-hatched, with the word "suspect":
its weighing could be the wrong one. Dashed line: not known. Pure presentation: imports only what
is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

from dashboards.flow_stages import Flow, Stage, flows_of, stages_of
from dashboards.formats import Units, mass_parts

_COLUMN = 166.0
_LEFT = 148.0
_BASE = 218.0
_FULL = 92.0
_BAR = 9.0
_BEND = 12.0
_LINE = 18.0
_THIN = 1.6
_SIZE = 17.5
_FOOT = 92.0
_INSIDE = 34.0
_TEXT = 'class="halo" paint-order="stroke" stroke="#ffffff" stroke-width="4" fill="#1c1b19"'
_FILLS = {
    "weighed": 'class="weighed" fill="#56B4E9"',
    "computed": 'class="computed" fill="url(#flow-computed)" stroke="#0072B2"',
    "suspect": 'class="suspect" fill="url(#flow-suspect)" stroke="#D55E00" stroke-width="1.5"',
}
_PATTERNS = (
    '<defs><pattern id="flow-computed" width="6" height="6" patternUnits="userSpaceOnUse">'
    '<path class="computed-lines" d="M0 3H6" stroke="#0072B2" stroke-width="1.4"/></pattern>'
    '<pattern id="flow-suspect" width="8" height="8" patternUnits="userSpaceOnUse">'
    '<path class="suspect-lines" d="M0 8L8 0M0 0L8 8" stroke="#D55E00" stroke-width="1.4"/>'
    "</pattern></defs>"
)


@dataclass(frozen=True, slots=True)
class _Scale:
    units: Units
    px_per_kg: float

    def width(self, flow: Flow) -> float:
        """Return how thick a stream is drawn [px]."""
        return max((flow.mass_kg or 0.0) * self.px_per_kg, _THIN)


def flow_diagram(balance: Mapping[str, Any], units: Units) -> str:
    """Return the balance as one `<svg>` element, "" if no stream has a mass.

    Args:
        balance: The analysis' key of that name: streams, test …
        units: The reader's.
    """
    flows = flows_of(balance)
    stages = stages_of(flows)
    largest = max((flow.mass_kg or 0.0 for flow in flows.values()), default=0.0)
    if largest <= 0.0 or not stages:
        return ""
    scale = _Scale(units, _FULL / largest)
    parts: list[str] = []
    for column, stage in enumerate(stages):
        parts += _stage(stage, column, scale, len(stages))
    width = _LEFT + _COLUMN * len(stages) + 40.0
    # The words of a suspect that comes first are longer than the room beside it.
    start = -60.0 if stages[0].main_in.look == "suspect" else 0.0
    words = "; ".join(_said(flow, units) for flow in flows.values() if flow.mass_kg is not None)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="flow" role="img" font-size="{_SIZE:g}" '
        f'viewBox="{start:g} 0 {width - start:g} {_BASE + 52 + _FOOT:g}" '
        'aria-labelledby="flow-title flow-words">'
        f'<title id="flow-title">Mass balance, widths to scale</title>'
        f'<desc id="flow-words">{escape(words)}.</desc>{_PATTERNS}{"".join(parts)}</svg>'
    )


def _said(flow: Flow, units: Units) -> str:
    return f"{flow.name} {mass_parts(flow.mass_kg, units)[0]}, {flow.how}"


def _stage(stage: Stage, column: int, scale: _Scale, columns: int) -> list[str]:
    """Return one step: what flows in, its bar, and what flows out."""
    left = _LEFT + _COLUMN * column
    right = left + _BAR
    side_in = sum(scale.width(flow) for flow in stage.side_in)
    main_in = scale.width(stage.main_in)
    side_out = sum(scale.width(flow) for flow in stage.side_out)
    main_out = scale.width(stage.main_out)
    height = max(side_in + main_in, side_out + main_out)
    parts = []
    if column == 0:
        parts.append(_straight(stage.main_in, left - 56.0, left, _BASE, main_in))
        parts += _words(stage.main_in, left - 61.0, _BASE - main_in / 2.0 - 3.0, scale, "end")
    parts += _inflows(stage.side_in, left, _BASE - main_in, scale)
    parts += _outflows(stage.side_out, right, scale)
    last = column == columns - 1
    parts += _onward(stage.main_out, right, side_out, scale, last)
    parts.append(
        f'<path class="bar" d="M{left:g} {_BASE - height:.1f}h{_BAR:g}V{_BASE:g}h-{_BAR:g}Z" '
        f'fill="#1c1b19"/><text x="{right:g}" y="{_BASE + 17:g}" text-anchor="end" '
        f'font-weight="bold" {_TEXT}>{escape(stage.name)}</text>'
    )
    return parts


def _shape(flow: Flow, path: str, middle: str) -> str:
    if flow.mass_kg is None:
        return (
            f'<path class="unknown" d="{middle}" stroke="#6b675f" stroke-dasharray="4 4" '
            f'fill="none"/>'
        )
    return f'<path {_FILLS[flow.look]} d="{path}"/>'


def _straight(flow: Flow, start: float, end: float, base: float, width: float) -> str:
    top = base - width
    return _shape(
        flow, f"M{start:g} {top:.1f}H{end:g}V{base:g}H{start:g}Z", f"M{start:g} {base:g}H{end:g}"
    )


def _inflows(flows: Sequence[Flow], x: float, base: float, scale: _Scale) -> list[str]:
    """Return the streams that come from above and bend into a step, the nearest on top."""
    total = sum(scale.width(flow) for flow in flows)
    top, turn = base - total, base - total - _BEND
    parts: list[str] = []
    inner = _BEND
    for index, flow in enumerate(flows):
        width = scale.width(flow)
        outer = inner + width
        start = 40.0 + 2.2 * _LINE * index
        path = (
            f"M{x - outer:.1f} {start:g}V{turn:.1f}A{outer:.1f} {outer:.1f} 0 0 0 {x:g} "
            f"{turn + outer:.1f}V{turn + inner:.1f}A{inner:.1f} {inner:.1f} 0 0 1 "
            f"{x - inner:.1f} {turn:.1f}V{start:g}Z"
        )
        middle = f"M{x - inner:.1f} {start:g}V{turn:.1f}L{x:g} {top + _BEND:.1f}"
        parts.append(_shape(flow, path, middle))
        parts += _words(flow, x - outer - 6.0, start + 10.0, scale, "end")
        inner = outer
    return parts


def _outflows(flows: Sequence[Flow], x: float, scale: _Scale) -> list[str]:
    """Return the streams that leave a step downwards, the nearest at the bottom."""
    parts: list[str] = []
    inner = _BEND
    turn = _BASE + _BEND
    for index, flow in enumerate(flows):
        width = scale.width(flow)
        outer = inner + width
        end = turn + 18.0 + 2.2 * _LINE * index
        path = (
            f"M{x:g} {turn - inner:.1f}A{inner:.1f} {inner:.1f} 0 0 1 {x + inner:.1f} {turn:g}"
            f"V{end:g}H{x + outer:.1f}V{turn:g}A{outer:.1f} {outer:.1f} 0 0 0 {x:g} "
            f"{turn - outer:.1f}Z"
        )
        middle = f"M{x:g} {turn - inner:.1f}L{x + inner:.1f} {turn:g}V{end:g}"
        parts.append(_shape(flow, path, middle))
        parts += _words(flow, x + outer + 5.0, end + 3.0, scale, "start")
        inner = outer
    return parts


def _onward(flow: Flow, x: float, side_out: float, scale: _Scale, last: bool) -> list[str]:
    """Return the main stream to the next step, back down to the line it came from."""
    width = scale.width(flow)
    bottom = _BASE - side_out
    end = x + (74.0 if last else _COLUMN - _BAR)
    start = min(x + side_out + _BEND, end - 30.0)
    to = bottom if last else _BASE
    bend = (start + end) / 2.0
    path = (
        f"M{x:g} {bottom - width:.1f}H{start:.1f}C{bend:.1f} {bottom - width:.1f} {bend:.1f} "
        f"{to - width:.1f} {end:g} {to - width:.1f}V{to:.1f}C{bend:.1f} {to:.1f} {bend:.1f} "
        f"{bottom:.1f} {start:.1f} {bottom:.1f}H{x:g}Z"
    )
    middle = f"M{x:g} {bottom:.1f}H{start:.1f}L{end:g} {to:.1f}"
    y = bottom - width / 2.0 - 3.0 if width > _INSIDE else bottom - width - 22.0
    return [_shape(flow, path, middle), *_words(flow, x + 6.0, y, scale, "start")]


def _words(flow: Flow, x: float, y: float, scale: _Scale, anchor: str) -> list[str]:
    """Return a stream's name, its mass, and what is wrong with it."""
    lines = [flow.name, mass_parts(flow.mass_kg, scale.units)[0]]
    if flow.look == "suspect":
        weighed = mass_parts(flow.weighed_kg, scale.units)[0]
        lines = [f"{flow.name}: suspect", f"weighed {weighed}"]
    return [
        f'<text x="{x:.1f}" y="{y + _LINE * index:.1f}" text-anchor="{anchor}" {_TEXT}>'
        f"{escape(line)}</text>"
        for index, line in enumerate(lines)
    ]
