"""What every page says the same way: identifiers, dates, numbers and marks. `{% load house %}`."""

from datetime import date, datetime
from decimal import Decimal

from django import template
from django.core.paginator import Page
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString

from fleet.web import marks, phrases

register = template.Library()


@register.simple_tag
def ident(value: object, *, copy: bool = True) -> SafeString:
    """Show an identifier in the fixed-width face, with a button that copies it unless `copy=False`."""
    if value in (None, ""):
        return format_html('<span class="soft">{}</span>', phrases.NOT_KNOWN)
    if not copy:
        return format_html('<span class="ident">{}</span>', value)
    return format_html(
        '<span class="ident-copy"><span class="ident">{0}</span><button class="copy" type="button" data-copy="{0}"'
        ' aria-label="Copy {0}"><svg class="mark" aria-hidden="true"><use href="#mark-copy"/></svg></button></span>',
        value,
    )


@register.simple_tag
def condition(value: str, detail: str = "") -> SafeString:
    """Show a driver's condition: its shape, its word and, after a colon, what it waits for."""
    return marks.condition_mark(value, detail)


@register.simple_tag
def mark(shape: str, words: str = "") -> SafeString:
    """Show one of `fleet.web.marks.SHAPES` with its word, or with `words` instead."""
    return marks.mark(shape, words)


@register.filter
def day(value: date | None) -> str:
    """Say a date, or the local date of an instant: `14 Mar 2027`."""
    return phrases.day(_local(value)) if value else phrases.NOT_KNOWN


@register.filter
def moment(value: datetime | None) -> str:
    """Say an instant in local time: `14 Mar 2027 09:12`."""
    return phrases.moment(timezone.localtime(value)) if value else phrases.NOT_KNOWN


@register.filter
def ago(value: date | None) -> str:
    """Say how far a date or an instant is from now: `in 3 weeks`, `2 days ago`, `5 minutes ago`."""
    if value is None:
        return phrases.NOT_KNOWN
    if isinstance(value, datetime):
        return phrases.moment_ago(value, timezone.localtime())
    return phrases.ago(value, timezone.localdate())


@register.filter
def day_ago(value: date | None) -> SafeString:
    """Show a date with its distance beside it: `14 Mar 2027, in 3 weeks`; the page keeps the distance fresh."""
    return _with_distance(value, day(value))


@register.filter
def moment_ago(value: datetime | None) -> SafeString:
    """Show an instant with its distance beside it: `14 Mar 2027 09:12, 5 minutes ago`."""
    return _with_distance(value, moment(value))


@register.filter
def quantity(value: float | Decimal | None, unit: str = "") -> SafeString:
    """Show a number with its unit, never broken over a line: `{{ rate|quantity:"mL/h" }}`."""
    return format_html('<span class="quantity">{}</span>', phrases.quantity(value, unit))


@register.filter
def percent(value: float | Decimal | None, decimals: int = 1) -> SafeString:
    """Show a fraction in percent; 0.9996 is 99.9 %, never 100 %."""
    return format_html('<span class="quantity">{}</span>', phrases.percent(value, decimals))


@register.filter
def showing(page: Page[object]) -> str:
    """Say which rows a page holds: `Showing 1-25 of 600`; without the total where the paginator doesn't count."""
    first = (page.number - 1) * page.paginator.per_page + 1
    last = first + len(page.object_list) - 1
    try:
        return f"Showing {first}\u2013{last} of {page.paginator.count}"
    except NotImplementedError:
        return f"Showing {first}\u2013{last}" + (", and more" if page.has_next() else f" of {last}")


@register.simple_tag(takes_context=True)
def page_url(context: template.Context, field: str, number: int) -> str:
    """Address this page's query string with `field` set to another page number."""
    query = context["request"].GET.copy()
    query[field] = str(number)
    return f"?{query.urlencode()}"


def _local(value: date) -> date:
    return timezone.localtime(value).date() if isinstance(value, datetime) else value


def _with_distance(value: date | None, words: str) -> SafeString:
    if value is None:
        return format_html('<span class="soft">{}</span>', words)
    return format_html(
        '<time datetime="{0}">{1}</time> <span class="soft distance" data-ago="{0}">{2}</span>',
        value.isoformat(),
        words,
        ago(value),
    )
