"""Working an order: the answer at each step, and what the driver itself shows."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from django.db import transaction
from django.db.models import prefetch_related_objects

from fleet.audit.actors import Actor
from fleet.bench.actions.computing import compute
from fleet.bench.actions.holding import described, put, since, workable
from fleet.bench.actions.instruments import name_instrument
from fleet.bench.actions.measuring import measure
from fleet.bench.models import Order, Reading, ReadingFile, Step
from fleet.bench.queries import in_words
from fleet.bench.queries.failing import FAILED, last_judged
from fleet.bench.queries.judging import Judges
from fleet.core.errors import BadValueError, ConflictError
from fleet.core.safety import Context
from fleet.registry import actions as registry
from fleet.stores.models import Instrument
from fleet.web import clock
from fleet.web.uploads import Upload, stored


@dataclass(frozen=True, slots=True)
class Answer:
    """What is answered at a step: what its kind asks for, or `na` with a reason.

    `value` at a reading, `passed` at a check, `note` at a text, `chosen` at a choice, `file` where one is attached.
    `value` as it was typed ("12,5" is kept as typed beside 12.5, "7.5 psi" is converted) or as a Decimal, in the step's
    unit. `instrument` is what it was measured with; `context` what a safety test was made on and how. `changed` is why
    it passes now, where a step that must pass had failed.
    """

    value: Decimal | str | None = None
    passed: bool | None = None
    na: bool = False
    note: str = ""
    chosen: str = ""
    file: Upload | None = None
    instrument: Instrument | None = None
    context: Context = field(default_factory=Context)
    changed: str = ""


@transaction.atomic
def answer(  # noqa: PLR0913 - one answer, and what its form knew
    order: Order, step: Step, given: Answer, *, revision: int, by: Actor, knows_own: bool = False
) -> Reading:
    """Answer one step. An earlier answer stays on record and no longer counts.

    Raises BadValueError for an unusable answer, or for a pass over a failure that does not say what changed;
    MoveRefusedError where no work may be done; and ConflictError when this step was answered after `revision`, in
    another window of the same person too unless `knows_own`. An answer to another step is no conflict.
    """
    row = workable(order, by)
    _refuse_overwriting(row, step, revision, by.person_id if knows_own else None)
    readings = _put_answers(row, [(step, given)], by)
    return next(reading for reading in readings if reading.step_id == step.pk)


@transaction.atomic
def answer_many(order: Order, answers: Sequence[tuple[Step, Answer]], *, by: Actor) -> list[Reading]:
    """Answer several steps together, all or none."""
    return _put_answers(workable(order, by), answers, by) if answers else []


def _refuse_overwriting(order: Order, step: Step, revision: int, known_of: int | None) -> None:
    """A later answer is not overwritten unseen, but by whom it is `known_of` (a person's id)."""
    if revision == order.revision:
        return
    for entry in since(order, revision).exclude(person_id=known_of or 0):
        if str(step.position) in entry.after.get("steps", {}):
            raise ConflictError(
                f"Step {step.position} was answered after you opened it: {described(entry)}. "
                "Yours is still in the form and is not saved. Compare the two; save again to let yours count."
            )


def _put_answers(order: Order, answers: Sequence[tuple[Step, Answer]], by: Actor) -> list[Reading]:
    now = clock.now()
    # A computed step is worked out, not answered, unless it is left out.
    typed = [(step, given) for step, given in answers if step.kind != Step.Kind.COMPUTED or given.na]
    for step, _ in typed:
        if step.version_id == order.procedure_version_id and order.procedure_version is not None:
            step.version = order.procedure_version  # read once, not for each step
    prefetch_related_objects([step for step, _ in typed], "limits")
    judges, before = Judges(order.device), last_judged(order)
    readings = [_reading(order, step, given, judges, by) for step, given in typed]
    for reading, (_, given) in zip(readings, typed, strict=True):
        _explain(reading, before.get(reading.step_id), given.changed)
    Reading.objects.filter(order=order, step__in=[step for step, _ in typed], latest=True).update(latest=False)
    Reading.objects.bulk_create(readings)
    ReadingFile.objects.bulk_create(
        _file(reading, given.file) for reading, (_, given) in zip(readings, typed, strict=True) if given.file
    )
    worked = compute(order, {step.pk for step, _ in answers}, judges, at=now, by=by)
    why = next((given.changed for _, given in answers if given.changed.strip()), "")
    for reading in worked:
        if _explain(reading, before.get(reading.step_id), why):
            reading.save(update_fields=["changed"])
    readings += worked
    told = {str(reading.step.position): in_words(reading) for reading in readings}
    put(order, "answered", by=by, told={"steps": told})
    return readings


def _explain(reading: Reading, before: Reading | None, changed: str) -> bool:
    """Put on a reading what changed since its step failed; False where that is not asked.

    Only a later pass meets the failure of a required step: "not applicable" is refused over it.
    """
    if before is None or before.verdict not in FAILED or not reading.step.required:
        return False
    if reading.verdict == Reading.Verdict.NOT_APPLICABLE:
        message = (
            f"Step {reading.step.position} failed ({in_words(before)}), and “not applicable” takes no failure away. "
            "Answer it again when it passes, and say what changed."
        )
        raise BadValueError(message, field="verdict")
    if reading.verdict != Reading.Verdict.PASS:
        return False
    reading.changed = changed.strip()
    if not reading.changed:
        message = (
            f"Step {reading.step.position} failed before ({in_words(before)}) and passes now. "
            "Say what changed: what was done, or why it was measured again."
        )
        raise BadValueError(message, field="changed")
    return True


def _reading(order: Order, step: Step, given: Answer, judges: Judges, by: Actor) -> Reading:
    if step.version_id != order.procedure_version_id:
        raise BadValueError(f"“{step}” is no step of order {order}. Choose one of its own procedure.", field="step")
    note = given.note.strip()
    reading = Reading(order=order, step=step, note=note, taken_at=clock.now(), by_id=by.person_id)
    if given.na:
        if not note:
            raise BadValueError("Say in the note why this step does not apply.", field="note")
        reading.verdict = Reading.Verdict.NOT_APPLICABLE
        return reading
    name_instrument(reading, given.instrument, judges)
    if step.kind == Step.Kind.READING:
        measure(reading, given.value, given.context, judges, passed=given.passed)
    else:
        _JUDGES[Step.Kind(step.kind)](reading, given)
    return reading


def _judge_check(reading: Reading, given: Answer) -> None:
    if given.passed is None:
        raise BadValueError("Say whether this check passed or failed.", field="passed")
    if given.passed is False and not reading.note:
        raise BadValueError("Say in the note what is wrong, for whoever meets this driver next.", field="note")
    reading.verdict = Reading.Verdict.PASS if given.passed else Reading.Verdict.FAIL


def _judge_text(reading: Reading, given: Answer) -> None:
    if not reading.note:
        raise BadValueError("Write it down, or mark the step as not applicable with a reason.", field="note")
    reading.verdict = Reading.Verdict.FAIL if given.passed is False else Reading.Verdict.PASS


def _judge_choice(reading: Reading, given: Answer) -> None:
    step = reading.step
    if given.chosen not in {*step.passing, *step.failing}:
        raise BadValueError(f"Choose one of: {', '.join([*step.passing, *step.failing])}.", field="chosen")
    reading.chosen = given.chosen
    reading.verdict = Reading.Verdict.PASS if given.chosen in step.passing else Reading.Verdict.FAIL


def _judge_file(reading: Reading, given: Answer) -> None:
    if given.file is None:
        raise BadValueError("Attach a photo or a PDF, or mark the step as not applicable with a reason.", field="file")
    if given.passed is False and not reading.note:
        raise BadValueError("Say in the note what is wrong with it.", field="note")
    reading.verdict = Reading.Verdict.FAIL if given.passed is False else Reading.Verdict.PASS


_JUDGES = {
    Step.Kind.CHECK: _judge_check,
    Step.Kind.CHOICE: _judge_choice,
    Step.Kind.TEXT: _judge_text,
    Step.Kind.FILE: _judge_file,
}


def _file(reading: Reading, given: Upload) -> ReadingFile:
    if reading.step.kind != Step.Kind.FILE:
        raise BadValueError("No file is attached at this step.", field="file")
    return ReadingFile(reading=reading, **stored(given))


@transaction.atomic
def read_off(order: Order, *, by: Actor, firmware: str = "", running_hours: Decimal | None = None) -> Order:
    """Record what the driver itself shows while it is worked on: its software version, its running-hours counter."""
    row = workable(order, by)
    if not firmware.strip() and running_hours is None:
        raise BadValueError("Give the software version, the running hours, or both.", field="firmware")
    if firmware.strip():
        registry.note_firmware(row.device, firmware.strip(), at=clock.now(), by=by)
    if running_hours is not None:
        registry.note_running_hours(row.device, running_hours, at=clock.now(), by=by)
    return row
