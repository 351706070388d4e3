"""The hospital writes its own procedures: one was replaced, one is to come, and one waits for a second person."""

from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from functools import partial
from typing import Final

from fleet.audit.actors import Actor
from fleet.bench.actions import NewStep, drafts
from fleet.bench.models import Procedure, Step
from fleet.management.demo.diary import local
from fleet.management.demo.world import World
from fleet.web import clock

_PHOTO: Final = NewStep(
    words="Photo of the case, where it was soiled or damaged",
    kind=Step.Kind.FILE.value,
    required=False,
    caution="No patient on the picture, no names",
)
_KEY: Final = NewStep(
    words="Key for the lock counted out",
    kind=Step.Kind.CHOICE.value,
    passing=("One key", "No lock"),
    failing=("Missing",),
)
_VOLUME: Final = NewStep(
    words="Volume weighed in 30 min at 10 mL/h, after the start-up period",
    kind=Step.Kind.READING.value,
    unit="mL",
    decimals=3,
    key="volume",
    caution="Name the syringe in the note: accuracy depends on it",
)
_ERROR: Final = NewStep(
    words="Delivery error at 10 mL/h, from that volume",
    kind=Step.Kind.COMPUTED.value,
    unit="%",
    decimals=1,
    formula="100 * (volume - 5) / 5",
    low=Decimal(-5),
    high=Decimal(5),
    limit_source="house example, to be set by the hospital; the maker's manual decides",
)


@dataclass(frozen=True, slots=True)
class Writing:
    """A next version: how many days before the end it is written, what it adds, and in how many days it is in force.

    `after` counts from the writing; None leaves it waiting for approval.
    """

    days_before: int
    code: str
    changes: str
    steps: tuple[NewStep, ...]
    after: int | None


_WRITINGS: Final = (
    Writing(420, "cleaning", "A photo where damage is seen, asked for by the wards", (_PHOTO,), 0),
    Writing(9, "loan-out", "Keys went missing on two loans", (_KEY,), 23),
    Writing(2, "service", "Delivery at a second rate, worked out from the volume", (_VOLUME, _ERROR), None),
)


def plan_procedures(world: World) -> None:
    """Plan what is written, approved and left for the reader to approve."""
    end = clock.local_day(world.diary.end)
    for writing in _WRITINGS:
        moment = local(end - timedelta(days=writing.days_before), 15)
        world.diary.plan(moment, partial(_write, writing, world.crew.technicians[0], world.crew.manager))


def _write(writing: Writing, by: Actor, approver: Actor) -> None:
    draft = drafts.begin_draft(Procedure.objects.get(code=writing.code), by=by)
    for step in writing.steps:
        last = draft.steps.count()
        draft = drafts.add_step(draft, step, last - 1, revision=draft.revision, by=by)
    draft = drafts.submit(draft, writing.changes, revision=draft.revision, by=by)
    if writing.after is not None:
        day = clock.today() + timedelta(days=writing.after)
        drafts.approve(draft, day, revision=draft.revision, by=approver)
