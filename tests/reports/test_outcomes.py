"""The page that says what reported faults came to, by ward, by type and in codes."""

from datetime import timedelta

import pytest

from fleet.core.errors import BadValueError
from fleet.core.orders import Outcome
from fleet.people.models import Person
from fleet.reports.queries import repairs
from fleet.web import clock
from tests.bench.builders import finish, received, work
from tests.builders import a_device, a_ward
from tests.reports.builders import file_rows, signed_in, words

pytestmark = pytest.mark.django_db

PAGE = "/reports/outcomes/"


def repaired(person: Person, outcome: Outcome, **facts: object) -> None:
    """A repair of a new driver that ends so today; `home` says whose it is."""
    home = facts.pop("home", None)
    device = a_device(home=home) if home else a_device()
    finish(work(received(device, person, kind="corrective"), person), person, outcome, **facts)


def test_use_related_repairs_are_told_by_ward(technician: Person, manager: Person) -> None:
    """Of three repairs of one ward one was use-related, of of another none; each number leads to its orders."""
    here, there = a_ward(name="Ward A"), a_ward(name="Ward B")
    repaired(technician, Outcome.USE_RELATED, home=here, cause_kind="handling", cause="Wrong size confirmed")
    repaired(technician, Outcome.REPAIRED, home=here, found="drive", cause_kind="wear", action_kind="part")
    repaired(technician, Outcome.NO_FAULT_FOUND, home=here, found="nothing", action_kind="checked")
    repaired(technician, Outcome.REPAIRED, home=there)
    found = repairs(clock.today(), clock.today(), manager)
    assert [(line.key, line.orders, line.counts["use_related"]) for line in found.by_home] == [
        (here.pk, 3, 1),
        (there.pk, 1, 0),
    ]
    assert [order.cause for order in found.use_related] == ["Wrong size confirmed"]
    client = signed_in(manager)
    for _, _, rows in client.get(PAGE).context["parts"]:
        for row in rows:
            for _, number, url, _ in [("", row["orders"], row["url"], ""), *row["counts"]]:
                assert len(list(client.get(url).context["table"].paginated_rows)) == number


def test_codes_are_counted_and_lead_to_their_orders(technician: Person, manager: Person) -> None:
    """A cause stated in a code counts under it, one that states none under "Not stated"."""
    repaired(technician, Outcome.REPAIRED, cause_kind="knock", action_kind="part")
    repaired(technician, Outcome.REPAIRED)
    client = signed_in(manager)
    codes = dict(client.get(PAGE).context["codes"])
    assert [(label, number) for label, number, _, _ in codes["Cause"]] == [("A knock or a fall", 1), ("Not stated", 1)]
    for rows in codes.values():
        for _, number, _, url in rows:
            assert len(list(client.get(url).context["table"].paginated_rows)) == number


def test_planned_work_and_other_days_are_left_out(technician: Person, manager: Person) -> None:
    """A service finds nothing as a rule, so it is no repair without a fault; nor is one of another day of this day."""
    finish(work(received(a_device(), technician, kind="planned"), technician), technician, Outcome.NO_FAULT_FOUND)
    repaired(technician, Outcome.REPAIRED)
    yesterday = clock.today() - timedelta(days=1)
    assert repairs(clock.today(), clock.today(), manager).overall.orders == 1
    assert repairs(yesterday, yesterday, manager).overall.orders == 0


def test_a_code_that_is_not_on_the_list_is_refused(technician: Person) -> None:
    """The error names the field and says what is on its list; nothing is finished."""
    with pytest.raises(BadValueError, match="wear or age") as refused:
        repaired(technician, Outcome.REPAIRED, cause_kind="gremlins")
    assert refused.value.field == "cause_kind"


def test_a_period_without_repairs_says_so(manager: Person) -> None:
    """Neither nought nor all of nothing."""
    assert "No repair was finished in this period." in words(manager, PAGE)


def test_the_file_holds_the_same_numbers(technician: Person, manager: Person) -> None:
    """A line for all, one for the place and one for the type."""
    repaired(technician, Outcome.DAMAGE)
    lines = file_rows(manager, "/reports/outcomes.csv")
    assert [(line["Of"], line["Repairs"], line["Damage"]) for line in lines] == [
        ("All", "1", "1"),
        ("Home place", "1", "1"),
        ("Type", "1", "1"),
    ]


def test_the_outsider_counts_no_repair(technician: Person, outsider: Person) -> None:
    """Another site's manager sees none of them."""
    repaired(technician, Outcome.REPAIRED)
    assert repairs(clock.today(), clock.today(), outsider).overall.orders == 0
