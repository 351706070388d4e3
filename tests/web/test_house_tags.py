"""The parts of a page say what they must, escape what they are given and take only what they are given."""

import re
from datetime import UTC, date, datetime

import django_tables2 as tables
import pytest
from django import forms
from django.core.paginator import Paginator
from django.template import Context, Template
from django.test import RequestFactory

from fleet.core.lifecycle import Condition
from fleet.web import clock, marks
from fleet.web.paging import COUNTED, CappedPaginator

NOW = datetime(2027, 3, 14, 9, 12, tzinfo=UTC)


def shown(source: str, query: str = "", **context: object) -> str:
    """The text a template renders to, with the white space of the source closed up."""
    request = RequestFactory().get(f"/?{query}")
    page = Template("{% load house django_tables2 %}" + source).render(Context({"request": request, **context}))
    return re.sub(r"\s+", " ", page.replace("\u00a0", " ")).strip()


class Report(forms.Form):
    """A form with each kind of field a page shows."""

    what = forms.ChoiceField(
        label="What happened?", choices=[("a", "Stopped"), ("b", "Fell")], widget=forms.RadioSelect
    )
    rate = forms.DecimalField(label="Rate", help_text="As set.")
    words = forms.CharField(label="In your words", required=False)


class Drivers(tables.Table):
    """A list with a word and a number in each row."""

    asset = tables.Column()
    hours = tables.Column(attrs={"cell": {"class": "number"}})

    class Meta:
        empty_text = "No driver is late."


def drivers(count: int, query: str = "", *, lazy: bool = False) -> str:
    table = Drivers([{"asset": f"D-{i:03}", "hours": i} for i in range(count)])
    request = RequestFactory().get(f"/?{query}")
    tables.RequestConfig(
        request, paginate={"per_page": 25, "paginator_class": CappedPaginator if lazy else Paginator}
    ).configure(table)
    return shown("{% render_table table %}", query, table=table)


@pytest.mark.parametrize("condition", Condition)
def test_a_condition_is_a_word_and_a_shape(condition: Condition) -> None:
    """Each condition shows its word, and a shape that a colour-blind reader can tell."""
    page = shown("{% condition c %}", c=condition.value)
    assert condition.label in page
    assert f"#mark-{marks.CONDITION_SHAPES[condition]}" in page


def test_a_waiting_driver_says_what_for() -> None:
    """The reason for waiting stands after the word."""
    assert "Waiting: the maker" in shown("{% condition c 'the maker' %}", c="waiting")


def test_a_mark_that_does_not_exist_is_refused() -> None:
    """A page that misspells a mark fails in its test instead of showing nothing."""
    with pytest.raises(KeyError, match="quarantined"):
        marks.mark("quarantined")


def test_an_identifier_is_escaped_and_can_be_copied() -> None:
    """What came from a scanner is shown as text, never as markup, and the copy is the identifier itself."""
    page = shown("{% ident x %}", x='<b>"1"')
    assert "<b>" not in page
    assert 'data-copy="&lt;b&gt;&quot;1&quot;"' in page
    assert "button" not in shown("{% ident x copy=False %}", x="SD-1")
    assert "not known" in shown("{% ident x %}", x="")


def test_a_long_identifier_breaks_before_its_brackets() -> None:
    """A UDI may break between its elements; its text, once the break hints are gone, is unchanged."""
    page = shown("{% ident x copy=False %}", x="(01)09506000134352(21)H700182B")
    assert "352<wbr>(21)" in page
    assert re.sub(r"<[^>]+>", "", page) == "(01)09506000134352(21)H700182B"


def test_a_date_stands_with_its_distance() -> None:
    """The date and how far off it is stand together, and the script can keep the distance fresh."""
    with clock.at(NOW):
        page = shown(
            "{{ d|day_ago }} {{ dt|moment_ago }}", d=date(2027, 4, 4), dt=datetime(2027, 3, 14, 9, 7, tzinfo=UTC)
        )
        assert shown("{{ d|day_ago }}", d=None) == '<span class="soft">not known</span>'
    assert (
        '<time datetime="2027-04-04">4 Apr 2027</time>, <span class="soft distance" data-ago="2027-04-04">in 3 weeks'
        in page
    )
    assert ">5 minutes ago<" in page


def test_a_part_takes_only_what_it_is_given() -> None:
    """A variable of the page that is named like a part's own never slips into it."""
    page = shown('{% caution "Stop" %}{% stat 3 "late" %}', lines=["leak"], kind="harm", unit="leak", url="/leak")
    assert "leak" not in page
    assert "caution-harm" not in page


def test_a_field_names_its_hint_and_its_error() -> None:
    """Hint and error are tied to the control by id, so that a screen reader says them with it."""
    form = Report({"rate": "five"})
    page = shown('{% field form.rate unit="mL/h" %}', form=form)
    (described,) = re.findall(r'aria-describedby="([^"]+)"', page)
    assert all(f'id="{name}"' in page for name in described.split())
    assert "mL/h" in page
    assert "(if known)" in shown("{% field form.words %}", form=form)


def test_choices_are_cards_that_number_keys_pick() -> None:
    """Radio choices are labels big enough for a glove; with keys each carries its number."""
    page = shown("{% field form.what keys=True %}", form=Report())
    assert page.count('class="choice"') == 2
    assert 'data-key="2"' in page
    assert "data-key" not in shown("{% field form.what %}", form=Report())


def test_the_summary_of_errors_leads_to_each_field() -> None:
    """Every link in the summary of a refused form points at an id that its field carries."""
    form = Report({"rate": "five"})
    page = shown("{% form_errors form %}{% for field in form %}{% field field %}{% endfor %}", form=form)
    targets = re.findall(r'href="#([^"]+)"', page)
    assert len(targets) == 2
    assert all(f'id="{target}"' in page for target in targets)


def test_a_table_says_how_many_and_labels_its_cells() -> None:
    """A list says which rows of how many it shows, and each cell knows its heading for the card it becomes."""
    page = drivers(60, "page=2")
    assert "Showing 26\u201350 of 60" in page
    assert '<td data-label="Asset">D-025</td>' in page
    assert '<td data-label="Hours" class="number">25</td>' in page


def test_a_long_table_is_counted_no_further_than_it_pays() -> None:
    """A list says how many there are up to the cap, and "more than" above it; each page leads on."""
    assert "Showing 1\u201325 of 60" in drivers(60, lazy=True)
    assert "Showing 51\u201360 of 60" in drivers(60, "page=3", lazy=True)
    assert f"Showing 1\u201325 of {COUNTED}" in drivers(COUNTED, lazy=True)
    assert f"Showing 1\u201325 of more than {COUNTED}" in drivers(COUNTED + 1, lazy=True)


def test_sorting_is_announced_and_starts_at_the_first_page() -> None:
    """The sorted column says so to a screen reader, and sorting anew leaves the page number behind."""
    page = drivers(60, "sort=-hours&page=2")
    assert 'aria-sort="descending"' in page
    assert "D-034" in page
    assert all("page=" not in href for href in re.findall(r'<th[^>]*><a href="([^"]+)"', page))


def test_an_empty_table_says_so() -> None:
    """No rows: the words for it, and no bare table head."""
    page = drivers(0)
    assert "No driver is late." in page
    assert "<table" not in page
