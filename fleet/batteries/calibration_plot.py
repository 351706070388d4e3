"""What was said against how often it came true, drawn as SVG.

A pure function of plain data. One column a range of chances: a dash at the chance that was said, a mark at the share
that came true, and a bar over the range that this share may have by chance alone. A second mark beside it is the
corrected forecast. Presentation attributes and classes only, because the content policy allows no inline style.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

WIDTH: Final = 400
HEIGHT: Final = 300
LEFT, RIGHT, TOP, BOTTOM = 44, 394, 12, 232
_STEPS: Final = (0, 20, 40, 60, 80, 100)
#: Around the middle of a column: half the width of the dash, and where the marks before and after correction stand.
_DASH: Final = 0.42
_APART: Final = 0.17
#: Each mark around (0, 0): a dot, and a diamond for the corrected.
_DOT: Final = "M-4.5 0A4.5 4.5 0 1 1 4.5 0A4.5 4.5 0 1 1 -4.5 0Z"
_DIAMOND: Final = "M0 -5.5L5.5 0L0 5.5L-5.5 0Z"


@dataclass(frozen=True, slots=True)
class Column:
    """Forecasts that said a chance from `low` to `high`: their number and mean, the share that came, and its range."""

    low: float
    high: float
    count: int
    said: float
    came: float
    least: float
    most: float


@dataclass(frozen=True, slots=True)
class Plot:
    """The columns before correction and after it; without `after` nothing was corrected. `key` names the figure."""

    key: str
    before: Sequence[Column]
    after: Sequence[Column] = ()


@dataclass(frozen=True, slots=True)
class _Row:
    """One set of marks: its columns, how far beside the middle it stands, its shape and its class."""

    columns: Sequence[Column]
    beside: float
    shape: str
    name: str


def draw(plot: Plot) -> SafeString:
    """Draw the figure; its words for those who do not see it are in `title` and `desc`."""
    places = _places(plot)
    return format_html(
        '<svg class="plot battery-plot battery-calibration" viewBox="0 0 {} {}" role="img"'
        ' aria-labelledby="{}-title {}-desc" font-size="12" fill="currentColor">'
        '<title id="{}-title">What was said, and what came true</title><desc id="{}-desc">{}</desc>{}{}{}</svg>',
        WIDTH, HEIGHT, plot.key, plot.key, plot.key, plot.key, _told(plot),
        _axes(), _names(plot, places), format_html_join("", "{}", ((_marks(row, places),) for row in _rows(plot))),
    )  # fmt: skip


def legend(plot: Plot) -> list[tuple[SafeString, str]]:
    """Give each sign of the figure with its words."""
    said = SafeString('<path d="M-6 0H6" stroke="currentColor" stroke-width="2.5"/>')
    signs = [(said, "What was said"), (_mark(_DOT, "battery-came"), "How often it came true")]
    if plot.after:
        signs.append((_mark(_DIAMOND, "battery-corrected"), "The same for the corrected forecast"))
    key = '<svg class="battery-key" viewBox="-7 -7 14 14" width="14" height="14" aria-hidden="true">{}</svg>'
    return [(format_html(key, sign), words) for sign, words in signs]


def _rows(plot: Plot) -> list[_Row]:
    if not plot.after:
        return [_Row(plot.before, 0.0, _DOT, "battery-came")]
    before = _Row(plot.before, -_APART, _DOT, "battery-came")
    return [before, _Row(plot.after, _APART, _DIAMOND, "battery-corrected")]


def _places(plot: Plot) -> dict[float, float]:
    """The middle of the column of each range, by the range's lower end."""
    lows = sorted({column.low for column in (*plot.before, *plot.after)})
    return {low: LEFT + (RIGHT - LEFT) * (at + 0.5) / len(lows) for at, low in enumerate(lows)}


def _told(plot: Plot) -> str:
    parts = [
        f"{_range(column)} % said: {round(column.came * 100)} % of {column.count} came true" for column in plot.before
    ]
    return "; ".join(parts) + ". The numbers stand in the table below."


def _axes() -> SafeString:
    row = (
        '<line x1="{}" y1="{}" x2="{}" y2="{}" stroke="currentColor" stroke-opacity="0.18"/>'
        '<text x="{}" y="{}" text-anchor="end">{} %</text>'
    )
    rows = ((LEFT, _y(at / 100), RIGHT, _y(at / 100), LEFT - 6, _y(at / 100) + 4, at) for at in _STEPS)
    return format_html(
        '<g class="battery-axes">{}<text x="{}" y="{}" text-anchor="middle">Chance that was said, %, and forecasts'
        "</text></g>",
        format_html_join("", row, rows), (LEFT + RIGHT) / 2, HEIGHT - 4,
    )  # fmt: skip


def _names(plot: Plot, places: dict[float, float]) -> SafeString:
    """The range of each column, with the number of forecasts (before correction) below."""
    counts = {column.low: column.count for column in plot.before}
    ends = {column.low: _range(column) for column in (*plot.before, *plot.after)}
    name = (
        '<text x="{0}" y="{1}" text-anchor="middle">{2}</text>'
        '<text class="battery-count" x="{0}" y="{3}" text-anchor="middle">{4}</text>'
    )
    each = ((round(x, 1), BOTTOM + 18, ends[low], BOTTOM + 36, counts.get(low, 0)) for low, x in places.items())
    return format_html_join("", name, each)


def _range(column: Column) -> str:
    return f"{round(column.low * 100)}\u2013{round(column.high * 100)}"


def _marks(row: _Row, places: dict[float, float]) -> SafeString:
    return format_html('<g class="{}">{}</g>', row.name, format_html_join("", "{}", _each(row, places)))


def _each(row: _Row, places: dict[float, float]) -> Iterator[tuple[SafeString]]:
    width = (RIGHT - LEFT) / len(places)
    half = width * (_DASH if row.beside == 0 else _APART * 0.8)
    for column in row.columns:
        x = round(places[column.low] + row.beside * width, 1)
        said = (
            '<line class="battery-said" x1="{}" y1="{}" x2="{}" y2="{}" stroke="currentColor" stroke-width="2.5"/>'
            '<line x1="{}" y1="{}" x2="{}" y2="{}" stroke="currentColor" stroke-width="1.5"/>'
            '<g transform="translate({} {})">{}</g>'
        )
        dash = (round(x - half, 1), _y(column.said), round(x + half, 1), _y(column.said))
        bar = (x, _y(column.least), x, _y(column.most))
        yield (format_html(said, *dash, *bar, x, _y(column.came), _mark(row.shape, "battery-mark")),)


def _mark(shape: str, name: str) -> SafeString:
    return format_html('<path class="{}" d="{}" stroke="currentColor"/>', name, shape)


def _y(share: float) -> float:
    return round(BOTTOM - (BOTTOM - TOP) * min(max(share, 0.0), 1.0), 1)
