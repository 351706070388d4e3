"""Publishing procedures, and the starter set with where each limit comes from."""

from datetime import timedelta
from decimal import Decimal

import pytest

from fleet.bench import actions as bench
from fleet.bench.actions.drafts import new_draft
from fleet.bench.models import OrderKind, Procedure, ProcedureVersion, Step
from fleet.bench.queries import in_force
from fleet.core.errors import BadValueError, NotAllowedError
from fleet.people.models import Person
from fleet.web import clock
from tests.bench.builders import CHECK, FLOW, a_procedure, as_actor
from tests.builders import BY, a_type

pytestmark = pytest.mark.django_db


def test_the_starters_serve_every_kind_of_order() -> None:
    """After seeding, each kind of order has a procedure for every type; a second run adds nothing."""
    assert len(bench.ensure_starter_procedures(BY)) == len(OrderKind)
    assert bench.ensure_starter_procedures(BY) == []
    for kind in OrderKind:
        version = in_force(a_type(), kind, clock.today())
        assert version is not None
        assert version.steps.filter(required=True).exists()


def test_every_starter_limit_says_that_it_was_not_verified() -> None:
    """No limit of the starter set passes for the standard's own text; safety tests take theirs from the profile."""
    bench.ensure_starter_procedures(BY)
    limited = Step.objects.exclude(low=None, high=None)
    assert limited.count() >= 5
    assert Step.objects.exclude(quantity="").filter(low=None, high=None).count() >= 4
    for step in limited:
        assert "not verified" in step.limit_source or "no source" in step.limit_source, step


def test_an_edited_starter_is_left_alone() -> None:
    """A hospital's own version of a starter is not replaced by seeding again."""
    bench.ensure_starter_procedures(BY)
    a_procedure("planned", (CHECK,), code="service")
    bench.ensure_starter_procedures(BY)
    assert in_force(a_type(), "planned", clock.today()).number == 2


def before_instruments() -> None:
    """The starters as they came before safety tests asked for an instrument, and the time to alarm for a syringe."""
    bench.ensure_starter_procedures(BY)
    Step.objects.exclude(quantity="").update(instrument_kind="")
    Step.objects.filter(words__startswith="Blockage is alarmed").update(caution="")


def test_a_starter_left_as_it_came_gets_its_new_version() -> None:
    """Seeded again after an update: the safety tests ask for the analyser, in a version of its own, once."""
    before_instruments()
    made = bench.ensure_starter_procedures(BY)
    assert {str(version.procedure.code) for version in made} == {"acceptance", "service", "repair-check-out"}
    for version in made:
        assert version.number == 2
        safety = version.steps.exclude(quantity="")
        assert set(safety.values_list("instrument_kind", flat=True)) == {"safety"}
        assert version.procedure.versions.get(number=1).steps.filter(instrument_kind="safety").count() == 0
    assert bench.ensure_starter_procedures(BY) == []


def test_a_starter_changed_here_gets_none() -> None:
    """A word changed in it, a version of one's own, or a draft begun: it stays as the hospital has it."""
    before_instruments()
    Step.objects.filter(version__procedure__code="service", position=1).update(words="Write down the log")
    a_procedure("acceptance", (CHECK,), code="acceptance")
    repair = ProcedureVersion.objects.get(procedure__code="repair-check-out")
    new_draft(repair.procedure, BY, source="ours", changes="")
    assert bench.ensure_starter_procedures(BY) == []


def test_a_version_is_never_dated_before_the_last() -> None:
    """Versions follow each other in time."""
    a_procedure("planned")
    with pytest.raises(BadValueError, match="give that day or a later one"):
        a_procedure("planned", in_force_from=clock.today() - timedelta(days=1))
    assert ProcedureVersion.objects.count() == 1


def test_a_code_keeps_its_work_and_type() -> None:
    """A code can't be turned to other work."""
    a_procedure("planned", code="ours")
    with pytest.raises(BadValueError, match="Choose a new code") as refused:
        a_procedure("battery", code="ours")
    assert refused.value.field == "code"


@pytest.mark.parametrize(
    ("step", "words"),
    [
        (bench.NewStep(words=" "), "say what to do"),
        (bench.NewStep(words="x", kind="guess"), "is no kind of step"),
        (bench.NewStep(words="x", kind="reading"), "needs its unit"),
        (bench.NewStep(words="x", low=Decimal(1), limit_source="s"), "limits belong to a reading"),
        (bench.NewStep(words="x", kind="reading", unit="%", low=Decimal(1)), "say where they come from"),
        (
            bench.NewStep(words="x", kind="reading", unit="%", low=Decimal(2), high=Decimal(1), limit_source="s"),
            "lies above",
        ),
    ],
)
def test_an_unusable_step_is_refused_with_its_number(step: bench.NewStep, words: str) -> None:
    """The refusal names the step and what would be right; nothing is half published."""
    with pytest.raises(BadValueError, match=f"Step 2, .*{words}"):
        a_procedure("planned", (CHECK, step))
    assert not Procedure.objects.exists()


def test_a_procedure_checks_something_and_names_its_source() -> None:
    """Without a step that must pass, or without a source, nothing is published."""
    with pytest.raises(BadValueError, match="at least one step that must pass"):
        a_procedure("planned", (bench.NewStep(words="look", required=False),))
    with pytest.raises(BadValueError, match="where the procedure comes from"):
        a_procedure("planned", (FLOW,), source=" ")


def test_a_technician_publishes_nothing(technician: Person) -> None:
    """Procedures are reference data: a manager's duty."""
    with pytest.raises(NotAllowedError):
        bench.ensure_starter_procedures(as_actor(technician))
