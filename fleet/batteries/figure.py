"""The battery figure: runtime tests, the forecast's fan, the replacement level and the next visit, drawn as SVG.

A pure function of plain data. Presentation attributes and classes only, because the content policy allows no inline
style. Lengths are in the drawing's own units, of which the whole is WIDTH x HEIGHT.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import Final

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from fleet.web.phrases import day, percent

WIDTH: Final = 400
HEIGHT: Final = 266
LEFT, RIGHT, TOP, BOTTOM = 42, 392, 56, 238
_SHORTEST: Final = timedelta(days=365)
_MARGIN: Final = timedelta(days=30)
_AHEAD: Final = timedelta(days=2 * 365)
#: The end of the crossing's interval is shown when it is not farther off than this.
_FARTHEST: Final = timedelta(days=4 * 365)
_MOST_DATES: Final = 5
_ROOM_FOR_WORDS: Final = 105
_ROOM_FOR_A_WORD: Final = 45
_STEP: Final = 0.1
_FEW_STEPS: Final = 7


class Kind(StrEnum):
    """What a test is worth to the forecast; each has a shape of its own."""

    FULL = "full"
    JUMP = "jump"
    ASIDE = "aside"
    EARLY = "early"
    SHORT = "short"
    OUTSIDE = "outside"
    VOID = "void"

    @property
    def words(self) -> str:
        """What the shape stands for."""
        return _WORDS[self]


_WORDS: Final = {
    Kind.FULL: "Full test",
    Kind.JUMP: "Far above what the earlier ones allow",
    Kind.ASIDE: "Set aside as likely wrong",
    Kind.EARLY: "Stopped early: at least this",
    Kind.SHORT: "Short charge: counts for less",
    Kind.OUTSIDE: "Rate outside the table: counts for less",
    Kind.VOID: "Void: not counted",
}
#: What stands beside the mark itself; the others are told by the legend alone.
_BESIDE: Final = {Kind.JUMP: "jump?", Kind.ASIDE: "wrong?", Kind.VOID: "void"}
#: Each shape around (0, 0), about 9 wide.
_SHAPES: Final = {
    Kind.FULL: "M-4.5 0A4.5 4.5 0 1 1 4.5 0A4.5 4.5 0 1 1 -4.5 0Z",
    Kind.JUMP: "M0 -6L5 0H2V5H-2V0H-5Z",
    Kind.ASIDE: "M-4.5 0A4.5 4.5 0 1 1 4.5 0A4.5 4.5 0 1 1 -4.5 0ZM-3.2 3.2L3.2 -3.2",
    Kind.EARLY: "M0 -5L5 4H-5Z",
    Kind.SHORT: "M0 -5L5 0L0 5L-5 0Z",
    Kind.OUTSIDE: "M-4 -4H4V4H-4Z",
    Kind.VOID: "M-4 -4L4 4M-4 4L4 -4",
}


@dataclass(frozen=True, slots=True)
class Point:
    """One runtime test: its day, its runtime fraction and its kind."""

    on: date
    fraction: float
    kind: Kind


@dataclass(frozen=True, slots=True)
class Stage:
    """The forecast on one day: the fractions that 10, 50 and 90 % of such packs stay under."""

    on: date
    low: float
    middle: float
    high: float


@dataclass(frozen=True, slots=True)
class Crossing:
    """When the level is expected to be passed: the days between which 8 in 10 such packs do, and the middle one.

    None stands for a day beyond the forecast's horizon.
    """

    early: date | None
    middle: date | None
    late: date | None


@dataclass(frozen=True, slots=True)
class Plot:
    """All that the figure shows. `key` tells several figures on a page apart; without `stages` there is no forecast.

    `advice` is the sentence that belongs to it, for those who do not see it.
    """

    key: str
    pack: str
    today: date
    level: float
    points: Sequence[Point]
    stages: Sequence[Stage] = ()
    since: date | None = None
    next_visit: date | None = None
    following_visit: date | None = None
    crossing: Crossing | None = None
    why_no_forecast: str = ""
    advice: str = ""


@dataclass(frozen=True, slots=True)
class _Frame:
    """The span of days and fractions that is drawn, and where each lies."""

    first: date
    last: date
    low: float
    high: float

    def x(self, on: date) -> float:
        share = (on - self.first) / (self.last - self.first)
        return round(LEFT + (RIGHT - LEFT) * min(max(share, 0.0), 1.0), 1)

    def y(self, fraction: float) -> float:
        share = (fraction - self.low) / (self.high - self.low)
        return round(BOTTOM - (BOTTOM - TOP) * min(max(share, 0.0), 1.0), 1)


def draw(plot: Plot) -> SafeString:
    """Draw the figure; its words for those who do not see it are in `title` and `desc`."""
    frame = _frame(plot)
    return format_html(
        '<svg class="plot battery-plot" viewBox="0 0 {} {}" role="img" aria-labelledby="{}-title {}-desc"'
        ' font-size="12" fill="currentColor">'
        '<title id="{}-title">Battery of pack {}</title><desc id="{}-desc">{}</desc>{}{}{}{}{}{}</svg>',
        WIDTH, HEIGHT, plot.key, plot.key, plot.key, plot.pack, plot.key, _told(plot),
        _axes(frame), _fan(plot, frame), _level(plot, frame), _crossing(plot, frame), _days(plot, frame),
        _points(plot, frame),
    )  # fmt: skip


def legend(plot: Plot) -> list[tuple[SafeString, str]]:
    """Give the shape and the words of each kind of test that the figure shows."""
    shown = {point.kind for point in plot.points}
    return [(_key(_shape(kind, 0, 0)), kind.words) for kind in Kind if kind in shown]


def legend_of_forecast(plot: Plot) -> list[tuple[SafeString, str]]:
    """Give the sign and the words of what the figure shows of the forecast."""
    if not plot.stages:
        return []
    signs = [(SafeString('<span class="battery-swatch"></span>'), "Forecast: 8 of 10 such packs lie in the band")]
    if _span_of_crossing(plot, _frame(plot)):
        bar = SafeString(f'<path class="battery-crossing" d="M-6 -4V4M-6 0H6M6 -4V4" {_BAR}/>')
        signs.append((_key(bar), f"8 of 10 fall under {_level_words(plot)} between these days"))
    return signs


def _key(shape: SafeString) -> SafeString:
    return format_html(
        '<svg class="battery-key" viewBox="-7 -7 14 14" width="14" height="14" aria-hidden="true">{}</svg>', shape
    )


def _told(plot: Plot) -> str:
    tests = f"{len(plot.points)} runtime test{'' if len(plot.points) == 1 else 's'}"
    level = f"replacement level {percent(plot.level)}"
    if not plot.stages:
        return f"{tests}; {level}. {plot.why_no_forecast or 'There is no forecast.'}"
    visit = f"; next visit {day(plot.next_visit)}" if plot.next_visit else ""
    visit += f", then {day(plot.following_visit)}" if visit and plot.following_visit else ""
    now = f"{percent(plot.stages[0].middle, 0)} expected on {day(plot.stages[0].on)}"
    advice = f"{plot.advice} " if plot.advice else ""
    return f"{advice}{tests}; {now}; {level}{visit}. The numbers stand in the table below."


def _frame(plot: Plot) -> _Frame:
    days = [point.on for point in plot.points] + [stage.on for stage in plot.stages[:1]]
    first = min([*days, plot.since or plot.today, plot.today - _SHORTEST])
    ahead = plot.today + (_AHEAD if plot.stages else _SHORTEST / 4)
    last = max(plot.next_visit or ahead, plot.following_visit or ahead, ahead, _crossed(plot), _end_in_sight(plot))
    last = min(last, plot.stages[-1].on) if plot.stages else last
    values = [point.fraction for point in plot.points] + [plot.level - _STEP]
    values += [value for stage in plot.stages if stage.on <= last for value in (stage.low, stage.high)]
    low = max(math.floor(min(values) / _STEP) * _STEP, 0.0)
    return _Frame(first, last, low, max(math.ceil(max(values) / _STEP) * _STEP, 1.0))


def _crossed(plot: Plot) -> date:
    """The first stage whose middle lies under the level, so that the crossing itself is in the picture."""
    return next((stage.on for stage in plot.stages if stage.middle < plot.level), plot.today)


def _end_in_sight(plot: Plot) -> date:
    """The last day of the crossing's interval where that is near enough to be shown."""
    late = plot.crossing.late if plot.crossing else None
    return late + _MARGIN if late and late <= plot.today + _FARTHEST else plot.today


def _axes(frame: _Frame) -> SafeString:
    return format_html(
        '<g class="battery-axes">{}{}<line x1="{}" y1="{}" x2="{}" y2="{}" stroke="currentColor"/></g>',
        format_html_join("", _ROW, ((LEFT, frame.y(at), RIGHT, frame.y(at), LEFT - 5, frame.y(at) + 4,
                                     f"{at * 100:.0f} %") for at in _fractions(frame))),
        format_html_join("", _DATE, ((frame.x(on), BOTTOM, frame.x(on), BOTTOM + 4, frame.x(on), BOTTOM + 17,
                                      f"Jan {on.year}") for on in _years(frame))),
        LEFT, BOTTOM, RIGHT, BOTTOM,
    )  # fmt: skip


_ROW: Final = (
    '<line x1="{}" y1="{}" x2="{}" y2="{}" stroke="currentColor" stroke-opacity="0.18"/>'
    '<text x="{}" y="{}" text-anchor="end">{}</text>'
)
_DATE: Final = (
    '<line x1="{}" y1="{}" x2="{}" y2="{}" stroke="currentColor"/><text x="{}" y="{}" text-anchor="middle">{}</text>'
)


def _fractions(frame: _Frame) -> Iterator[float]:
    steps = round((frame.high - frame.low) / _STEP)
    every = 1 if steps <= _FEW_STEPS else 2
    top = round(frame.high / _STEP)
    return (at * _STEP for at in range(round(frame.low / _STEP), top + 1) if (at - 10) % every == 0)


def _years(frame: _Frame) -> Iterator[date]:
    all_years = [date(year, 1, 1) for year in range(frame.first.year + 1, frame.last.year + 1)]
    every = math.ceil(len(all_years) / _MOST_DATES) or 1
    return (on for on in all_years[::every] if LEFT + 10 < frame.x(on) < RIGHT - 20)


def _fan(plot: Plot, frame: _Frame) -> SafeString:
    if not plot.stages:
        return SafeString("")
    stages = [stage for stage in plot.stages if stage.on <= frame.last]
    upper = [(frame.x(stage.on), frame.y(stage.high)) for stage in stages]
    lower = [(frame.x(stage.on), frame.y(stage.low)) for stage in reversed(stages)]
    middle = [(frame.x(stage.on), frame.y(stage.middle)) for stage in stages]
    return format_html(
        '<polygon class="battery-fan" points="{}" fill-opacity="0.16"/>'
        '<polyline class="battery-middle" points="{}" fill="none" stroke="currentColor" stroke-width="2"/>',
        _path(upper + lower), _path(middle),
    )  # fmt: skip


def _path(corners: Sequence[tuple[float, float]]) -> str:
    return " ".join(f"{x},{y}" for x, y in corners)


def _level(plot: Plot, frame: _Frame) -> SafeString:
    y = frame.y(plot.level)
    return format_html(
        '<line class="battery-level" x1="{}" y1="{}" x2="{}" y2="{}" stroke="currentColor" stroke-width="1.5"'
        ' stroke-dasharray="7 3"/><text class="battery-words" x="{}" y="{}">replace under {}</text>',
        LEFT, y, RIGHT, y, LEFT + 4, y + 13, _level_words(plot),
    )  # fmt: skip


def _level_words(plot: Plot) -> str:
    return percent(plot.level, 0 if round(plot.level * 1000) % 10 == 0 else 1)


_BAR: Final = 'fill="none" stroke="currentColor" stroke-width="2.5"'


def _crossing(plot: Plot, frame: _Frame) -> SafeString:
    """The interval of the crossing on the level line, an end open where it lies beyond the picture."""
    found = _span_of_crossing(plot, frame)
    if found is None:
        return SafeString("")
    (start, end), y = found, frame.y(plot.level)
    path = f"M{frame.x(start)} {y - 5}V{y + 5}M{frame.x(start)} {y}H{frame.x(end)}"
    closed = plot.crossing is not None and plot.crossing.late == end
    path += f"M{frame.x(end)} {y - 5}V{y + 5}" if closed else f"M{RIGHT - 5} {y - 4}L{RIGHT} {y}L{RIGHT - 5} {y + 4}"
    return format_html('<path class="battery-crossing" d="{}" {}/>', path, SafeString(_BAR))


def _span_of_crossing(plot: Plot, frame: _Frame) -> tuple[date, date] | None:
    """The days between which the interval is drawn; None when there is none or it begins beyond the picture."""
    if not plot.stages or plot.crossing is None or plot.crossing.early is None:
        return None
    start, late = max(plot.crossing.early, frame.first), plot.crossing.late
    end = late if late is not None and late <= frame.last else frame.last
    return (start, end) if start < end else None


def _days(plot: Plot, frame: _Frame) -> SafeString:
    marked = [("today", plot.today, f"today, {day(plot.today)}", "none")]
    if plot.next_visit:
        late = " is late" if plot.next_visit < plot.today else ""
        marked.append(("visit", plot.next_visit, f"visit {day(plot.next_visit)}{late}", "2 3"))
    if plot.following_visit:
        marked.append(("visit", plot.following_visit, f"then {day(plot.following_visit)}", "2 3"))
    # The later a day, the higher its words: they stand left of their line, over the shorter lines of earlier days.
    shown = sorted((each for each in marked if frame.first <= each[1] <= frame.last), key=lambda each: each[1])
    return format_html_join(
        "",
        '<line class="battery-{}" x1="{}" y1="{}" x2="{}" y2="{}" stroke="currentColor" stroke-dasharray="{}"/>'
        '<text class="battery-words" x="{}" y="{}" text-anchor="{}">{}</text>',
        (
            (name, x, y - 9, x, BOTTOM, dashes, *_beside(x, y), words)
            for (name, on, words, dashes), y in zip(shown, (TOP - 13, TOP - 28, TOP - 43), strict=False)
            for x in (frame.x(on),)
        ),
    )


def _beside(x: float, y: float) -> tuple[float, float, str]:
    """Where words stand beside a line: left of it where there is room, else right."""
    return (x - 4, y, "end") if x > LEFT + _ROOM_FOR_WORDS else (x + 4, y, "start")


def _points(plot: Plot, frame: _Frame) -> SafeString:
    return format_html_join(
        "",
        "{}{}",
        (
            (_shape(point.kind, frame.x(point.on), frame.y(point.fraction)), _word(point, frame, plot.today))
            for point in plot.points
        ),
    )


def _word(point: Point, frame: _Frame, today: date) -> SafeString:
    """The word beside a mark that must not be missed, left of it where today's line or the edge is near."""
    if point.kind not in _BESIDE:
        return SafeString("")
    x, y = frame.x(point.on), frame.y(point.fraction)
    left = min(RIGHT, frame.x(today)) - _ROOM_FOR_A_WORD < x
    return format_html(
        '<text class="battery-words" x="{}" y="{}" text-anchor="{}" font-size="10">{}</text>',
        x - 8 if left else x + 8, y + 4, "end" if left else "start", _BESIDE[point.kind],
    )  # fmt: skip


def _shape(kind: Kind, x: float, y: float) -> SafeString:
    return format_html(
        '<path class="battery-point battery-{0}" d="{1}" transform="translate({2} {3})" fill="{4}"'
        ' stroke="currentColor" stroke-width="1.6"/>',
        kind.value, _SHAPES[kind], x, y, "currentColor" if kind is Kind.FULL else "none",
    )  # fmt: skip
