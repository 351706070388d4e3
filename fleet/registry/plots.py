"""The plot of a type's rated runtimes as plain shapes for an inline SVG."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

WIDTH: Final = 320
HEIGHT: Final = 180
_LEFT, _RIGHT, _TOP, _BOTTOM = 44, 12, 12, 34
_STEPS: Final = (1, 2, 5)


@dataclass(frozen=True, slots=True)
class Tick:
    """A labelled place on an axis, in the plot's own units."""

    at: float
    label: str


@dataclass(frozen=True, slots=True)
class Plot:
    """Points and axes of hours against rate; `line` is the points attribute of a polyline."""

    points: list[tuple[float, float]]
    line: str
    rates: list[Tick]
    hours: list[Tick]
    width: int = WIDTH
    height: int = HEIGHT
    left: int = _LEFT
    right: int = WIDTH - _RIGHT
    bottom: int = HEIGHT - _BOTTOM


def runtime_plot(runtimes: Sequence[tuple[Decimal, Decimal]]) -> Plot | None:
    """Hours against rate in mL/h, both axes from zero; None for fewer than two points, which draw no line."""
    if len(runtimes) < 2:  # noqa: PLR2004 - a line has two ends
        return None
    pairs = sorted((float(rate), float(hours)) for rate, hours in runtimes)
    rates, hours = _ticks(pairs[-1][0]), _ticks(max(hours for _, hours in pairs))
    points = [(_across(rate, rates[-1]), _up(span, hours[-1])) for rate, span in pairs]
    return Plot(
        points=points,
        line=" ".join(f"{x},{y}" for x, y in points),
        rates=[Tick(_across(value, rates[-1]), f"{value:g}") for value in rates],
        hours=[Tick(_up(value, hours[-1]), f"{value:g}") for value in hours],
    )


def _ticks(most: float) -> list[float]:
    """Round values from 0 to at least `most`, at most six of them."""
    size = 10.0 ** (len(f"{most:.0f}") - 2)
    step = next(step * scale for scale in (size, size * 10) for step in _STEPS if step * scale * 5 >= most)
    count = int(-(-most // step))
    return [step * number for number in range(count + 1)]


def _across(value: float, most: float) -> float:
    return round(_LEFT + value / most * (WIDTH - _LEFT - _RIGHT), 1)


def _up(value: float, most: float) -> float:
    return round(HEIGHT - _BOTTOM - value / most * (HEIGHT - _TOP - _BOTTOM), 1)
