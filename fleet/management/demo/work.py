"""Bench work that every order shares: the answers at its steps, and the completion."""

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Final

from fleet.audit.actors import Actor
from fleet.bench.actions import Answer, Completion, answer_many, complete, sign_work
from fleet.bench.models import Order, Step
from fleet.core.safety import Context, Method
from fleet.management.demo.cells import Run
from fleet.management.demo.dice import Dice
from fleet.management.demo.world import World
from fleet.stores.models import Instrument

_NOTES: Final = {
    "Software version": "3.{minor}.{patch}",
    "Battery: maker": "Fennick Cells, date code read from the label",
    "event log": "Log saved; {events} entries since last time, software 3.{minor}.{patch}",
    "reproduce": "Tried as the ward described it, with the syringe that came along",
    "before the update": "As found; software 3.{minor}.{patch}",
    "restored": "Restored; software 3.{minor}.{patch}",
}
#: How the safety tests of the scenario are made.
MAINS: Final = Context(method=Method.DIRECT.value, mains_v=Decimal(230))
_CHANGED: Final = "Plunger clamp adjusted; measured again with a new 50 mL syringe"
#: Mean and spread of a sound driver's readings, by unit; kept within three spreads, so that none fails by chance.
_USUAL: Final = {"%": (0.3, 1.3), "min": (14, 4), "µA": (31, 7), "h": (11, 0.3)}


def work_through(
    world: World, order: Order, *, by: Actor, run: Run | None = None, instead: Mapping[int, Answer] | None = None
) -> None:
    """Answer every step of an order with plausible values; `instead` gives other answers by position of the step."""
    if order.procedure_version_id is None:
        return
    given = instead or {}
    steps = world.steps(order.procedure_version_id)
    answers = [
        (step, given.get(step.position) or _answer(step, world.rng, run, _tool(world, order, step, run)))
        for step in steps
    ]
    # Kept only where a step had failed before.
    answer_many(order, [(step, replace(answer, changed=_CHANGED)) for step, answer in answers], by=by)


def fail_delivery(world: World, order: Order, *, by: Actor) -> None:
    """Answer the delivery step alone, out of its limits."""
    steps = world.steps(order.procedure_version_id or 0)
    step = next(step for step in steps if step.kind == Step.Kind.READING and step.unit == "%")
    note = "50 mL syringe; measured twice"
    answer_many(order, [(step, Answer(value=f"{world.rng.uniform(6.5, 9.5):.1f}", note=note))], by=by)


def finish(order: Order, given: Completion, *, by: Actor) -> Order:
    """Finish an order as it stands now."""
    return complete(order, given, revision=_revision(order), by=by)


def sign(order: Order, *, by: Actor) -> None:
    """Sign the work on an order that a colleague will finish."""
    sign_work(order, revision=_revision(order), by=by)


def _revision(order: Order) -> int:
    return Order.objects.values_list("revision", flat=True).get(pk=order.pk)


def _tool(world: World, order: Order, step: Step, run: Run | None) -> Instrument | None:
    """What a step is measured with on the bench of an order: what it needs, and the flow analyser for a delivery."""
    bench = order.bench_id or 0
    if step.instrument_kind == Instrument.Kind.SAFETY:
        return world.testers.get(bench)
    return world.analysers.get(bench) if step.unit == "%" and run is None else None


def _answer(step: Step, rng: Dice, run: Run | None, tool: Instrument | None) -> Answer:
    if step.kind == Step.Kind.CHECK:
        return Answer(passed=True)
    if step.kind == Step.Kind.TEXT:
        return Answer(note=_note(step, rng))
    if step.kind == Step.Kind.CHOICE:
        return Answer(chosen=step.passing[0], note=_note(step, rng) if "in the note" in step.caution else "")
    if step.kind == Step.Kind.FILE:
        return Answer(na=True, note="Nothing to take a picture of")
    if not step.required and rng.happens(0.4):
        return Answer(na=True, note="No separate applied part to test")
    delivery = step.unit == "%"
    return Answer(
        value=_value(step, rng, run),
        note="50 mL syringe" if delivery else "",
        instrument=tool,
        context=MAINS if step.quantity else Context(),
    )


def _note(step: Step, rng: Dice) -> str:
    text = next((text for key, text in _NOTES.items() if key in step.words), "Done")
    return text.format(minor=rng.randrange(2, 6), patch=rng.randrange(10), events=rng.randrange(12, 240))


def _value(step: Step, rng: Dice, run: Run | None) -> str:
    if run is not None and step.unit == "h":
        return f"{run.charge_hours:.1f}"
    if run is not None and step.low is not None and step.unit in {"%", "min"}:
        return f"{100 * run.fraction:.1f}" if step.unit == "%" else f"{rng.uniform(31, 55):.0f}"
    middle, spread = _USUAL[step.unit] if step.required else (9, 3)
    return f"{min(middle + 3 * spread, max(middle - 3 * spread, rng.gauss(middle, spread))):.1f}"
