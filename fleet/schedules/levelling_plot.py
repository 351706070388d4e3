"""The hours of each week before and after levelling, drawn as SVG: bars as planned, a line as due, the hours there are.

A pure function of plain data. Presentation attributes and classes only, because the content policy allows no inline
style. Lengths are in the drawing's own units, of which the whole is WIDTH x HEIGHT.
"""

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Final

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from fleet.schedules.queries import Week
from fleet.web.phrases import day

WIDTH: Final = 400
HEIGHT: Final = 210
LEFT, RIGHT, TOP, BOTTOM = 36, 394, 12, 184
_STEPS: Final = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000)
_MOST_TICKS: Final = 4
_BAR: Final = 0.72
_MONTHS_BETWEEN: Final = 3


def draw(weeks: Sequence[Week], hours: float) -> SafeString:
    """Draw the weeks, of which there is one at least, and the hours that there are in each; `hours` in a full one."""
    most = max(hours, *(max(week.before, week.after, week.hours) for week in weeks))
    step = next((step for step in _STEPS if most / step <= _MOST_TICKS), _STEPS[-1])
    return format_html(
        '<svg class="plot level-plot" viewBox="0 0 {} {}" role="img" aria-labelledby="level-title level-desc"'
        ' font-size="11" fill="currentColor"><title id="level-title">Hours of planned work in each week</title>'
        '<desc id="level-desc">{}</desc>{}{}{}{}{}</svg>',
        WIDTH, HEIGHT, _told(weeks, hours), _rows(most, step), _bars(weeks, most), _line(weeks, most),
        _limit(weeks, most), _dates(weeks),
    )  # fmt: skip


def _told(weeks: Sequence[Week], hours: float) -> str:
    before, after = (max(getattr(week, name) for week in weeks) for name in ("before", "after"))
    return f"Fullest week {before:.0f} hours as due, {after:.0f} as planned, of {hours:.0f}; the table has each week."


def _y(hours: float, most: float) -> float:
    return round(BOTTOM - (BOTTOM - TOP) * hours / most, 1)


def _x(number: float, weeks: int) -> float:
    return round(LEFT + (RIGHT - LEFT) * number / weeks, 1)


def _rows(most: float, step: int) -> SafeString:
    ticks = [at * step for at in range(int(most // step) + 1)]
    return format_html_join(
        "",
        '<line x1="{}" y1="{}" x2="{}" y2="{}" stroke="currentColor" stroke-opacity="0.18"/>'
        '<text x="{}" y="{}" text-anchor="end">{}</text>',
        ((LEFT, _y(at, most), RIGHT, _y(at, most), LEFT - 5, _y(at, most) + 4, f"{at} h") for at in ticks),
    )


def _bars(weeks: Sequence[Week], most: float) -> SafeString:
    wide = (RIGHT - LEFT) / len(weeks)
    return format_html_join(
        "",
        '<rect class="level-after" x="{}" y="{}" width="{}" height="{}"/>',
        (
            (
                round(_x(week.number, len(weeks)) + wide * (1 - _BAR) / 2, 1),
                _y(week.after, most),
                round(wide * _BAR, 1),
                round(BOTTOM - _y(week.after, most), 1),
            )
            for week in weeks
        ),
    )


def _line(weeks: Sequence[Week], most: float) -> SafeString:
    return _steps("level-before", [week.before for week in weeks], most)


def _limit(weeks: Sequence[Week], most: float) -> SafeString:
    return _steps("level-limit", [week.hours for week in weeks], most, dashes="6 4")


def _steps(name: str, hours: Sequence[float], most: float, dashes: str = "none") -> SafeString:
    """A line that keeps its height over each week."""
    corners = (f"{_x(at + side, len(hours))},{_y(each, most)}" for at, each in enumerate(hours) for side in (0, 1))
    return format_html(
        '<polyline class="{}" points="{}" fill="none" stroke="currentColor" stroke-width="1.4"'
        ' stroke-dasharray="{}"/>',
        name, " ".join(corners), dashes,
    )  # fmt: skip


def _dates(weeks: Sequence[Week]) -> SafeString:
    return format_html_join(
        "",
        '<line x1="{0}" y1="{1}" x2="{0}" y2="{2}" stroke="currentColor"/><text x="{0}" y="{3}"'
        ' text-anchor="middle">{4}</text>',
        ((_x(number, len(weeks)), BOTTOM, BOTTOM + 4, BOTTOM + 17, words) for number, words in _months(weeks)),
    )


def _months(weeks: Sequence[Week]) -> Iterator[tuple[int, str]]:
    """The first week of every third month with the month in words, not too near the edges."""
    firsts = [late for early, late in pairwise(weeks) if early.monday.month != late.monday.month]
    for week in firsts[1::_MONTHS_BETWEEN]:
        yield week.number, day(week.monday).split("\u00a0", 1)[1]
