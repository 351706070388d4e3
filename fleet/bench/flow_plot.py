"""The figures of a flow test, drawn as SVG: flow against time, and the trumpet curve with its limits.

Pure functions of plain data. Presentation attributes and classes only, because the content policy allows no inline
style. Lengths are in the drawing's own units, of which the whole is WIDTH x HEIGHT.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from fleet.core.flow import SAMPLE_MINUTES
from fleet.web.phrases import quantity

WIDTH: Final = 400
HEIGHT: Final = 250
LEFT, RIGHT, TOP, BOTTOM = 46, 390, 16, 212
_MOST_COLUMNS: Final = 344
_TICKS: Final = 5
_ROOM: Final = 0.08
_HOUR: Final = 60.0
_LONG: Final = 240

Corner = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Edge:
    """The trumpet at one window, min: smallest and largest error and the limits there, in %; None: there is none."""

    minutes: int
    lowest: float | None
    highest: float | None
    low_limit: float | None = None
    high_limit: float | None = None


@dataclass(frozen=True, slots=True)
class _Frame:
    """What is drawn, from and to, and where each value lies."""

    left: float
    right: float
    low: float
    high: float

    def x(self, at: float) -> float:
        return round(LEFT + (RIGHT - LEFT) * (at - self.left) / (self.right - self.left), 1)

    def y(self, value: float) -> float:
        share = (value - self.low) / (self.high - self.low)
        return round(BOTTOM - (BOTTOM - TOP) * min(max(share, 0.0), 1.0), 1)


def draw_flow(key: str, flow: Sequence[float], rate: float, span: tuple[int, int]) -> SafeString:
    """Draw the flow of each half minute in mL/h against time, the set rate, and the samples `span` that count."""
    minutes = len(flow) * SAMPLE_MINUTES
    frame = _framed(0.0, minutes, [*flow, rate])
    unit, size = ("h", _HOUR) if minutes > _LONG else ("min", 1.0)
    start, stop = (frame.x(sample * SAMPLE_MINUTES) for sample in span)
    y = frame.y(rate)
    shown = format_html(
        '<rect class="flow-period" x="{}" y="{}" width="{}" height="{}" fill-opacity="0.1"/>{}'
        '<line class="flow-rate" x1="{}" y1="{}" x2="{}" y2="{}" stroke="currentColor" stroke-dasharray="7 3"/>'
        '<polyline class="flow-line" points="{}" fill="none" stroke="currentColor" stroke-width="1.3"/>',
        start, TOP, max(stop - start, 0), BOTTOM - TOP,
        _axes(frame, ((at, quantity(at / size)) for at in _steps(0, minutes, size)), f"time, {unit}", "mL/h"),
        LEFT, y, RIGHT, y, _points(_columns(flow, frame)),
    )  # fmt: skip
    told = (
        f"{quantity(minutes, 'min')} of flow between {quantity(min(flow), 'mL/h')} and {quantity(max(flow), 'mL/h')}; "
        f"set {quantity(rate, 'mL/h')}."
    )
    return _svg(f"{key}-flow", "Flow against time", told, shown)


def draw_trumpet(key: str, edges: Sequence[Edge], mean_error: float) -> SafeString:
    """Draw the largest and smallest error over each window, the mean error, and the limits where there are any."""
    values = [mean_error, 0.0]
    for edge in edges:
        values += [each for each in (edge.lowest, edge.highest, edge.low_limit, edge.high_limit) if each is not None]
    frame = _framed(0.0, 33.0, values)
    y = frame.y(mean_error)
    shown = format_html(
        '{}<line class="flow-rate" x1="{}" y1="{}" x2="{}" y2="{}" stroke="currentColor" stroke-dasharray="7 3"/>{}{}',
        _axes(frame, ((edge.minutes, str(edge.minutes)) for edge in edges), "observation window, min", "%"),
        LEFT, y, RIGHT, y,
        format_html_join("", "{}", ((_limit(frame, edge.minutes, at),) for edge in edges
                                    for at in (edge.low_limit, edge.high_limit) if at is not None)),
        format_html_join("", "{}", ((_curve(frame, corners),) for corners in _curves(edges))),
    )  # fmt: skip
    known = [edge for edge in edges if edge.lowest is not None and edge.highest is not None]
    told = "; ".join(f"{edge.minutes} min {quantity(edge.lowest)} to {quantity(edge.highest)} %" for edge in known)
    title = "Trumpet curve: largest and smallest error over each window"
    return _svg(f"{key}-trumpet", title, f"Mean error {quantity(mean_error)} %; {told or 'no window'}.", shown)


def _curves(edges: Iterable[Edge]) -> tuple[list[Corner], list[Corner]]:
    high = [(float(edge.minutes), edge.highest) for edge in edges if edge.highest is not None]
    low = [(float(edge.minutes), edge.lowest) for edge in edges if edge.lowest is not None]
    return high, low


def _curve(frame: _Frame, corners: Sequence[Corner]) -> SafeString:
    placed = [(frame.x(at), frame.y(value)) for at, value in corners]
    return format_html(
        '<polyline class="flow-line" points="{}" fill="none" stroke="currentColor" stroke-width="2"/>{}',
        _points(placed), format_html_join("", '<circle class="flow-point" cx="{}" cy="{}" r="3.5"/>', placed),
    )  # fmt: skip


def _limit(frame: _Frame, minutes: float, at: float) -> SafeString:
    x, y = frame.x(minutes), frame.y(at)
    return format_html(
        '<path class="flow-limit" d="M{} {}H{}" fill="none" stroke="currentColor" stroke-width="3"/>', x - 9, y, x + 9
    )


def _framed(left: float, right: float, values: Sequence[float]) -> _Frame:
    low, high = min(values), max(values)
    room = max((high - low) * _ROOM, abs(high) * 0.01, 0.01)
    return _Frame(left, right, low - room, high + room)


def _columns(flow: Sequence[float], frame: _Frame) -> list[Corner]:
    """A corner for each sample; of a long log the smallest and the largest of each column, so that no spike is lost."""
    size = max(1, math.ceil(len(flow) / _MOST_COLUMNS))
    corners: list[Corner] = []
    for first in range(0, len(flow), size):
        part = flow[first : first + size]
        x = frame.x((first + len(part) / 2) * SAMPLE_MINUTES)
        corners += [(x, frame.y(min(part))), (x, frame.y(max(part)))] if size > 1 else [(x, frame.y(part[0]))]
    return corners


def _steps(low: float, high: float, unit: float = 1.0) -> list[float]:
    """Round values from `low` to `high`, about _TICKS of them, in whole parts of `unit`."""
    rough = (high - low) / unit / _TICKS
    size = 10.0 ** math.floor(math.log10(rough))
    step = next(size * part for part in (1, 2, 5, 10) if size * part >= rough) * unit
    return [at * step for at in range(math.ceil(low / step), math.floor(high / step) + 1)]


_ROW: Final = (
    '<line class="flow-grid" x1="{}" y1="{}" x2="{}" y2="{}" stroke="currentColor" stroke-opacity="0.18"/>'
    '<text x="{}" y="{}" text-anchor="end">{}</text>'
)
_MARK: Final = (
    '<line x1="{}" y1="{}" x2="{}" y2="{}" stroke="currentColor"/><text x="{}" y="{}" text-anchor="middle">{}</text>'
)


def _axes(frame: _Frame, along: Iterable[tuple[float, str]], across: str, up: str) -> SafeString:
    return format_html(
        '{}{}<line x1="{}" y1="{}" x2="{}" y2="{}" stroke="currentColor"/>'
        '<text x="{}" y="{}" text-anchor="end">{} →</text><text x="4" y="{}">↑ {}</text>',
        format_html_join("", _ROW, ((LEFT, frame.y(at), RIGHT, frame.y(at), LEFT - 5, frame.y(at) + 4, quantity(at))
                                    for at in _steps(frame.low, frame.high))),
        format_html_join("", _MARK, ((frame.x(at), BOTTOM, frame.x(at), BOTTOM + 4, frame.x(at), BOTTOM + 17, words)
                                     for at, words in along)),
        LEFT, BOTTOM, RIGHT, BOTTOM, RIGHT, HEIGHT - 4, across, HEIGHT - 4, up,
    )  # fmt: skip


def _points(corners: Iterable[Corner]) -> str:
    return " ".join(f"{x},{y}" for x, y in corners)


def _svg(key: str, title: str, told: str, shown: SafeString) -> SafeString:
    return format_html(
        '<svg class="plot flow-plot" viewBox="0 0 {} {}" role="img" aria-labelledby="{}-title {}-desc" font-size="12"'
        ' fill="currentColor"><title id="{}-title">{}</title><desc id="{}-desc">{}</desc>{}</svg>',
        WIDTH, HEIGHT, key, key, key, title, key, told, shown,
    )  # fmt: skip
