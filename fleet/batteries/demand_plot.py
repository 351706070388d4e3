"""The packs that will be needed month by month, what limits ask for, and the stock that runs down, drawn as SVG.

A pure function of plain data in two panels over one axis of months: above the stock, below the demand. Presentation
attributes and classes only, because the content policy allows no inline style. Lengths are in the drawing's own units,
of which the whole is WIDTH x HEIGHT.
"""

import calendar
import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from fleet.batteries.policy_wording import packs, short_month
from fleet.web.phrases import day

WIDTH: Final = 400
HEIGHT: Final = 316
LEFT, RIGHT = 34, 394
#: Top and bottom of the panel of the stock and of the panel of the demand.
STOCK: Final = (40.0, 128.0)
DEMAND: Final = (176.0, 288.0)
_MOST_TICKS: Final = 4
_STEPS: Final = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000, 50_000)
_HALF_A_YEAR: Final = 6
_ROOM_FOR_WORDS: Final = 150
_BAND: Final = 0.62
_MARK: Final = 0.78


@dataclass(frozen=True, slots=True)
class Month:
    """The packs needed in one month: 1 in 10 needs fewer than `low`, half fewer than `middle`, 9 in 10 than `high`."""

    first: date
    low: float
    middle: float
    high: float

    @property
    def end(self) -> date:
        """The first day of the month after."""
        return self.first + timedelta(days=calendar.monthrange(self.first.year, self.first.month)[1])


_LOWER: Final = 16


@dataclass(frozen=True, slots=True)
class Delivery:
    """Packs on order, and the day they are expected."""

    on: date
    count: int


@dataclass(frozen=True, slots=True)
class Plot:
    """All that the figure shows; `key` names it.

    `asked`: replacements that the limits ask for in each month. `needed`: packs expected in all up to each month's end,
    or asked for by then where that is more.
    """

    key: str
    name: str
    today: date
    months: Sequence[Month]
    asked: Sequence[int]
    needed: Sequence[float]
    on_shelf: int
    deliveries: Sequence[Delivery] = ()


@dataclass(frozen=True, slots=True)
class _Scale:
    """Where a day and a number of packs lie in one panel."""

    first: date
    last: date
    most: int
    top: float
    bottom: float

    def x(self, on: date) -> float:
        share = (on - self.first) / (self.last - self.first)
        return round(LEFT + (RIGHT - LEFT) * min(max(share, 0.0), 1.0), 1)

    def y(self, count: float) -> float:
        return round(self.bottom - (self.bottom - self.top) * min(max(count / self.most, 0.0), 1.0), 1)


def draw(plot: Plot) -> SafeString:
    """Draw the figure; its words for those who do not see it are in `title` and `desc`. It needs a month at least."""
    line = stock_line(plot)
    stock = _scale(plot, max(count for _, count in line), STOCK)
    demand = _scale(plot, max(*(month.high for month in plot.months), *plot.asked), DEMAND)
    return format_html(
        '<svg class="plot battery-plot battery-demand" viewBox="0 0 {} {}" role="img" aria-labelledby="{}-title'
        ' {}-desc" font-size="12" fill="currentColor"><title id="{}-title">Packs of {}, month by month</title>'
        '<desc id="{}-desc">{}</desc>{}{}{}{}{}{}</svg>',
        WIDTH, HEIGHT, plot.key, plot.key, plot.key, plot.name, plot.key, _told(plot),
        _heading(STOCK[0] - 26, "In stock, as the need draws on it"), _panel(stock),
        _stock(plot, line, stock),
        _heading(DEMAND[0] - 12, "Needed each month"), SafeString(_panel(demand) + _dates(plot, demand)),
        SafeString(_demand(plot, demand) + _asked(plot, demand)),
    )  # fmt: skip


def stock_line(plot: Plot) -> list[tuple[date, float]]:
    """The stock at each day where its line bends: down with the expected need, up by the delivery, never below 0."""
    bends = _bends(plot)
    line = [(bends[0], left_at(plot, bends[0]))]
    for start, end in itertools.pairwise(bends):
        have = _have(plot, start)
        if _left(plot, start) > 0 > have - _used(plot, end):
            line.append((_gone(plot, start, end), 0.0))
        line.append((end, max(have - _used(plot, end), 0.0)))
        if _have(plot, end) > have:
            line.append((end, left_at(plot, end)))
    return line


def empty_on(plot: Plot) -> date | None:
    """The day on which the stock has run out with the expected need; None if it lasts as long as the figure goes."""
    bends = _bends(plot)
    if _left(plot, bends[0]) <= 0:
        return bends[0]
    stretches = itertools.pairwise(bends)
    found = ((start, end) for start, end in stretches if _have(plot, start) <= _used(plot, end))
    return next((_gone(plot, start, end) for start, end in found), None)


def left_at(plot: Plot, on: date) -> float:
    """The stock left on a day with the expected need and what is delivered by then, never below 0."""
    return max(_left(plot, on), 0.0)


def _bends(plot: Plot) -> list[date]:
    days = {plot.today, *(month.end for month in plot.months)}
    days |= {each.on for each in plot.deliveries}
    return sorted(on for on in days if plot.today <= on <= plot.months[-1].end)


def _have(plot: Plot, on: date) -> int:
    """The stock of today with what has been delivered by a day, before any of it is used."""
    return plot.on_shelf + sum(each.count for each in plot.deliveries if each.on <= on)


def _left(plot: Plot, on: date) -> float:
    return _have(plot, on) - _used(plot, on)


def _gone(plot: Plot, start: date, end: date) -> date:
    """The day between two bends on which the last pack is used, the need spread evenly between them."""
    used_at, used_by = _used(plot, start), _used(plot, end)
    return start + (end - start) * ((_have(plot, start) - used_at) / (used_by - used_at))


def _used(plot: Plot, on: date) -> float:
    """The expected need from today to a day, spread evenly over each month."""
    start, used = plot.today, 0.0
    for month, total in zip(plot.months, plot.needed, strict=True):
        if on <= month.end:
            return used + (total - used) * max((on - start) / (month.end - start), 0.0)
        start, used = max(month.end, start), total
    return used


def _told(plot: Plot) -> str:
    high, first = max(month.high for month in plot.months), short_month(plot.months[0].first)
    gone = empty_on(plot)
    last = f"{packs(plot.on_shelf)} in stock today, which run out about {day(gone)}" if gone else (
        f"{packs(plot.on_shelf)} in stock today, which last beyond {short_month(plot.months[-1].first)}"
    )  # fmt: skip
    more = "".join(f"; {packs(each.count)} expected on {day(each.on)}" for each in plot.deliveries)
    asked = f" The limits ask for {sum(plot.asked)} replacements, {plot.asked[0]} of them in {first}." if any(
        plot.asked
    ) else ""  # fmt: skip
    most = f"At most {packs(high)} a month, 9 times in 10."
    return f"{last}{more}. {most}{asked} The numbers stand in the table below."


def _scale(plot: Plot, most: float, panel: tuple[float, float]) -> _Scale:
    step = _step(most)
    ticks = max(-(-int(most + 0.999) // step), 1)
    return _Scale(min(plot.today, plot.months[0].first), plot.months[-1].end, ticks * step, *panel)


def _step(most: float) -> int:
    return next((step for step in _STEPS if step * _MOST_TICKS >= most), _STEPS[-1])


def _heading(y: float, words: str) -> SafeString:
    return format_html('<text x="{}" y="{}" font-weight="650">{}</text>', 0, y, words)


def _panel(scale: _Scale) -> SafeString:
    step = _step(scale.most)
    rows = range(0, scale.most + 1, step)
    return format_html_join(
        "",
        '<line x1="{}" y1="{}" x2="{}" y2="{}" stroke="currentColor" stroke-opacity="{}"/>'
        '<text x="{}" y="{}" text-anchor="end">{}</text>',
        ((LEFT, scale.y(at), RIGHT, scale.y(at), 0.18 if at else 1, LEFT - 5, scale.y(at) + 4, at) for at in rows),
    )


def _dates(plot: Plot, scale: _Scale) -> SafeString:
    marked = [month.first for month in plot.months if month.first.month % _HALF_A_YEAR == 1]
    return format_html_join(
        "",
        '<line x1="{}" y1="{}" x2="{}" y2="{}" stroke="currentColor"/>'
        '<text x="{}" y="{}" text-anchor="middle">{}</text>',
        (
            (scale.x(on), scale.bottom, scale.x(on), scale.bottom + 4, scale.x(on), scale.bottom + 18, short_month(on))
            for on in marked
            if LEFT + 24 < scale.x(on) < RIGHT - 24
        ),
    )


def _demand(plot: Plot, scale: _Scale) -> SafeString:
    return format_html_join("", "{}", ((_month(month, scale),) for month in plot.months))


def _month(month: Month, scale: _Scale) -> SafeString:
    """A month: its 8-in-10 band as a column, its middle as a bar across."""
    start, wide = scale.x(month.first), scale.x(month.end) - scale.x(month.first)
    middle, inset = start + wide / 2, wide * _BAND / 2
    low, high = scale.y(month.low), scale.y(month.high)
    return format_html(
        '<rect class="battery-fan" x="{}" y="{}" width="{}" height="{}" fill-opacity="0.16"/>'
        '<line class="battery-middle" x1="{}" y1="{}" x2="{}" y2="{}" stroke="currentColor" stroke-width="3"/>',
        round(middle - inset, 1), high, round(inset * 2, 1), round(max(low - high, 0.0), 1),
        round(middle - wide * _MARK / 2, 1), scale.y(month.middle), round(middle + wide * _MARK / 2, 1),
        scale.y(month.middle),
    )  # fmt: skip


def _asked(plot: Plot, scale: _Scale) -> SafeString:
    """The replacements that the limits ask for: an outline over each month that has any."""
    return format_html_join(
        "",
        '<rect class="battery-asked" x="{}" y="{}" width="{}" height="{}" fill="none" stroke="currentColor"'
        ' stroke-width="1.4"/>',
        (_outline(month, count, scale) for month, count in zip(plot.months, plot.asked, strict=True) if count),
    )


def _outline(month: Month, count: int, scale: _Scale) -> tuple[float, float, float, float]:
    start, wide, top = scale.x(month.first), scale.x(month.end) - scale.x(month.first), scale.y(count)
    return round(start + wide * (1 - _MARK) / 2, 1), top, round(wide * _MARK, 1), round(scale.bottom - top, 1)


def _stock(plot: Plot, line: Sequence[tuple[date, float]], scale: _Scale) -> SafeString:
    points = " ".join(f"{scale.x(on)},{scale.y(count)}" for on, count in line)
    path = format_html(
        '<polyline class="battery-stock" points="{}" fill="none" stroke="currentColor" stroke-width="2"/>', points
    )
    shown = [each for each in plot.deliveries if plot.today <= each.on <= scale.last]
    # Two that come close together would write over each other: every second stands a line lower.
    marks = "".join(_delivery(each, scale, _LOWER * (number % 2)) for number, each in enumerate(shown))
    return SafeString(marks + path + _empty(plot, scale))


def _delivery(delivery: Delivery, scale: _Scale, lower: int) -> SafeString:
    x = scale.x(delivery.on)
    return format_html(
        '<line class="battery-visit" x1="{0}" y1="{1}" x2="{0}" y2="{2}" stroke="currentColor" stroke-dasharray="2 3"/>'
        '<text class="battery-words" x="{3}" y="{4}" text-anchor="{5}">{6} to come, {7}</text>',
        x, scale.top - 8, scale.bottom, _beside(x), scale.top + lower, _anchor(x), delivery.count, day(delivery.on),
    )  # fmt: skip


def _empty(plot: Plot, scale: _Scale) -> SafeString:
    gone = empty_on(plot)
    if gone is None:
        return SafeString("")
    x = scale.x(gone)
    return format_html(
        '<circle class="battery-empty" cx="{}" cy="{}" r="4.5" stroke="currentColor" stroke-width="1.6" fill="none"/>'
        '<text class="battery-words" x="{}" y="{}" text-anchor="{}">none left {}</text>',
        x, scale.bottom, _beside(x), scale.bottom + 17, _anchor(x), short_month(gone),
    )  # fmt: skip


def _beside(x: float) -> float:
    return x - 5 if _anchor(x) == "end" else x + 5


def _anchor(x: float) -> str:
    return "end" if x > RIGHT - _ROOM_FOR_WORDS else "start"
