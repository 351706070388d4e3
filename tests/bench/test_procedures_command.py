"""The command that gives a new hospital its procedures, and an old one its own versions of them."""

import io
from decimal import Decimal
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from fleet.alerts.kinds import KINDS
from fleet.alerts.queries import kinds
from fleet.bench import actions as bench
from fleet.bench.actions import drafts
from fleet.bench.models import OrderKind, Procedure, ProcedureVersion
from fleet.bench.queries import in_force
from fleet.core.orders import Outcome
from fleet.core.safety import AppliedPart, Context, Method, Protection
from fleet.people.models import Person
from fleet.web import clock
from tests.bench.builders import as_actor
from tests.builders import BY, a_bench, a_new_device, a_type
from tests.stores.builders import an_instrument

pytestmark = pytest.mark.django_db

OURS = """
[tw-service]
name = "Service of TW-10"
kind = "planned"
type = "Tarnwick Instruments TW-10"
source = "maker's manual, revision 3"

[[tw-service.steps]]
words = "Delivery error at 5 mL/h"
kind = "reading"
unit = "%"
low = -2.5
high = 2.5
limit_source = "maker's manual, revision 3, page 41"
"""


def run(*args: str) -> str:
    out = io.StringIO()
    call_command("procedures", *args, stdout=out)
    return out.getvalue()


@pytest.fixture
def ours(tmp_path: Path) -> Path:
    """A file with one procedure of the hospital's own."""
    path = tmp_path / "ours.toml"
    path.write_text(OURS, encoding="utf-8")
    return path


def test_after_it_a_new_hospital_can_accept_a_driver(technician: Person) -> None:
    """On a fresh database the command is all that is needed before a driver passes acceptance; twice adds nothing."""
    run()
    by = as_actor(technician)
    order = bench.receive(a_new_device(), bench=a_bench(), by=by)
    assert order.procedure_version is not None
    how = Context(Protection.TWO, AppliedPart.CF, Method.DIRECT, Decimal(230))
    tester = an_instrument(kind="safety")
    for step in order.procedure_version.steps.all():
        tool = tester if step.instrument_kind else None
        given = bench.Answer(value="1", passed=True, note="seen", context=how, instrument=tool)
        bench.answer(order, step, given, revision=order.revision, by=by)
        order.refresh_from_db()
    done = bench.complete(order, bench.Completion(outcome=Outcome.NO_FAULT_FOUND), revision=order.revision, by=by)
    assert done.device.refresh_from_db() is None
    assert done.device.condition == "in_service"
    assert kinds().count() == len(KINDS)
    assert "Kinds of alert added: 0" in run()
    assert Procedure.objects.count() == len(OrderKind)


def approved(manager: Person) -> None:
    """The one open draft, sent for approval by the command and approved by the manager."""
    draft = ProcedureVersion.objects.get(state="draft")
    sent = drafts.submit(draft, "Our own limits", revision=draft.revision, by=BY)
    drafts.approve(sent, clock.today(), revision=sent.revision, by=as_actor(manager))


def test_a_file_makes_a_draft_for_its_type_once(ours: Path, manager: Person) -> None:
    """The hospital's own limits hold for the type once approved; the same file again changes nothing."""
    device_type = a_type()
    assert "Draft: Service of TW-10, version 1" in run(str(ours))
    assert in_force(device_type, OrderKind.PLANNED, clock.today()) is None
    approved(manager)
    version = in_force(device_type, OrderKind.PLANNED, clock.today())
    assert version is not None
    step = version.steps.get()
    assert (step.low, step.high) == (Decimal("-2.5"), Decimal("2.5"))
    assert "stands already" in run(str(ours))
    ours.write_text(OURS.replace("2.5", "3.5"), encoding="utf-8")
    assert "version 2" in run(str(ours))


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ("no toml", "no TOML"),
        (OURS.replace('kind = "planned"', 'kind = "tidy"'), "tidy"),
        (OURS.replace('TW-10"\nsource', 'TX"\nsource'), "No type is called"),
        (OURS.replace("limit_source", "whose"), "whose"),
        (OURS.replace('source = "maker\'s manual, revision 3"\n', "", 1), "source"),
        (OURS.replace("high = 2.5", "high = -9"), "above the upper limit"),
    ],
)
def test_a_wrong_file_publishes_nothing(ours: Path, wrong: str, said: str) -> None:
    """What is wrong is named with the procedure, and nothing of the file is published."""
    a_type()
    ours.write_text(wrong, encoding="utf-8")
    with pytest.raises(CommandError, match=said):
        run(str(ours))
    assert not Procedure.objects.exists()
