"""What every page says the same way: identifiers, dates, numbers and marks. `{% load house %}`."""

from collections.abc import Iterable
from datetime import date, datetime, time
from decimal import Decimal

from django import template
from django.core.paginator import Page
from django.forms import BaseForm, BoundField
from django.utils import timezone
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from fleet.web import clock, marks, phrases
from fleet.web.forms import word_empty_choice
from fleet.web.paging import counted

register = template.Library()


#: Past this length an identifier (a UDI) may break over lines; a shorter one never does.
_LONG = 20


@register.simple_tag
def ident(value: object, *, copy: bool = True) -> SafeString:
    """Show an identifier in the fixed-width face, with a button that copies it unless `copy=False`."""
    if value in (None, ""):
        return format_html('<span class="soft">{}</span>', phrases.NOT_KNOWN)
    text = str(value)
    shown = _long_ident(text) if len(text) > _LONG else format_html('<span class="ident">{}</span>', text)
    if not copy:
        return shown
    return format_html(
        '<span class="ident-copy">{0}<button class="copy" type="button" data-copy="{1}" aria-label="Copy {1}">'
        '<svg class="mark" aria-hidden="true"><use href="#mark-copy"/></svg></button></span>',
        shown,
        text,
    )


@register.simple_tag
def condition(value: str, detail: str = "") -> SafeString:
    """Show a driver's condition: its shape, its word and, after a colon, what it waits for."""
    return marks.condition_mark(value, detail)


@register.simple_tag
def training(pool: str) -> SafeString:
    """Mark a driver of the training pool wherever it is named; nothing for any other."""
    return marks.training_mark(pool)


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
def later(entered: datetime | None, done: date | None) -> str:
    """Say how long after it was done it was entered, from a day on: `{{ row.entered_at|later:row.done_on }}`.

    Done on a day without an hour counts from that day's end.
    """
    if entered is None or done is None:
        return ""
    if isinstance(done, datetime):
        return phrases.later(done, entered)
    return phrases.later(timezone.make_aware(datetime.combine(done, time.max)), entered)


@register.filter
def ago(value: date | None) -> str:
    """Say how far a date or an instant is from now: `in 3 weeks`, `2 days ago`, `5 minutes ago`."""
    if value is None:
        return phrases.NOT_KNOWN
    if isinstance(value, datetime):
        return phrases.moment_ago(value, timezone.localtime(clock.now()))
    return phrases.ago(value, clock.today())


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
    """Say which rows a page holds, and of how many: `Showing 1-25 of 600`, `of more than 1000`."""
    first = (page.number - 1) * page.paginator.per_page + 1
    last = first + len(page.object_list) - 1
    return f"Showing {first}\u2013{last} of {counted(page)}"


@register.inclusion_tag("partials/caution.html")
def caution(title: str, lines: Iterable[str] = (), text: str = "", kind: str = "") -> dict[str, object]:
    """Warn before the action it concerns; `kind` is "harm" (harm and quarantine only), "late" or nothing."""
    return {"title": title, "lines": lines, "text": text, "kind": kind}


@register.inclusion_tag("partials/nothing.html")
def nothing(says: str, hint: str = "", url: str = "", label: str = "") -> dict[str, object]:
    """Stand where a list would: how many of what (none), what fills it, and a way on."""
    return {"says": says, "hint": hint, "url": url, "label": label}


@register.inclusion_tag("partials/stat.html")
def stat(number: object, label: str, unit: str = "", url: str = "", kind: str = "") -> dict[str, object]:
    """Show one number that leads to the rows behind it; `kind` is "late", "harm" or nothing."""
    return {"number": number, "label": label, "unit": unit, "url": url, "kind": kind}


@register.inclusion_tag("partials/progress.html")
def progress(label: str, done: int, total: int) -> dict[str, object]:
    """Show how much of something is done, as a bar and in numbers."""
    return {"label": label, "done": done, "total": total}


@register.inclusion_tag("partials/field.html")
def field(field: BoundField, unit: str = "", *, keys: bool = False, key: str = "") -> dict[str, object]:
    """Show one form field with its label, hint, errors and unit.

    `keys` lets number keys pick the choices, `key` is a letter that leads to the field.
    """
    word_empty_choice(field.field)
    return {"field": field, "unit": unit, "keys": keys, "key": key}


@register.inclusion_tag("partials/form_errors.html")
def form_errors(form: BaseForm) -> dict[str, object]:
    """Sum up what is wrong with a form, with a link to each field; nothing when nothing is."""
    return {"form": form}


@register.inclusion_tag("partials/facts.html")
def facts(pairs: Iterable[tuple[str, object]]) -> dict[str, object]:
    """List names with their values."""
    return {"facts": pairs}


@register.inclusion_tag("partials/timeline.html")
def timeline(entries: Iterable[object]) -> dict[str, object]:
    """List entries, newest first: each has `at`, `title`, `text`, `who` and `late_by` (words, or empty)."""
    return {"entries": entries}


@register.inclusion_tag("partials/crumbs.html")
def crumbs(above: Iterable[tuple[str, str]], here: str) -> dict[str, object]:
    """Show where a page is: pairs of label and address from the top, then this page's own label."""
    return {"crumbs": above, "here": here}


@register.inclusion_tag("partials/tabs.html")
def tabs(tabs: Iterable[object], name: str) -> dict[str, object]:
    """Show links between sister pages: each has `label`, `url`, `current` and `count` (or None)."""
    return {"tabs": tabs, "name": name}


@register.inclusion_tag("partials/filters.html")
def filters(form: BaseForm, clear: str = "") -> dict[str, object]:
    """Show a form that narrows a list by GET; `clear` is where "Show all" leads."""
    return {"form": form, "clear": clear}


@register.inclusion_tag("partials/pager.html", takes_context=True)
def pager(context: template.Context, page: Page[object], field: str = "page") -> dict[str, object]:
    """Say which rows a page shows and link to the rows before and after it; works without a count."""
    return {"page": page, "field": field, "request": context["request"]}


@register.simple_tag(takes_context=True)
def page_url(context: template.Context, field: str, number: int) -> str:
    """Address this page's query string with `field` set to another page number."""
    query = context["request"].GET.copy()
    query[field] = str(number)
    return f"?{query.urlencode()}"


def _long_ident(text: str) -> SafeString:
    # A UDI is read element by element, so it breaks before each opening bracket first.
    broken = format_html_join(SafeString("<wbr>("), "{}", ((part,) for part in text.split("(")))
    return format_html('<span class="ident ident-long">{}</span>', broken)


def _local(value: date) -> date:
    return timezone.localtime(value).date() if isinstance(value, datetime) else value


def _with_distance(value: date | None, words: str) -> SafeString:
    if value is None:
        return format_html('<span class="soft">{}</span>', words)
    return format_html(
        '<time datetime="{0}">{1}</time>, <span class="soft distance" data-ago="{0}">{2}</span>',
        value.isoformat(),
        words,
        ago(value),
    )
