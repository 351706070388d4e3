"""Two phones, one driver, the same moment."""

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection

from fleet.registry.models import Device
from fleet.tags.actions import Raised, raise_tag
from fleet.tags.models import Quarantine, Tag, TagReport
from fleet.tags.report import Report
from tests.builders import BY, a_device
from tests.tags.builders import a_report

pytestmark = pytest.mark.django_db(transaction=True)


def at_once(device: Device, *reports: Report) -> list[Raised]:
    """The outcomes of reports that are sent side by side."""

    def send(report: Report) -> Raised:
        try:
            return raise_tag(device, report, by=BY)
        finally:
            connection.close()

    with ThreadPoolExecutor(len(reports)) as phones:
        return list(phones.map(send, reports))


def test_the_same_form_arriving_twice_at_once_is_one_report() -> None:
    """The network's second copy waits for the first and is answered with its result."""
    report = a_report(harm="yes")
    first, second = at_once(a_device(), report, report)
    assert first.report == second.report
    assert (TagReport.objects.count(), Tag.objects.count(), Quarantine.objects.count()) == (1, 1, 1)


def test_two_people_reporting_at_once_share_one_tag() -> None:
    """One raises the tag, the other joins it; nobody gets an error."""
    outcomes = at_once(a_device(), a_report(), a_report(harm="yes"))
    assert sorted(outcome.joined for outcome in outcomes) == [False, True]
    assert Tag.objects.get().reports.count() == 2
    assert Tag.objects.get().harm == "yes"
