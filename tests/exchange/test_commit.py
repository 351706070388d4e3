"""Checking writes nothing; committing writes all or nothing, once, whatever happens in between."""

from collections.abc import Callable
from typing import Any

import pytest
from django.apps import apps
from django.conf import settings
from django.db.models import QuerySet

from fleet.audit.models import TrailEntry
from fleet.core.errors import BadValueError, ConflictError, NotAllowedError
from fleet.exchange import actions, queries
from fleet.exchange.actions import Choices, Sending
from fleet.exchange.models import Intake
from fleet.jobs import pace, work
from fleet.jobs.models import Job
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry import actions as registry
from fleet.registry.models import Device
from tests.builders import BY, a_device
from tests.exchange.builders import (
    a_file,
    a_home,
    checked,
    counts,
    driver_row,
    problems,
    sent,
    taken_in,
    told_nothing,
    written,
)

pytestmark = pytest.mark.django_db
OF_THE_FILE = {"Intake", "TrailEntry", "Job"}


def rows_everywhere() -> dict[str, int]:
    """How many rows each table has, but for those that tell of the file itself."""
    models = (model for model in apps.get_models() if model.__name__ not in OF_THE_FILE)
    return {model.__name__: QuerySet(model).count() for model in models}


def test_a_check_writes_no_record(manager: Person) -> None:
    """However good the file is; only the file and the trail of its sending are kept."""
    home = a_home()
    before, trail = rows_everywhere(), TrailEntry.objects.count()
    intake = checked("devices", [driver_row(number, home) for number in range(5)], manager)
    assert counts(intake) == (5, 0, 0, 0)
    assert rows_everywhere() == before
    assert TrailEntry.objects.count() == trail + 1


def test_a_file_with_a_refused_row_cannot_be_committed(manager: Person) -> None:
    """Not even the rows that are right."""
    home = a_home()
    intake = checked("devices", [driver_row(1, home), driver_row(2, home, pool="lone")], manager)
    assert (intake.state, counts(intake)) == (Intake.State.REFUSED, (1, 0, 0, 1))
    with pytest.raises(ConflictError, match="Only a checked file"):
        actions.ask_commit(intake, by=BY)
    assert Device.objects.count() == 0


def test_the_jobs_do_both(manager: Person) -> None:
    """Sending raises the check, asking raises the commit, each as one job however often it is asked for."""
    intake = sent("devices", [driver_row(1, a_home())], manager)
    check = work.run_job(Job.objects.get(kind="check_intake").pk)
    assert check is not None
    assert check.counts == {"rows": 1, "new": 1, "same": 0, "changed": 0, "refused": 0}
    actions.ask_commit(intake, by=actor_for(manager))
    commit = work.run_job(Job.objects.get(kind="commit_intake").pk)
    assert commit is not None
    assert commit.counts == {"new": 1, "changed": 0, "already_known": 0}
    assert Device.objects.count() == 1
    assert Job.objects.count() == 2


def test_a_driver_added_by_somebody_else_stops_the_commit(manager: Person) -> None:
    """The conflict is named, nothing is written, and checking again tells how it stands now."""
    home = a_home()
    intake = checked("devices", [driver_row(1, home), driver_row(2, home)], manager)
    a_device(asset_number="H000002", serial_number="else")
    stopped = written(intake)
    assert stopped.state == Intake.State.FAILED
    assert "Row 3 (H000002)" in stopped.error
    assert "Nothing was written" in stopped.error
    assert not Device.objects.filter(asset_number="H000001").exists()
    actions.check_again(stopped, Choices(), by=BY)
    actions.check(stopped.pk, progress=told_nothing)
    stopped.refresh_from_db()
    assert [one.field for one in problems(stopped)] == ["serial_number"]


def test_facts_changed_since_the_check_stop_the_commit(manager: Person) -> None:
    """Nobody's correction is overwritten by a value that the check did not show against it."""
    home = a_home()
    taken_in("devices", [driver_row(1, home, lot="L1")], manager)
    intake = checked("devices", [driver_row(1, home, lot="L2")], manager)
    registry.edit_device(Device.objects.get(), {"lot": "L3"}, by=BY)
    assert "changed since the check" in written(intake).error
    assert Device.objects.get().lot == "L3"


def test_a_row_written_between_weighing_and_writing_stops_the_commit(
    manager: Person, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The last moment is covered too: the action that writes finds the number taken, and all is rolled back."""
    home = a_home()
    intake = checked("devices", [driver_row(number, home) for number in range(3)], manager)
    before = Device.objects.count()

    def add_first(weighed: Intake, found: Any) -> None:
        a_device(asset_number="H000002", serial_number="else")

    monkeypatch.setattr(actions, "_refuse_moved", add_first)
    stopped = written(intake)
    assert "H000002 belongs to another device" in stopped.error
    assert Device.objects.count() == before + 1


def fail_after(rows: int) -> Callable[[int, int | None], None]:
    """A progress that ends like a killed process once so many rows are written."""

    def progress(done: int, total: int | None) -> None:
        if Intake.objects.filter(state=Intake.State.COMMITTING).exists() and Device.objects.count() >= rows:
            raise KeyboardInterrupt

    return progress


def test_a_commit_ended_in_the_middle_leaves_nothing_half_written(manager: Person) -> None:
    """Neither rows nor trail; begun again it is done once."""
    home = a_home()
    intake = checked("devices", [driver_row(number, home) for number in range(3)], manager)
    actions.ask_commit(intake, by=BY)
    trail = TrailEntry.objects.count()
    with pytest.raises(KeyboardInterrupt):
        actions.commit(intake.pk, progress=fail_after(3))
    assert (Device.objects.count(), TrailEntry.objects.count()) == (0, trail)
    actions.commit(intake.pk, progress=told_nothing)
    actions.commit(intake.pk, progress=told_nothing)
    assert Device.objects.count() == 3
    assert TrailEntry.objects.filter(verb="committed file").count() == 1


def test_an_unforeseen_error_is_told_after_the_last_try(manager: Person, monkeypatch: pytest.MonkeyPatch) -> None:
    """Until then the file waits; then whoever sent it reads that nothing was written."""
    intake = sent("devices", [driver_row(1, a_home())], manager)
    job = Job.objects.get(kind="check_intake")
    monkeypatch.setattr(pace, "ATTEMPTS", 1)

    def broken(*_: Any, **__: Any) -> None:
        raise RuntimeError("disk on fire")

    monkeypatch.setattr("fleet.exchange.queries.stand", broken)
    work.run_job(job.pk)
    intake.refresh_from_db()
    assert intake.state == Intake.State.FAILED
    assert "disk on fire" in intake.error


def test_a_person_who_lost_the_duty_meanwhile_writes_nothing(manager: Person) -> None:
    """The duty counts when the rows are written, not only when the file was sent."""
    intake = checked("devices", [driver_row(1, a_home())], manager)
    manager.groups.clear()
    stopped = written(intake)
    assert stopped.state == Intake.State.FAILED
    assert "duty" in stopped.error
    assert Device.objects.count() == 0


def test_sending_needs_the_duty(technician: Person) -> None:
    """A technician works on drivers, not on whole files."""
    with pytest.raises(NotAllowedError):
        sent("devices", [driver_row(1, a_home())], technician)


def test_a_file_is_kept_as_sent(manager: Person) -> None:
    """Byte for byte, with its digest; a name that is a path loses it."""
    content = a_file([driver_row(1, a_home())], ";", "utf-16")
    intake = checked("devices", content, manager, file_name="..\\..\\etc/../drivers\n.csv")
    assert bytes(intake.content) == content
    assert (intake.file_name, intake.encoding, intake.delimiter) == ("drivers.csv", "utf-16", ";")


def test_a_file_that_is_too_large_or_empty_is_not_kept() -> None:
    """It is refused before anything is stored."""
    for content in (b"a" * (settings.INTAKE_MEGABYTES * 1024 * 1024 + 1), b""):
        with pytest.raises(BadValueError, match=r"MB|empty"):
            actions.send(Sending(kind="devices", file_name="x.csv", content=content), by=BY)
    assert not Intake.objects.exists()


def test_a_file_that_is_no_table_says_so(manager: Person) -> None:
    """The whole file is refused in words, and can be read another way."""
    intake = checked("devices", b"PK\x03\x04 zipped", manager, file_name="drivers.csv")
    assert intake.state == Intake.State.REFUSED
    assert "spreadsheet (.xlsx" in intake.error


def test_a_file_whose_job_was_lost_can_be_checked_again(manager: Person) -> None:
    """A worker that vanished too often leaves no file stuck, neither in its check nor in its commit."""
    intake = sent("devices", [driver_row(1, a_home())], manager)
    with pytest.raises(ConflictError, match="not checked again"):
        actions.check_again(intake, Choices(), by=BY)
    Job.objects.update(state=Job.State.FAILED, error="silent")
    again = actions.check_again(intake, Choices(), by=BY)
    work.run_job(Job.objects.get(state=Job.State.QUEUED).pk)
    actions.ask_commit(again, by=BY)
    Job.objects.filter(kind="commit_intake").update(state=Job.State.FAILED, error="silent")
    actions.check_again(again, Choices(), by=BY)
    again.refresh_from_db()
    assert (again.state, again.checks) == (Intake.State.CHECKING, 3)


def test_a_committed_file_is_not_checked_again(manager: Person) -> None:
    """What was written stays told as it was written."""
    done = taken_in("devices", [driver_row(1, a_home())], manager)
    with pytest.raises(ConflictError, match="not checked again"):
        actions.check_again(done, Choices(), by=BY)


def test_unknown_ways_of_reading_are_refused(manager: Person) -> None:
    """Only what a form offers is understood."""
    for how in ({"encoding": "rot13"}, {"delimiter": "#"}):
        with pytest.raises(BadValueError):
            sent("devices", b"x", manager, **how)
    with pytest.raises(BadValueError, match="no kind of file"):
        sent("syringes", b"x", manager)


def test_a_check_that_ends_late_changes_nothing(manager: Person, monkeypatch: pytest.MonkeyPatch) -> None:
    """A worker thought dead ends its check after a newer one was committed: the file stays committed."""
    intake = sent("devices", [driver_row(1, a_home())], manager)
    stand = queries.stand

    def overtaken(row: Intake, *, progress: queries.Progress) -> queries.Stand:
        found = stand(row, progress=progress)
        monkeypatch.setattr(queries, "stand", stand)
        Job.objects.update(state=Job.State.FAILED, error="silent")
        actions.check_again(intake, Choices(), by=BY)
        actions.check(intake.pk, progress=told_nothing)
        written(Intake.objects.get(pk=intake.pk))
        return found

    monkeypatch.setattr(queries, "stand", overtaken)
    assert actions.check(intake.pk, progress=told_nothing) == {}
    intake.refresh_from_db()
    assert (intake.state, intake.checks) == (Intake.State.COMMITTED, 2)


def test_the_trail_names_who_asked_for_the_commit(manager: Person, administrator: Person) -> None:
    """The rows are the sender's; that somebody else had them committed, or read again, stands beside it."""
    intake = checked("devices", [driver_row(1, a_home())], manager)
    actions.check_again(intake, Choices(decimal_comma=True), by=actor_for(administrator))
    actions.check(intake.pk, progress=told_nothing)
    actions.ask_commit(intake, by=actor_for(administrator))
    actions.commit(intake.pk, progress=told_nothing)
    told = TrailEntry.objects.filter(subject_kind="intake").order_by("id").values_list("verb", "actor")
    assert list(told) == [
        ("sent file", "Maud Ferrant"),
        ("asked to check file again", "Ada Quennell"),
        ("asked to commit file", "Ada Quennell"),
        ("committed file", "Maud Ferrant"),
    ]
