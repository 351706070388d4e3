"""Instruments and calibrations: what is recorded, what is refused, how each stands."""

from datetime import timedelta
from decimal import Decimal

import pytest

from fleet.audit.changes import fingerprint
from fleet.audit.models import TrailEntry
from fleet.core.calibration import DueState
from fleet.core.errors import BadValueError, ConflictError, MoveRefusedError, NotAllowedError
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.stores import actions, queries
from fleet.stores.models import Calibration, Instrument
from fleet.web import clock
from tests.builders import BY, a_bench
from tests.stores.builders import a_calibration, an_instrument, found_out

pytestmark = pytest.mark.django_db


def state(instrument: Instrument) -> DueState:
    return queries.state_on(instrument, clock.today())


def test_the_next_calibration_is_due_by_the_interval() -> None:
    """Twelve months after the certificate's day, unless the certificate says another day."""
    row = an_instrument(calibrated=False)
    first = a_calibration(row, days_ago=10)
    assert first.due_on.replace(year=first.done_on.year) == first.done_on
    own = clock.today() + timedelta(days=40)
    assert a_calibration(row, due_on=own).due_on == own


def test_each_state_is_found_by_the_list_as_by_the_rule() -> None:
    """What the filter picks from the database is what the rule says of each instrument."""
    today = clock.today()
    held = {
        DueState.IN_DATE: an_instrument(),
        DueState.SOON: an_instrument(calibrated=False),
        DueState.OVERDUE: an_instrument(calibrated=False),
        DueState.NEVER: an_instrument(calibrated=False),
        DueState.UNUSABLE: an_instrument(),
        DueState.WITHDRAWN: an_instrument(),
    }
    a_calibration(held[DueState.SOON], days_ago=100, due_on=today)
    a_calibration(held[DueState.OVERDUE], days_ago=100, due_on=today - timedelta(days=1))
    found_out(held[DueState.UNUSABLE], usable=False)
    actions.withdraw(held[DueState.WITHDRAWN], "Dropped", by=BY)
    for expected, row in held.items():
        assert state(row) is expected
        assert list(queries.in_state(queries.instruments(today), expected, today)) == [row]


def test_a_voided_calibration_counts_no_more_and_stays() -> None:
    """Entered by mistake: the one before holds again, the row and its reason are kept."""
    row = an_instrument()
    wrong = found_out(row, usable=False)
    actions.void_calibration(wrong, "Another instrument's certificate", by=BY)
    assert state(row) is DueState.IN_DATE
    assert Calibration.objects.get(pk=wrong.pk).voided_why == "Another instrument's certificate"
    with pytest.raises(MoveRefusedError, match="voided already"):
        actions.void_calibration(wrong, "Again", by=BY)


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"days_ago": -1}, "done_on"),
        ({"due_on": "before"}, "due_on"),
        ({"as_found": "out"}, "found_words"),
        ({"certificate": "twice"}, "certificate"),
        ({"certificate": ""}, "certificate"),
        ({"as_found": "perhaps"}, "as_found"),
    ],
)
def test_a_calibration_that_cannot_be_is_refused(facts: dict[str, object], field: str) -> None:
    """Tomorrow, due before it was done, out without saying how, one certificate twice, none at all."""
    row = an_instrument(calibrated=False)
    a_calibration(row, days_ago=50, certificate="twice")
    if "due_on" in facts:
        facts = {"due_on": clock.today() - timedelta(days=1)}
    with pytest.raises(BadValueError) as refused:
        a_calibration(row, **facts)  # type: ignore[arg-type] # facts of several kinds
    assert refused.value.field == field


def test_an_uncertainty_has_its_unit() -> None:
    """A bare 0.5 could be anything."""
    with pytest.raises(BadValueError) as refused:
        an_instrument(uncertainty=Decimal("0.5"), uncertainty_unit=" ")
    assert refused.value.field == "uncertainty_unit"


def test_a_number_is_given_once() -> None:
    """Two instruments never share a number."""
    row = an_instrument()
    with pytest.raises(BadValueError) as refused:
        an_instrument(number=row.number)
    assert refused.value.field == "number"


def test_who_works_on_the_bench_records_and_who_keeps_the_register_edits(technician: Person, manager: Person) -> None:
    """A technician calibrates and does not add, edit or withdraw; a manager does both."""
    row, by = an_instrument(), actor_for(technician)
    for forbidden in (
        lambda: actions.add_instrument({"number": "X", "place": a_bench()}, by=by),
        lambda: actions.edit_instrument(row, {"name": "Y"}, by=by),
        lambda: actions.withdraw(row, "Old", by=by),
    ):
        with pytest.raises(NotAllowedError):
            forbidden()
    given = actions.NewCalibration(
        done_on=clock.today(), certificate="K-1", laboratory="Ostrel Calibration", as_found="within"
    )
    assert actions.record_calibration(row, given, by=by).entered_by == "Tova Lindqvarn"
    assert actions.edit_instrument(row, {"name": "Y"}, by=actor_for(manager)).name == "Y"


def test_a_form_opened_before_another_change_is_refused() -> None:
    """Two edits at once: the second is told."""
    row = an_instrument()
    opened = fingerprint(row, actions.EDITABLE)
    actions.edit_instrument(row, {"name": "Analyser two"}, by=BY)
    with pytest.raises(ConflictError):
        actions.edit_instrument(row, {"name": "Analyser three"}, by=BY, opened=opened)


def test_the_trail_tells_every_act() -> None:
    """Added, calibrated, changed, voided, withdrawn."""
    row = an_instrument()
    actions.edit_instrument(row, {"every_months": 6}, by=BY, why="The maker asks for it")
    actions.void_calibration(row.calibrations.get(), "Typed twice", by=BY)
    actions.withdraw(row, "Dropped", by=BY)
    verbs = TrailEntry.objects.filter(subject_kind__in=["instrument", "calibration"]).order_by("id")
    assert list(verbs.values_list("verb", flat=True)) == [
        "added instrument", "recorded calibration", "changed instrument", "voided calibration", "withdrew instrument",
    ]  # fmt: skip


def test_the_last_good_calibration_was_found_good_and_left_good() -> None:
    """One that was adjusted, first of its kind, unusable or voided says nothing about the time before it."""
    row = an_instrument(calibrated=False)
    good = a_calibration(row, days_ago=400)
    found_out(row, days_ago=300)
    a_calibration(row, days_ago=250, as_found="unknown")
    actions.void_calibration(a_calibration(row, days_ago=200), "Mistake", by=BY)
    latest = found_out(row, days_ago=10, usable=False)
    assert queries.last_good(latest) == good
    assert queries.last_good(good) is None
    assert queries.good_again(latest) is None
    assert queries.good_again(a_calibration(row, days_ago=5)) == clock.today() - timedelta(days=5)
    assert queries.good_again(latest) == clock.today() - timedelta(days=5)
