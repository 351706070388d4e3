"""Small plots as SVG text, built here so that no page needs a script for them. Pure: numbers in, markup out."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from fleet.web import phrases

WIDTH: Final = 640
HEIGHT: Final = 240
#: Room for the numbers above the highest bar, and for the names below the base line.
_ABOVE: Final = 34
_BELOW: Final = 34
#: Stands where there is no value, which is not nought.
NO_VALUE: Final = "—"
_GAP: Final = 0.25
_TYPE: Final = 20


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar: the name below it and its height; None for a bar that has no value, which is not a value of nought.

    `says` stands above it instead of its height, where that must not be rounded.
    """

    name: str
    value: float | None
    says: str = ""


def bars(each: Sequence[Bar], label: str, unit: str, top: float = 0.0) -> SafeString:
    """Draw bars side by side from nought, each with its number; `label` says in words what they show.

    `top`: the height that fills the figure, where the highest bar should not.

    The number above a bar has as many decimals as its table has; a bar without a value is a gap with a dash.
    """
    step = WIDTH / max(len(each), 1)
    top = top or max((bar.value for bar in each if bar.value is not None and math.isfinite(bar.value)), default=0.0)
    drawn = format_html_join(
        "", "{}", ((_bar(bar, (place + 0.5) * step, step * (1 - _GAP), top),) for place, bar in enumerate(each))
    )
    return format_html(
        '<svg class="plot" viewBox="0 0 {w} {h}" role="img" aria-label="{label}, {unit}" font-size="{type}" '
        'text-anchor="middle" fill="currentColor">{drawn}'
        '<line x1="0" x2="{w}" y1="{base}" y2="{base}" stroke="currentColor" stroke-width="2"/></svg>',
        w=WIDTH,
        h=HEIGHT,
        label=label,
        unit=unit,
        type=_TYPE,
        drawn=drawn,
        base=HEIGHT - _BELOW,
    )


def _bar(bar: Bar, middle: float, width: float, top: float) -> SafeString:
    base = HEIGHT - _BELOW
    tall = height_of(bar.value, top)
    return format_html(
        '<rect x="{x}" y="{y}" width="{w}" height="{tall}" fill-opacity="0.35" stroke="currentColor"/>'
        '<text x="{middle}" y="{number}">{value}</text><text x="{middle}" y="{name_at}">{name}</text>',
        x=f"{middle - width / 2:.1f}",
        y=f"{base - tall:.1f}",
        w=f"{width:.1f}",
        tall=f"{tall:.1f}",
        middle=f"{middle:.1f}",
        number=f"{base - tall - 8:.1f}",
        value=bar.says or one_decimal(bar.value),
        name_at=f"{HEIGHT - 10}",
        name=bar.name,
    )


def height_of(value: float | None, top: float) -> float:
    """The height of a bar in the figure's units: in proportion to the highest, `top`; nought for no value."""
    if value is None or top <= 0:
        return 0.0
    return (HEIGHT - _ABOVE - _BELOW) * value / top


def one_decimal(value: float | None) -> str:
    """A number with at most one decimal: "2.5", "12"; a dash for none."""
    return NO_VALUE if value is None else phrases.quantity(round(value, 1))
