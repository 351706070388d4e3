"""The trail in words."""

from typing import Any

import pytest

from fleet.audit.models import TrailEntry
from fleet.reports.wording import Change, plain, told
from fleet.web import clock

PEOPLE = {7: "Bram Ostley"}


def an_entry(kind: str = "device", name: str = "A00001", **facts: Any) -> TrailEntry:
    """An entry as it stands in the trail, not kept."""
    usual = {"verb": "changed device", "actor": "Maud Ferrant", "source": "page", "done_at": clock.now()}
    return TrailEntry(subject_kind=kind, subject_id=3, subject_name=name, **{**usual, **facts})


def only_change(**facts: Any) -> Change:
    """The one change of such an entry."""
    (change,) = told(an_entry(**facts), PEOPLE).changes
    return Change(change.name, change.before.replace("\u00a0", " "), change.after.replace("\u00a0", " "))


@pytest.mark.parametrize(
    ("facts", "change"),
    [
        (
            {"before": {"condition": "in_service"}, "after": {"condition": "out_of_use"}},
            ("Condition", "In service", "Out of use (tagged)"),
        ),
        ({"before": {"place": "Ward 4"}, "after": {"place": "Bench"}}, ("Place", "Ward 4", "Bench")),
        ({"before": {"quarantined": False}, "after": {"quarantined": True}}, ("Quarantined", "no", "yes")),
        (
            {"before": {"warranty_until": "2027-03-14"}, "after": {"warranty_until": None}},
            ("Warranty until", "14 Mar 2027", "nothing"),
        ),
        (
            {"after": {"condition_since": "2027-03-14T09:12:00+00:00"}},
            ("Condition since", "", "14 Mar 2027 09:12"),
        ),
        ({"kind": "tag", "after": {"what": "rate"}}, ("What happened", "", "It gave too much or too little")),
        ({"kind": "order", "after": {"assigned_to_id": 7}}, ("Assigned to", "", "Bram Ostley")),
        ({"kind": "order", "after": {"activity": "hands_on"}}, ("Activity", "", "Hands-on work")),
        ({"kind": "order", "after": {"steps": {"2": "4.9 %, pass"}}}, ("Step 2", "", "4.9 %, pass")),
        ({"kind": "person", "after": {"places": ["Ward 4", "Ward 5"]}}, ("Places", "", "Ward 4, Ward 5")),
        # A serial number made of eight digits is no date, and neither is a day that no calendar has.
        ({"after": {"serial_number": "20270314"}}, ("Serial number", "", "20270314")),
        ({"after": {"lot": "2027-02-31"}}, ("Lot", "", "2027-02-31")),
    ],
)
def test_a_change_is_told_as_a_reader_says_it(facts: dict[str, Any], change: tuple[str, str, str]) -> None:
    """Choices by their label, dates unambiguous, people by name, steps by their number, other text as it was kept."""
    assert only_change(**facts) == Change(*change)


def test_what_only_serves_the_machine_is_left_out() -> None:
    """Revisions and fields that were and are empty tell a reader nothing."""
    entry = an_entry("order", "W0001X", before={"revision": 1, "found": ""}, after={"revision": 2, "found": ""})
    assert told(entry, PEOPLE).changes == ()


def test_the_record_is_named_as_on_paper_and_led_to() -> None:
    """A tag's number has its hyphen; a record with a page of its own leads there, another does not."""
    line = told(an_entry("tag", "4821Q", verb="raised tag"), PEOPLE)
    assert (line.done, line.of, line.url) == ("Raised tag", "4821-Q", "/tags/4821Q/")
    assert told(an_entry("alert", "Battery weak"), PEOPLE).url == "/alerts/3/"
    assert told(an_entry("plan", "Yearly service"), PEOPLE).url == ""


def test_changes_stand_in_one_line_for_a_file() -> None:
    """In a file the changes are one cell of words, and what was kept stands beside it as it was kept."""
    entry = an_entry(before={"pool": "loan"}, after={"pool": "clinical", "lot": "L1"})
    assert told(entry, PEOPLE).in_words == "Pool: Loan → Clinical; Lot: L1"
    assert plain(entry.after) == '{"lot": "L1", "pool": "clinical"}'
    assert plain({}) == ""


def test_an_act_out_of_a_file_says_so() -> None:
    """A person's import is told apart from what the same person did on a page; other doors stand in the name."""
    assert told(an_entry(source="import"), PEOPLE).who == "Maud Ferrant, from a file"
    assert told(an_entry(source="page"), PEOPLE).who == "Maud Ferrant"
    assert told(an_entry(source="job", actor="job roll_dues"), PEOPLE).who == "job roll_dues"
