"""The stock of a part over time as a small step line in SVG: numbers in, markup out."""

from collections.abc import Sequence
from typing import Final

from django.utils.html import format_html
from django.utils.safestring import SafeString

from fleet.stores.queries import Line
from fleet.web.phrases import day

WIDTH: Final = 640
HEIGHT: Final = 180
_LEFT, _RIGHT, _TOP, _BOTTOM = 40, 12, 16, 30
_TYPE: Final = 16


def stock_plot(lines: Sequence[Line], minimum: int, name: str) -> SafeString:
    """Draw what lay in stock from the first day to the last, with the minimum as a dashed line; the axis from nought.

    `lines` as `stock_history` gives them: at least two, by day, the quantity at the end of each.
    """
    first, last = lines[0].on, lines[-1].on
    top = max(1, minimum, *(line.quantity for line in lines))
    label = f"Stock of {name} from {day(first)} to {day(last)}: {lines[0].quantity} at first, {lines[-1].quantity} now"
    return format_html(
        '<svg class="plot" viewBox="0 0 {w} {h}" role="img" aria-label="{label}" font-size="{type}" '
        'fill="currentColor">'
        '<line x1="{left}" x2="{right}" y1="{base}" y2="{base}" stroke="currentColor"/>'
        '<text x="{axis}" y="{base}" text-anchor="end">0</text>'
        '<text x="{axis}" y="{peak}" text-anchor="end" dominant-baseline="middle">{top}</text>'
        '{minimum}<path d="{path}" fill="none" stroke="currentColor" stroke-width="2.5"/>'
        '<text x="{left}" y="{foot}">{first}</text><text x="{right}" y="{foot}" text-anchor="end">{last}</text></svg>',
        w=WIDTH,
        h=HEIGHT,
        label=label,
        type=_TYPE,
        left=_LEFT,
        right=WIDTH - _RIGHT,
        base=HEIGHT - _BOTTOM,
        axis=_LEFT - 6,
        peak=_TOP,
        top=top,
        minimum=_minimum(minimum, top),
        path=_steps(lines, top),
        foot=HEIGHT - 8,
        first=day(first),
        last=day(last),
    )


def _minimum(minimum: int, top: int) -> SafeString:
    if not minimum:
        return SafeString()
    at = _up(minimum, top)
    return format_html(
        '<line x1="{}" x2="{}" y1="{}" y2="{}" stroke="currentColor" stroke-dasharray="6 5"/>'
        '<text x="{}" y="{}" text-anchor="end">at least {}</text>',
        _LEFT,
        WIDTH - _RIGHT,
        at,
        at,
        WIDTH - _RIGHT,
        f"{_up(minimum, top) - 5:.1f}",
        minimum,
    )


def _steps(lines: Sequence[Line], top: int) -> str:
    """The path: level until the day of a change, then up or down."""
    whole = max((lines[-1].on - lines[0].on).days, 1)
    across = [_LEFT + (line.on - lines[0].on).days / whole * (WIDTH - _LEFT - _RIGHT) for line in lines]
    moves = [f"M{across[0]:.1f},{_up(lines[0].quantity, top)}"]
    for x, line in zip(across[1:], lines[1:], strict=True):
        moves.append(f"H{x:.1f}V{_up(line.quantity, top)}")
    return "".join(moves)


def _up(quantity: int, top: int) -> float:
    return round(HEIGHT - _BOTTOM - quantity / top * (HEIGHT - _TOP - _BOTTOM), 1)
