"""Every address that takes a file: too large, a program in disguise, a hostile name (OWASP ASVS 5.0.0, chapter 5)."""

import ast
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import models
from django.urls import reverse

from fleet.bench.models import FlowTest, Order, ProcedureVersion, ReadingFile
from fleet.documents.models import DocumentFile
from fleet.exchange.models import Intake
from fleet.jobs import work
from fleet.jobs.models import Job
from fleet.notices.models import NoticeFile
from fleet.people.models import Person
from fleet.web import clock
from tests.bench.builders import received
from tests.bench.test_computed import JPEG, PHOTO, an_order
from tests.bench.test_flow import log_at
from tests.bench.test_flow_pages import TYPED
from tests.builders import a_device, a_type
from tests.notices.test_pages import TYPED as TYPED_NOTICE
from tests.pages import signed_in

pytestmark = pytest.mark.django_db
FLEET = Path(settings.BASE_DIR) / "fleet"
HOSTILE_NAME = "../../../etc/cron.d/x.php\x00.jpg"
#: A program, and a page that would run in a reader's browser, each under a harmless name and type.
DISGUISED = {
    "a program": b"\x7fELF\x02\x01\x01\x00" + b"\x00" * 64,
    "a page": b"<html><script>alert(1)</script></html>",
}


@dataclass(frozen=True)
class Door:
    """An address that takes a file: how it is sent, the most it takes, and where it is kept."""

    view: str
    post: Callable[[Any, Person, SimpleUploadedFile], Any]
    largest: int
    kept: type[models.Model]
    good: bytes


def to_step(client: Any, by: Person, file: SimpleUploadedFile) -> Any:
    order = Order.objects.first() or an_order(by, PHOTO)
    sent = {"revision": order.revision, "verdict": "pass", "file": file}
    return client.post(reverse("bench:answer", args=[order.number, 1]), sent)


def to_flow(client: Any, by: Person, file: SimpleUploadedFile) -> Any:
    order = Order.objects.first() or received(a_device(), by, kind="corrective")
    return client.post(reverse("bench:flow", args=[order.number]), {**TYPED, "flow-file": file})


def to_procedures(client: Any, _by: Person, file: SimpleUploadedFile) -> Any:
    return client.post(reverse("bench:procedure_import"), {"file": file})


def to_records(client: Any, _by: Person, file: SimpleUploadedFile) -> Any:
    answer = client.post(reverse("exchange:new"), {"kind": "devices", "file": file}, follow=True)
    for job in Job.objects.filter(state=Job.State.QUEUED):
        work.run_job(job.pk)
    return answer


def to_library(client: Any, _by: Person, file: SimpleUploadedFile) -> Any:
    sent = {"title": "Manual", "kind": "manual", "device_type": a_type().pk, "file": file}
    return client.post(reverse("documents:new"), sent)


def to_notices(client: Any, _by: Person, file: SimpleUploadedFile) -> Any:
    days = {"issued_on": clock.today(), "received_on": clock.today()}
    return client.post(reverse("notices:new"), {**TYPED_NOTICE, **days, "file": file})


DOORS = {
    "notice": Door("notices/views/writing.py", to_notices, 12_000_000, NoticeFile, JPEG),
    "document": Door("documents/views.py", to_library, 12_000_000, DocumentFile, JPEG),
    "photo at a step": Door("bench/views/order.py", to_step, 12_000_000, ReadingFile, JPEG),
    "log of a balance": Door("bench/views/flow.py", to_flow, 8_000_000, FlowTest, log_at(5.0).encode()),
    "procedures": Door("bench/views/procedures.py", to_procedures, 1_000_000, ProcedureVersion, b""),
    "records": Door(
        "exchange/views/lists.py", to_records, settings.INTAKE_MEGABYTES * 1024**2, Intake, b"asset_number\nA1\n"
    ),
}


def taken(door: Door) -> int:
    """How many files are kept and may be worked with."""
    rows = door.kept._default_manager.all()  # noqa: SLF001 - Django's public name for it
    return rows.filter(state=Intake.State.READY).count() if door.kept is Intake else rows.count()


def test_each_address_that_takes_a_file_is_tried_here() -> None:
    """A view that reads uploaded files and is not among the doors fails this test."""
    views = {
        path.relative_to(FLEET).as_posix()
        for path in FLEET.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Attribute) and node.attr == "FILES"
    }
    assert views == {door.view for door in DOORS.values()}


@pytest.mark.parametrize("name", DOORS)
def test_a_file_too_large_is_refused_with_the_limit(name: str, manager: Person) -> None:
    """One byte more than is taken: nothing is kept, and the answer says how much may be sent (5.2.1)."""
    door = DOORS[name]
    before = taken(door)
    file = SimpleUploadedFile("a.jpg", JPEG + b"0" * (door.largest + 1 - len(JPEG)))
    answer = door.post(signed_in(manager), manager, file)
    assert taken(door) == before
    assert f"{door.largest // 1_000_000} MB" in answer.content.decode() or f"{settings.INTAKE_MEGABYTES} MB" in (
        answer.content.decode()
    )


@pytest.mark.parametrize("name", DOORS)
@pytest.mark.parametrize("disguise", DISGUISED)
def test_a_file_is_judged_by_its_content(name: str, disguise: str, manager: Person) -> None:
    """A program or a page under a photo's name and type is refused at every door (5.2.2)."""
    door = DOORS[name]
    before = taken(door)
    door.post(signed_in(manager), manager, SimpleUploadedFile("a.jpg", DISGUISED[disguise], content_type="image/jpeg"))
    assert taken(door) == before


@pytest.mark.parametrize("name", [name for name, door in DOORS.items() if door.good])
def test_the_senders_name_is_no_path(name: str, manager: Person) -> None:
    """What the sender called it is words at most; it comes back under ours, as a download, never guessed (5.3.2)."""
    door = DOORS[name]
    client = signed_in(manager)
    door.post(client, manager, SimpleUploadedFile(HOSTILE_NAME, door.good, content_type="text/html"))
    kept: Any = door.kept._default_manager.get()  # noqa: SLF001 - Django's public name for it
    shown = str(getattr(kept, "name", "") or getattr(kept, "log_name", "") or getattr(kept, "file_name", ""))
    assert "/" not in shown
    assert "\x00" not in shown
    given = client.get(_address(kept))
    assert given["Content-Disposition"].startswith('attachment; filename="')
    assert "x.php" not in given["Content-Disposition"]
    assert given["X-Content-Type-Options"] == "nosniff"
    assert not given["Content-Type"].startswith("text/html")


def _address(kept: Any) -> str:
    if isinstance(kept, ReadingFile):
        return reverse("bench:attached", args=[kept.reading.order.number, kept.pk])
    if isinstance(kept, DocumentFile):
        return reverse("documents:file", args=[kept.document_id])
    if isinstance(kept, NoticeFile):
        return reverse("notices:file", args=[kept.edition.notice.number, kept.pk])
    name = "bench:flow_log" if isinstance(kept, FlowTest) else "exchange:file"
    return reverse(name, args=[kept.pk])


def test_no_file_is_written_where_a_web_server_could_run_it() -> None:
    """What is sent goes into the database: no model of the house has a field that writes files (5.3.1)."""
    for path in FLEET.rglob("models*.py"):
        assert "models.FileField" not in path.read_text(encoding="utf-8")
        assert "models.ImageField" not in path.read_text(encoding="utf-8")
