"""The page of the bench's turnaround, its figure, and what came of repairs."""

import re
from datetime import date

import pytest
from django.urls import reverse

from fleet.core.due import months_between
from fleet.core.orders import Outcome
from fleet.people.models import Person
from fleet.reports.forms import TurnaroundForm
from fleet.reports.queries import outcomes
from fleet.web import bars as figure
from fleet.web import clock
from fleet.web.bars import HEIGHT, Bar, bars, height_of
from tests.bench.builders import finish, received, work
from tests.bench.test_turnaround import a_repair
from tests.builders import a_device
from tests.reports.builders import signed_in, words

PAGE = "/reports/turnaround/"
MARCH = {"first": "2026-03-01", "last": "2026-03-31"}


@pytest.mark.django_db
def test_the_page_tells_medians_and_leads_to_the_orders(technician: Person, manager: Person) -> None:
    """Days, minutes and waiting stand apart; the number of orders leads to as many orders."""
    for days, minutes in ((2, 20), (4, 50), (9, 0)):
        a_repair(technician, days, minutes=minutes)
    client = signed_in(manager)
    answer = client.get(PAGE, MARCH)
    assert answer.context["overall"].days == 4
    assert answer.context["overall"].minutes == 35
    assert "1 of these orders has no minutes on record" in words(manager, PAGE, **MARCH)
    behind = client.get(answer.context["all_orders"]).context["table"]
    assert len(list(behind.paginated_rows)) == answer.context["overall"].orders == 3


@pytest.mark.django_db
def test_each_row_leads_to_its_orders(technician: Person, manager: Person) -> None:
    """Behind a site, a type and a month stand exactly the orders it counts."""
    a_repair(technician, 2)
    a_repair(technician, 40)
    client = signed_in(manager)
    shown = client.get(PAGE, {"first": "2026-02-15", "last": "2026-04-30"}).context
    rows = [row for _, _, part in shown["parts"] for row in part] + [row for _, _, row in shown["months"] if row]
    assert [row["orders"] for row in rows] == [2, 2, 1, 1]
    for row in rows:
        assert len(list(client.get(row["url"]).context["table"].paginated_rows)) == row["orders"]


@pytest.mark.django_db
def test_no_fault_found_is_counted_over_repairs_only(technician: Person, manager: Person) -> None:
    """Four repairs, one without a fault: 25 %, whatever planned work found. 15 of 60 is the published worked number."""
    found = [Outcome.NO_FAULT_FOUND, Outcome.REPAIRED, Outcome.USE_RELATED, Outcome.DAMAGE]
    for outcome in found:
        finish(work(received(a_device(), technician, kind="corrective"), technician), technician, outcome)
    finish(work(received(a_device(), technician, kind="planned"), technician), technician, Outcome.NO_FAULT_FOUND)
    counted = outcomes(clock.today(), clock.today(), manager)
    assert (counted.orders, counted.share(Outcome.NO_FAULT_FOUND)) == (4, 1 / 4)
    page = words(manager, PAGE)
    assert "4 repairs" in page
    assert "25.0 %" in page


@pytest.mark.django_db
def test_a_period_without_repairs_says_so(manager: Person) -> None:
    """Neither nought nor a hundred per cent of nothing."""
    page = words(manager, PAGE, **MARCH)
    assert "No order was finished in this period." in page
    assert "no repair" in page


@pytest.mark.django_db
def test_the_outsider_counts_no_order(technician: Person, outsider: Person) -> None:
    """Another site's manager sees none of these orders."""
    a_repair(technician, 2)
    assert signed_in(outsider).get(PAGE, MARCH).context["overall"].orders == 0


@pytest.mark.django_db
def test_a_period_that_holds_nothing_is_refused(manager: Person) -> None:
    """A last day before the first is an error beside the field, and the usual period is shown."""
    page = words(manager, PAGE, first="2026-03-31", last="2026-03-01")
    assert "Give the first day, or a later one." in page


def test_a_period_of_ages_is_refused() -> None:
    """Five years at most."""
    form = TurnaroundForm({"first": "2001-01-01", "last": "2026-01-01"})
    assert form.errors["last"] == ["Ask for five years at most."]


def test_months_between_are_whole_and_in_order() -> None:
    """Each month that the period touches, once, over the year's end."""
    assert months_between(date(2026, 11, 30), date(2027, 1, 1)) == [
        date(2026, 11, 1),
        date(2026, 12, 1),
        date(2027, 1, 1),
    ]


def test_bars_are_as_high_as_their_values() -> None:
    """Half the value is half the height; the highest leaves room for its number; no value has no height."""
    assert height_of(2, 4) == pytest.approx(height_of(4, 4) / 2)
    assert height_of(4, 4) < HEIGHT
    assert (height_of(None, 4), height_of(0, 0)) == (0, 0)


def test_the_figure_says_each_number_and_a_dash_for_none() -> None:
    """A month without an order is no month of nought days."""
    drawn = bars([Bar("Jan", 2.25), Bar("Feb", None), Bar("Mar", 0)], "Median days", "days")
    assert re.findall(r"<text[^>]*>([^<]*)</text>", drawn) == ["2.2", "Jan", figure.NO_VALUE, "Feb", "0", "Mar"]
    assert 'aria-label="Median days, days"' in drawn
    assert "style=" not in drawn


def test_a_figure_of_nothing_is_still_a_figure() -> None:
    """Without a bar there is the base line and no division by nought."""
    assert "<line" in bars([], "Median days", "days")


def test_a_name_cannot_smuggle_markup() -> None:
    """What is written into the figure is escaped."""
    assert "<script>" not in bars([Bar("<script>", 1)], "x", "days")


@pytest.mark.django_db
def test_turnaround_is_for_who_sees_reports(ward_nurse: Person, storekeeper: Person) -> None:
    """Neither ward nor store reads it."""
    for person in (ward_nurse, storekeeper):
        assert signed_in(person).get(reverse("reports:turnaround")).status_code == 403
