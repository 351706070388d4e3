"""Writing a procedure: drafts, undo, approval by a second person, and what a draft may not do."""

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest

from fleet.audit.models import TrailEntry
from fleet.bench import actions as bench
from fleet.bench.actions import drafts
from fleet.bench.models import OrderKind, ProcedureVersion, Step
from fleet.bench.queries import in_force
from fleet.bench.queries.faults import wider
from fleet.bench.queries.lines import lines_of
from fleet.bench.queries.procedures import differences, displaced_by, shelf, shelves, state_words
from fleet.core.errors import BadValueError, ConflictError, MoveRefusedError, NotAllowedError
from fleet.people.models import Person
from fleet.web import clock
from tests.bench.builders import CHECK, FLOW, LOOK, NOTE, a_procedure, as_actor, signed_in
from tests.builders import BY, a_bench, a_device, a_type

pytestmark = pytest.mark.django_db


def a_draft(writer: Person, *lines: bench.NewStep) -> ProcedureVersion:
    """A draft of a new procedure for planned services, with these steps."""
    by = as_actor(writer)
    draft = drafts.begin_procedure("Our service", OrderKind.PLANNED, None, by=by)
    draft = drafts.state_source(draft, "Our own list", revision=draft.revision, by=by)
    for position, line in enumerate(lines or (CHECK, FLOW)):
        draft = drafts.add_step(draft, line, position, revision=draft.revision, by=by)
    return draft


def sent(writer: Person, *lines: bench.NewStep) -> ProcedureVersion:
    """The same, waiting for approval."""
    draft = a_draft(writer, *lines)
    return drafts.submit(draft, "Written anew", revision=draft.revision, by=as_actor(writer))


def approved(writer: Person, manager: Person, *lines: bench.NewStep) -> ProcedureVersion:
    """The same, in force from today."""
    draft = sent(writer, *lines)
    return drafts.approve(draft, clock.today(), revision=draft.revision, by=as_actor(manager))


def words(draft: ProcedureVersion) -> list[str]:
    return [line.words for line in lines_of(draft)]


def test_a_second_person_approves_and_only_then_it_is_in_force(technician: Person, manager: Person) -> None:
    """A draft and one that waits start no order; approved it does, from its day on, with who and when on record."""
    draft = sent(technician)
    assert in_force(a_type(), OrderKind.PLANNED, clock.today()) is None
    tomorrow = clock.today() + timedelta(days=1)
    done = drafts.approve(draft, tomorrow, revision=draft.revision, by=as_actor(manager))
    assert (done.approved_by, done.approved_name) == (manager, str(manager))
    assert done.approved_at is not None
    assert in_force(a_type(), OrderKind.PLANNED, clock.today()) is None
    assert in_force(a_type(), OrderKind.PLANNED, tomorrow) == done
    entry = TrailEntry.objects.filter(subject_kind="procedureversion").latest("pk")
    assert (entry.verb, entry.person_id) == ("approved procedure", manager.pk)


def test_no_writer_approves_not_even_one_who_changed_one_word(technician: Person, manager: Person) -> None:
    """Whoever began a draft or changed one step of it is refused; a technician holds the duty for none."""
    own = sent(manager)
    with pytest.raises(NotAllowedError, match="second person"):
        drafts.approve(own, clock.today(), revision=own.revision, by=as_actor(manager))
    with pytest.raises(NotAllowedError, match="duty"):
        drafts.approve(own, clock.today(), revision=own.revision, by=as_actor(technician))
    drafts.withdraw(own, "begun anew", revision=own.revision, by=as_actor(manager))
    draft = drafts.begin_draft(own.procedure, by=as_actor(technician))
    draft = drafts.state_source(draft, "ours", revision=draft.revision, by=as_actor(technician))
    draft = drafts.add_step(draft, CHECK, 0, revision=draft.revision, by=as_actor(manager))
    draft = drafts.submit(draft, "One check", revision=draft.revision, by=as_actor(technician))
    with pytest.raises(NotAllowedError, match="second person"):
        drafts.send_back(draft, "no", revision=draft.revision, by=as_actor(manager))


def test_a_command_or_job_approves_nothing(technician: Person) -> None:
    """Approval is a person's: an actor without a person is refused whatever duties it holds."""
    draft = sent(technician)
    with pytest.raises(NotAllowedError):
        drafts.approve(draft, clock.today(), revision=draft.revision, by=BY)


def test_an_order_keeps_the_version_it_was_started_with(technician: Person, manager: Person) -> None:
    """A later version in force changes no order that has begun, and is used by the next."""
    first = approved(technician, manager)
    order = bench.receive(a_device(), bench=a_bench(), by=as_actor(technician), kind="planned")
    begun = order.procedure_version
    draft = drafts.begin_draft(first.procedure, by=as_actor(technician))
    draft = drafts.remove_step(draft, 2, revision=draft.revision, by=as_actor(technician))
    draft = drafts.submit(draft, "No flow", revision=draft.revision, by=as_actor(technician))
    second = drafts.approve(draft, clock.today(), revision=draft.revision, by=as_actor(manager))
    order.refresh_from_db()
    assert order.procedure_version == begun != second
    held = shelf(second.procedure, clock.today())
    assert held.in_force == second
    assert state_words(ProcedureVersion.objects.get(pk=first.pk), held) == "Replaced"


def test_each_change_is_saved_and_can_be_taken_back_one_by_one(technician: Person) -> None:
    """Adding, moving, copying, changing and removing are undone in turn, to the last digit of a limit."""
    by = as_actor(technician)
    own = bench.OwnLimit(device_type=a_type(), low=Decimal("-2.5"), high=Decimal("0.125"), source="maker, page 4")
    flow = bench.NewStep(
        words=FLOW.words,
        kind="reading",
        unit="%",
        low=Decimal("-5.25"),
        high=Decimal(5),
        limit_source="s",
        limits=(own,),
    )
    draft = a_draft(technician, CHECK, flow, LOOK)
    stages = [lines_of(draft)]
    for act in (
        lambda row: drafts.move_step(row, 3, -2, revision=row.revision, by=by),
        lambda row: drafts.copy_step(row, 3, revision=row.revision, by=by),
        lambda row: drafts.change_step(row, 2, NOTE, revision=row.revision, by=by),
        lambda row: drafts.remove_step(row, 1, revision=row.revision, by=by),
    ):
        draft = act(draft)
        stages.append(lines_of(draft))
    assert [line.words for line in stages[1]] == [LOOK.words, CHECK.words, FLOW.words]
    assert [line.words for line in stages[-1]] == [NOTE.words, FLOW.words, FLOW.words]
    for stage in reversed(stages[:-1]):
        draft = drafts.undo(draft, revision=draft.revision, by=by)
        assert lines_of(draft) == stage


def test_moving_stays_within_the_list(technician: Person) -> None:
    """The first step moved up stays first; a step that is not there is refused."""
    draft = a_draft(technician, CHECK, FLOW)
    by = as_actor(technician)
    draft = drafts.move_step(draft, 1, -1, revision=draft.revision, by=by)
    assert words(draft) == [CHECK.words, FLOW.words]
    with pytest.raises(BadValueError, match="no step 3"):
        drafts.move_step(draft, 3, 1, revision=draft.revision, by=by)


def test_two_writers_cannot_overwrite_each_other(technician: Person, second_technician: Person) -> None:
    """A change made on an older page is refused, names who changed what, and writes nothing."""
    draft = a_draft(technician, CHECK, FLOW)
    drafts.change_step(draft, 1, NOTE, revision=draft.revision, by=as_actor(second_technician))
    with pytest.raises(ConflictError, match="Bram Ostley changed step 1"):
        drafts.change_step(draft, 1, LOOK, revision=draft.revision, by=as_actor(technician))
    assert words(draft) == [NOTE.words, FLOW.words]


def test_an_approved_version_never_changes(technician: Person, manager: Person) -> None:
    """No act on the steps reaches a version that is approved or waits for approval."""
    waiting = sent(technician)
    with pytest.raises(MoveRefusedError, match="waiting for approval"):
        drafts.add_step(waiting, CHECK, 0, revision=waiting.revision, by=as_actor(technician))
    done = drafts.approve(waiting, clock.today(), revision=waiting.revision, by=as_actor(manager))
    for act in (drafts.undo, drafts.take_back):
        with pytest.raises(MoveRefusedError):
            act(done, revision=done.revision, by=as_actor(technician))


def test_sent_back_with_a_reason_it_is_a_draft_again(technician: Person, manager: Person) -> None:
    """The writer reads the reason until the draft is sent again; without a reason nothing is sent back."""
    draft = sent(technician)
    with pytest.raises(BadValueError, match="what has to change"):
        drafts.send_back(draft, " ", revision=draft.revision, by=as_actor(manager))
    back = drafts.send_back(draft, "The limit lacks its page", revision=draft.revision, by=as_actor(manager))
    assert (back.state, back.sent_back_why) == ("draft", "The limit lacks its page")
    again = drafts.submit(back, "With the page", revision=back.revision, by=as_actor(technician))
    assert again.sent_back_why == ""


def test_what_could_not_be_worked_is_not_sent(technician: Person) -> None:
    """A draft whose formula names no earlier reading, or that says no source or no reason, is refused with the step."""
    wrong = bench.NewStep(words="Share", kind="computed", unit="%", formula="100 * volume / 5")
    draft = a_draft(technician, CHECK, wrong)
    with pytest.raises(BadValueError, match="Step 2, “Share”, formula: no earlier reading is named “volume”"):
        drafts.submit(draft, "x", revision=draft.revision, by=as_actor(technician))
    draft = drafts.remove_step(draft, 2, revision=draft.revision, by=as_actor(technician))
    with pytest.raises(BadValueError, match="Say what changes"):
        drafts.submit(draft, " ", revision=draft.revision, by=as_actor(technician))


def test_one_draft_at_a_time_and_no_day_in_the_past(technician: Person, manager: Person) -> None:
    """A second draft of the same procedure is refused; so is an approval for yesterday."""
    draft = sent(technician)
    with pytest.raises(BadValueError, match="being written already, begun by Tova Lindqvarn"):
        drafts.begin_draft(draft.procedure, by=as_actor(manager))
    with pytest.raises(BadValueError, match="in the past"):
        drafts.approve(draft, clock.today() - timedelta(days=1), revision=draft.revision, by=as_actor(manager))


def test_a_name_that_is_taken_or_an_address_is_refused(technician: Person) -> None:
    """Two procedures don't share a code, and none is called like a page beside them."""
    a_draft(technician)
    for name in ("Our service", "Import", " "):
        with pytest.raises(BadValueError) as refused:
            drafts.begin_procedure(name, OrderKind.PLANNED, None, by=as_actor(technician))
        assert refused.value.field == "name"


def test_a_ward_writes_nothing(ward_nurse: Person) -> None:
    """Writing is a duty of the bench."""
    with pytest.raises(NotAllowedError):
        drafts.begin_procedure("Ours", OrderKind.PLANNED, None, by=as_actor(ward_nurse))


def test_differences_tell_new_gone_and_changed_steps() -> None:
    """Each step of the newer is same, new or changed with its fields; what is gone is told where it stood."""
    changed = bench.NewStep(
        words=FLOW.words, kind="reading", unit="%", low=Decimal(-4), high=Decimal(5), limit_source="s"
    )
    found = differences([CHECK, FLOW, LOOK], [CHECK, NOTE, changed])
    assert [(each.what, each.position) for each in found] == [("same", 1), ("new", 2), ("changed", 3), ("gone", 0)]
    assert "lower limit: -5 → -4" in found[2].details


def test_the_shelf_finds_by_words_kind_and_type(technician: Person) -> None:
    """A search reads names and steps; a type sees its own procedures and those for all."""
    a_procedure("planned")
    a_procedure("battery", device_type=a_type())
    assert len(shelves(clock.today())) == 2
    assert [each.procedure.kind for each in shelves(clock.today(), words="delivery ERROR", kind="battery")] == [
        "battery"
    ]
    assert len(shelves(clock.today(), device_type=a_type().pk)) == 2
    assert shelves(clock.today(), words="nothing like it") == []
    assert Step.objects.exists()


def test_a_procedure_takes_no_other_s_place_unsaid(technician: Person, manager: Person) -> None:
    """Another for the same work asks why; then the trail tells it, and the one before says by which it is replaced."""
    first = a_procedure("planned", (replace(LOOK, required=True), CHECK, FLOW))
    draft = sent(technician)
    with pytest.raises(BadValueError, match=f"worked instead of “{first.procedure}”") as refused:
        drafts.approve(draft, clock.today(), revision=draft.revision, by=as_actor(manager))
    assert refused.value.field == "replaces"
    shown = signed_in(manager).get(f"/bench/procedures/{draft.procedure.code}/draft/").content.decode()
    assert "It takes the place of another procedure" in shown
    assert LOOK.words in shown
    done = drafts.approve(
        draft, clock.today(), revision=draft.revision, by=as_actor(manager), replaces="One list for all sites"
    )
    assert in_force(a_type(), OrderKind.PLANNED, clock.today()) == done
    assert "One list for all sites" in TrailEntry.objects.filter(verb="approved procedure").latest("pk").why
    held = shelf(first.procedure, clock.today())
    assert state_words(first, held) == f"Replaced by {done.procedure}"
    assert "Replaced" in signed_in(manager).get("/bench/procedures/").content.decode()


def test_its_own_next_version_asks_for_nothing(technician: Person, manager: Person) -> None:
    """A procedure that is worked already takes nobody's place; one for a type takes that of the one for all."""
    first = approved(technician, manager)
    again = drafts.begin_draft(first.procedure, by=as_actor(technician))
    again = drafts.submit(again, "Words", revision=again.revision, by=as_actor(technician))
    assert displaced_by(again, clock.today()) is None
    assert drafts.approve(again, clock.today(), revision=again.revision, by=as_actor(manager)).number == 2
    own = drafts.begin_procedure("Service of a type", OrderKind.PLANNED, a_type(), by=as_actor(technician))
    assert displaced_by(own, clock.today()) == again


def test_limits_of_a_type_that_let_more_pass_are_pointed_at(technician: Person) -> None:
    """The approver reads which; narrower ones are told of by nobody."""
    wide = bench.OwnLimit(device_type=a_type(), low=Decimal(-20), high=Decimal(5), source="The maker's manual")
    line = replace(FLOW, low=Decimal(-5), high=Decimal(5), limits=(wide,))
    assert list(wider([CHECK, line])) == [
        f"Step 2, {a_type()}: -20 to 5 % (The maker's manual), for all types -5 to 5 %"
    ]
    assert list(wider([replace(line, limits=(replace(wide, low=Decimal(-3)),))])) == []
