"""Procedures, received drivers and worked orders, made by the bench's own actions."""

from decimal import Decimal

from django.test import Client

from fleet.audit.actors import Actor
from fleet.audit.models import TrailEntry
from fleet.bench import actions as bench
from fleet.bench.models import Order, OrderKind, Procedure, ProcedureVersion, Reading, ReadingFile, Step
from fleet.bench.queries import work_before
from fleet.core.orders import ABSENT_OUTCOMES, Outcome
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry.models import Device
from fleet.web import clock
from fleet.web.uploads import Upload
from tests.builders import BY, a_bench

CHECK = bench.NewStep(words="Case and holder are sound")
FLOW = bench.NewStep(
    words="Delivery error at 5 mL/h",
    kind="reading",
    unit="%",
    low=Decimal(-5),
    high=Decimal(5),
    limit_source="common practice, no source",
)
LOOK = bench.NewStep(words="Accessories are with it", required=False)
NOTE = bench.NewStep(words="Software version", kind="text")
STEPS = (CHECK, FLOW, LOOK, NOTE)
PNG = b"\x89PNG\r\n\x1a\n and its rest"
#: Of every kind of step one, the computed one from the reading before it.
ALL_KINDS = (
    CHECK,
    bench.NewStep(words="Volume", kind="reading", unit="mL", key="volume", low=Decimal(4), limit_source="s"),
    bench.NewStep(
        words="Twice as much", kind="computed", unit="mL", formula="2 * volume", high=Decimal(20), limit_source="s"
    ),
    bench.NewStep(words="Lamp", kind="choice", passing=("green",), failing=("red",)),
    bench.NewStep(words="Photo", kind="file"),
    NOTE,
)


def a_procedure(
    kind: str = "corrective", steps: tuple[bench.NewStep, ...] = STEPS, code: str = "", **facts: object
) -> ProcedureVersion:
    """A procedure in force today, of four steps: a check, a reading within 5 %, one that may be left out, a note."""
    given = {"in_force_from": clock.today(), "source": "common practice, no source", **facts}
    device_type = given.pop("device_type", None)
    return bench.publish(code or f"{kind}-list", f"Our {kind} list", kind, device_type, steps, by=BY, **given)


def procedures() -> None:
    """A procedure for each kind of order, once."""
    for kind in OrderKind.values:
        if not Procedure.objects.filter(code=f"{kind}-list").exists():
            a_procedure(kind)


def as_actor(person: Person) -> Actor:
    """The person as an actor on a page."""
    return actor_for(person)


def received(device: Device, by: Person | Actor, **facts: object) -> Order:
    """The driver taken in on the bench of Mereford General, with procedures for all kinds."""
    procedures()
    return bench.receive(device, bench=a_bench(), by=by if isinstance(by, Actor) else actor_for(by), **facts)


def step(order: Order, position: int) -> Step:
    """The step of the order's procedure at a position."""
    return Step.objects.get(version=order.procedure_version, position=position)


def good(given: Step) -> bench.Answer:
    """An answer that passes."""
    if given.kind == Step.Kind.READING:
        return bench.Answer(value=str(given.low if given.low is not None else 1))
    if given.kind == Step.Kind.CHOICE:
        return bench.Answer(chosen=given.passing[0])
    if given.kind == Step.Kind.FILE:
        return bench.Answer(file=Upload("photo.png", PNG))
    # A computed step is worked out from the others, whatever is given.
    return bench.Answer(note="2.4.1") if given.kind == Step.Kind.TEXT else bench.Answer(passed=True)


def put(order: Order, position: int, answer: bench.Answer, by: Person, revision: int | None = None) -> Reading:
    """One answer, by default to the order as it now stands."""
    current = Order.objects.get(pk=order.pk).revision if revision is None else revision
    return bench.answer(order, step(order, position), answer, revision=current, by=actor_for(by))


def attach(order: Order, content: bytes) -> ReadingFile:
    """A photo at the first step of an order, whatever its kind."""
    first = Step.objects.filter(version=order.procedure_version).earliest("position")
    reading = Reading.objects.create(order=order, step=first, verdict="pass", taken_at=clock.now(), latest=False)
    return ReadingFile.objects.create(
        reading=reading, kind="image/jpeg", size=len(content), sha256="0" * 64, content=content
    )


def work(order: Order, by: Person | Actor) -> Order:
    """Every step answered so that it passes."""
    steps = Step.objects.filter(version=order.procedure_version)
    actor = by if isinstance(by, Actor) else actor_for(by)
    bench.answer_many(order, [(each, good(each)) for each in steps], by=actor)
    return fresh(order)


def finish(order: Order, by: Person | Actor, outcome: Outcome = Outcome.REPAIRED, **facts: object) -> Order:
    """The order finished as it now stands, with the codes that it asks for."""
    actor = by if isinstance(by, Actor) else actor_for(by)
    codes = asked_codes(order) if outcome not in ABSENT_OUTCOMES else {}
    given = bench.Completion(outcome=outcome, **{"action_taken": "Mended and checked.", **codes, **facts})
    return bench.complete(order, given, revision=fresh(order).revision, by=actor)


def asked_codes(order: Order) -> dict[str, str]:
    """What an order must say at its end: of a service that it found nothing, of a fault soon after work no cause."""
    if order.kind == OrderKind.PLANNED:
        return {"finding": "nothing"}
    return {"caused_by_work": "unclear"} if work_before(order) else {}


def fresh(order: Order) -> Order:
    """The order as the database has it."""
    return Order.objects.select_related("device").get(pk=order.pk)


def again(device: Device) -> Device:
    """The device as the database has it."""
    return Device.objects.get(pk=device.pk)


def verbs(order: Order) -> list[str]:
    """What the trail tells of an order, oldest first."""
    entries = TrailEntry.objects.filter(subject_kind="order", subject_id=order.pk).order_by("id")
    return list(entries.values_list("verb", flat=True))


def signed_in(person: Person) -> Client:
    """A browser in which somebody is signed in."""
    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return client
