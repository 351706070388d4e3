"""Drivers of a notice: those it takes when opened, those that come later, and those that match no more."""

from datetime import timedelta

import pytest
from pytest_django import DjangoAssertNumQueries

from fleet.audit.models import TrailEntry
from fleet.batteries.models import Fitting
from fleet.bench.actions import retire
from fleet.core.errors import BadValueError, ConflictError, MoveRefusedError, NotAllowedError
from fleet.notices import actions, queries
from fleet.notices.models import Notice
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry.actions import edit_device, note_firmware
from fleet.registry.models import Device
from fleet.tags.actions import report_missing
from fleet.web import clock
from tests.batteries.builders import a_fitted_device, a_pack
from tests.builders import BY, a_device, a_site, a_type, a_ward
from tests.notices.builders import a_draft, a_notice, done, line_of, matched_again, stated

pytestmark = pytest.mark.django_db


def taken(notice: Notice) -> set[str]:
    """The serial numbers of the notice's drivers."""
    return set(notice.drivers.values_list("device__serial_number", flat=True))


def test_a_range_takes_its_ends_and_no_other_type() -> None:
    """T9 and T10 are the ends; T11, and T9 of another type, are not concerned."""
    for serial in ("T8", "T9", "T10", "T11"):
        a_device(serial_number=serial)
    a_device(device_type=a_type("TW-20"), serial_number="T9")
    assert taken(a_notice(serial_from="T9", serial_to="T10")) == {"T9", "T10"}


def test_before_opening_it_is_told_what_opening_takes(manager: Person) -> None:
    """The preview counts all places, tells what is lost, retired before or unlike the range, and writes nothing."""
    a_device(serial_number="T100")
    report_missing(a_device(serial_number="T101"), why="Looked everywhere", by=BY)
    with clock.at(clock.now() - timedelta(days=30)):
        retire(a_device(serial_number="T102"), why="worn out", by=BY)
    a_device(a_ward("Ward 9", a_site("Corran Vale")), serial_number="T103")
    odd = a_device(serial_number="SN-T104")
    draft = stated(a_draft(), serial_from="T100", serial_to="T200").editions.get()
    told = queries.preview(draft, manager)
    assert (told.total, told.not_located, told.retired_before, told.elsewhere) == (4, 1, 1, 1)
    assert list(told.unlike) == [odd]
    assert not draft.notice.drivers.exists()


def test_a_driver_that_comes_later_is_found_at_night_and_shown_as_new() -> None:
    """New in the register, or its software read anew: it stands on the list as come later, with its trail."""
    read = a_device(serial_number="T1")
    note_firmware(read, "3.1", at=clock.now(), by=BY)
    notice = a_notice(software=("2.0",))
    assert taken(notice) == set()
    note_firmware(read, "2.0", at=clock.now(), by=BY)
    new = a_device(serial_number="T2")
    assert matched_again() == {"notices": 1, "new": 2, "gone": 0, "orders": 0}
    assert line_of(notice, new).later
    assert line_of(notice, new).not_known == "its software version is not on record"
    assert line_of(notice, read).not_known == ""
    assert TrailEntry.objects.filter(device_ref=new.pk, verb="safety notice concerns it").exists()
    assert matched_again()["new"] == 0


def test_a_driver_that_matches_no_more_stays_with_the_reason() -> None:
    """Its software was updated: it is still open, says so, and a person answers it."""
    device = a_device()
    note_firmware(device, "2.0", at=clock.now(), by=BY)
    notice = a_notice(software=("2.0",), said={"action": "software"})
    note_firmware(device, "2.1", at=clock.now(), by=BY)
    assert matched_again()["gone"] == 1
    line = line_of(notice, device)
    assert (line.stands, line.matches_no_more) == ("open", "its software version is 2.1")
    assert matched_again()["gone"] == 0
    note_firmware(device, "2.0", at=clock.now(), by=BY)
    matched_again()
    assert line_of(notice, device).matches_no_more == ""


def test_a_pack_brings_its_driver_in_and_its_date_code_counts() -> None:
    """The pack in the driver decides; one whose code is not known counts until somebody looks; shelves are told too."""
    device = a_fitted_device()
    held = Fitting.objects.get(device=device).pack
    held.date_code = "2406"
    held.save()
    shelf = a_pack(number="ON-SHELF", part_number=held.part_number)
    kind = device.device_type
    notice = a_notice(kind, pack_part_number=held.part_number, code_from="2401", code_to="2412")
    assert taken(notice) == {device.serial_number}
    assert list(queries.packs_on_shelves(queries.lines_of(notice.edition))) == [shelf]
    other = a_notice(kind, pack_part_number=held.part_number, code_from="2501")
    assert taken(other) == set()


def test_a_driver_retired_before_the_notice_stands_apart() -> None:
    """It is kept on the list and is nobody's work; one retired since is still open."""
    with clock.at(clock.now() - timedelta(days=30)):
        before = a_device()
        retire(before, why="worn out", by=BY)
    since = a_device()
    notice = a_notice()
    retire(since, why="worn out", by=BY)
    assert line_of(notice, before).stands == "retired_before"
    assert line_of(notice, since).stands == "open"
    with pytest.raises(ConflictError, match="retired before"):
        done(line_of(notice, before))


def test_a_notice_closed_as_done_opens_again_for_a_driver_that_comes() -> None:
    """A driver bought used after the recall was closed is not missed."""
    device = a_device()
    notice = a_notice()
    done(line_of(notice, device))
    actions.close(notice, "done", by=BY)
    matched_again()
    notice.refresh_from_db()
    assert notice.state == "closed"
    late_comer = a_device()
    matched_again()
    notice.refresh_from_db()
    assert notice.state == "open"
    assert line_of(notice, late_comer).later
    assert line_of(notice, device).stands == "done"


def test_a_correction_is_a_new_edition_and_keeps_what_was_answered() -> None:
    """The range was wrong: the old edition stays, new drivers come, answers stand, who fell out stays with why."""
    first, out, new = (a_device(serial_number=serial) for serial in ("T1", "T2", "T9"))
    notice = a_notice(serial_to="T2")
    done(line_of(notice, first))
    draft = actions.correct(notice, by=BY)
    assert actions.correct(notice, by=BY) == draft
    actions.drop_criterion(draft.criteria.get(), by=BY)
    with pytest.raises(BadValueError, match="at least one line"):
        actions.open_notice(notice, by=BY)
    actions.add_criterion(draft, actions.Which(device_type=a_type(), serial_from="T8"), by=BY)
    with pytest.raises(BadValueError, match="what this edition corrects"):
        actions.open_notice(notice, by=BY)
    facts = {name: getattr(draft, name) for name in actions.FACTS}
    actions.edit(draft, {**facts, "changes": "The maker widened the range"}, by=BY)
    actions.open_notice(notice, by=BY)
    notice.refresh_from_db()
    assert notice.edition == draft
    assert [edition.number for edition in notice.editions.all()] == [2, 1]
    assert line_of(notice, first).stands == "done"
    assert line_of(notice, out).matches_no_more == "its serial number is T2"
    assert line_of(notice, new).later
    with pytest.raises(MoveRefusedError, match="new edition"):
        actions.edit(draft, facts, by=BY)


def test_only_who_keeps_notices_writes_opens_and_closes_them(technician: Person) -> None:
    """A technician answers drivers and does nothing else."""
    notice = a_notice()
    for refused in (
        lambda by: actions.correct(notice, by=by),
        lambda by: actions.open_notice(notice, by=by),
        lambda by: actions.close(notice, "done", by=by),
        lambda by: actions.tag([], "Now", by=by),
    ):
        with pytest.raises(NotAllowedError):
            refused(actor_for(technician))


@pytest.mark.parametrize(
    ("field", "said"),
    [
        ("title", {"title": " "}),
        ("words", {"words": ""}),
        ("received_on", {"received_on": clock.today() + timedelta(days=2)}),
        ("issued_on", {"issued_on": clock.today() + timedelta(days=1)}),
        ("by_when", {"by_when": clock.today() - timedelta(days=40)}),
    ],
)
def test_what_cannot_be_is_refused_by_its_field(field: str, said: dict[str, object]) -> None:
    """A notice needs words, and days in their order."""
    with pytest.raises(BadValueError) as refused:
        a_draft(**said)
    assert refused.value.field == field
    assert not Notice.objects.exists()


def test_matching_does_not_ask_once_a_driver(django_assert_max_num_queries: DjangoAssertNumQueries) -> None:
    """The night reads each notice's drivers together, however many there are."""
    for _ in range(6):
        a_device()
    a_notice()
    with django_assert_max_num_queries(22):
        matched_again()


def test_a_corrected_serial_number_tells_what_keeps_it_out(manager: Person) -> None:
    """A serial put right in the register moves the driver out of the range, and the reason names it."""
    device: Device = a_device(serial_number="T5")
    notice = a_notice(serial_to="T9")
    edit_device(device, {"serial_number": "T55"}, why="Misread", by=actor_for(manager))
    matched_again()
    assert line_of(notice, device).matches_no_more == "its serial number is T55"
