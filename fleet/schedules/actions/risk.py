"""The only writers of risk scores, of the classes they add up, and of the rules of the house."""

from collections.abc import Mapping
from datetime import date
from typing import Final

from django.db import transaction

from fleet.audit.actions import Happening, record, record_many
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.core.due import add_months
from fleet.core.errors import BadValueError
from fleet.core.permissions import May
from fleet.core.risk import BOUNDS, RULE_VERSION, Every, Scale, em_score
from fleet.registry.models import Device, DeviceType
from fleet.schedules.models import Due, HouseRule, Plan, RiskClass, TypeRisk
from fleet.schedules.queries import driver_years, high_risk, history_from, house_rule, risk_of
from fleet.schedules.risk_classes import CLASSES
from fleet.web import clock
from fleet.web.phrases import day as spoken

RULE_FACTS: Final = ("history_months", "history_years", "search_attempts", "search_days")
_LEAST_MONTHS: Final = 1


@transaction.atomic
def ensure_risk_classes(by: Actor) -> list[RiskClass]:
    """Add the classes of the starter table that are missing. Words or points changed since are left as they are."""
    by.must(May.EDIT_REGISTRY)
    known = set(RiskClass.objects.values_list("scale", "label"))
    fresh = [
        RiskClass(
            scale=row.scale.value, label=row.label, points=row.points, source=row.source, from_memory=row.from_memory
        )
        for row in CLASSES
        if (row.scale.value, row.label) not in known
    ]
    for row in fresh:
        row.save()
    record_many((Happening("added risk class", row, after={"points": row.points}) for row in fresh), by=by)
    return fresh


@transaction.atomic
def correct_risk_class(row: RiskClass, points: int, source: str, *, checked: bool, by: Actor) -> RiskClass:
    """Correct the points of a class; `checked`: by somebody with the source in hand. Scores keep their points."""
    by.must(May.SET_RISK_LIMITS)
    held = RiskClass.objects.select_for_update().get(pk=row.pk)
    least, most = BOUNDS[Scale(held.scale)]
    if not least <= points <= most:
        raise BadValueError(f"{Scale(held.scale).label} is scored from {least} to {most}.", field="points")
    if not source.strip():
        raise BadValueError("Say where the points are printed.", field="source")
    who = (
        {"checked_by": by.name[:120], "checked_on": clock.today()}
        if checked
        else {"checked_by": "", "checked_on": None}
    )
    before, after = change(held, points=points, source=source.strip(), from_memory=not checked, **who)
    if after:
        record(Happening("corrected risk class", held, before=before, after=after), by=by)
    return held


@transaction.atomic
def score_type(
    device_type: DeviceType, chosen: Mapping[Scale, RiskClass | None], *, note: str = "", by: Actor
) -> TypeRisk:
    """Score a type by one class of each scale (without an incident history: three terms). The score before is kept."""
    by.must(May.SET_RISK_LIMITS)
    DeviceType.objects.select_for_update(of=("self",)).get(pk=device_type.pk)
    classes = {scale: row for scale, row in chosen.items() if row is not None}
    if missing := [scale for scale in Scale if scale not in classes and scale is not Scale.HISTORY]:
        raise BadValueError(f"Choose a class of {missing[0].phrase}.", field=missing[0].value)
    before = risk_of(device_type)
    if before is not None:
        change(before, replaced_at=clock.now())
    row = TypeRisk(device_type=device_type, note=note.strip(), scored_at=clock.now(), scored_by=by.name[:120])
    _fill(row, classes)
    row.save()
    was = {"score": before.score, "variant": before.variant} if before else {}
    now = {"score": row.score, "variant": row.variant, "rule": row.rule}
    record(Happening("scored the risk of a type", row, before=was, after=now, why=row.note), by=by)
    return row


def _fill(row: TypeRisk, classes: Mapping[Scale, RiskClass]) -> None:
    score = em_score(**{scale.value: picked.points for scale, picked in classes.items()})
    for scale, picked in classes.items():
        setattr(row, scale.value, picked.label)
        setattr(row, f"{scale.value}_points", picked.points)
    row.score, row.variant, row.rule = score.total, score.variant.value, RULE_VERSION
    row.from_memory = any(picked.from_memory for picked in classes.values())


@transaction.atomic
def set_house_rule(values: Mapping[str, int], *, why: str, by: Actor) -> HouseRule:
    """Change what the hospital decides about its planned work; needs a reason."""
    by.must(May.SET_RISK_LIMITS)
    if not why.strip():
        raise BadValueError("Give the reason for the change.", field="why")
    for name, value in values.items():
        if name not in RULE_FACTS or value < _LEAST_MONTHS:
            raise BadValueError("Give 1 or more.", field=name)
    fresh = {"changed_at": clock.now(), "changed_by": by.name[:120]}
    row, _ = HouseRule.objects.select_for_update().get_or_create(pk=HouseRule.ONLY, defaults=fresh)
    before, after = change(row, **values)
    if after:
        change(row, changed_at=clock.now(), changed_by=by.name[:120])
        record(Happening("changed a house rule", row, before=before, after=after, why=why), by=by)
    return row


def ask_departure(plan: Plan, by: Actor) -> None:
    """Refuse an interval that departs from the maker's without all that must stand beside it; note who allowed it.

    Longer than the maker's: only as an alternative schedule, with the maker's interval, reason, evidence, evaluator,
    day and day of review; never for a type without history enough; for a high-risk type only by whoever may set risk
    limits, whose name is kept on the plan.
    """
    longer = plan.every.longer_than(plan.maker_every)
    if plan.basis == Plan.Basis.MAKER:
        if longer:
            message = "This is longer than the maker's interval. Choose the alternative schedule, and say why."
            raise BadValueError(message, field="basis")
        plan.allowed_by = ""
        return
    _refuse_bound(plan.device_type)
    _ask_reasoned(plan)
    plan.allowed_by = _allowed(plan.device_type, history_from(plan.device_type), by) if longer else ""


def ask_longer(held: Plan, changed: Plan, why: str, by: Actor) -> None:
    """Refuse what lets more time pass, for a high-risk type, but by a manager and with the reason.

    A longer interval on the maker's own word (the maker may have changed its instructions), a window that stays open
    longer after the due day, and a plan switched off: each would be a way round an alternative schedule.
    """
    if not high_risk(changed.device_type):
        return
    if held.active and not changed.active:
        say = "Say why it is no longer needed, or what takes its place."
        _ask_manager("switch off a plan of it", "active", say, why, by)
    if changed.basis == Plan.Basis.MAKER and changed.every.longer_than(held.every):
        say = "Say which of the maker's documents states the longer interval, or choose the alternative schedule."
        _ask_manager("lengthen its interval", "every_months", say, why, by)
    if changed.window_after_days > held.window_after_days:
        say = "Say why the work may wait longer after its due day."
        _ask_manager("widen a window after the due day", "window_after_days", say, why, by)


def ask_new(plan: Plan, why: str, by: Actor) -> None:
    """Refuse a new plan for a high-risk type that lets more time pass than one of its kind, but with a reason.

    By the maker's instructions it states the maker's interval, so that a longer one shows as what it is. One already
    allowed as an alternative schedule has its reason. Plans switched off count too: they are what it may replace.
    """
    if not high_risk(plan.device_type):
        return
    if plan.basis == Plan.Basis.MAKER and not plan.maker_every.stated:
        message = "This type is high-risk. Give the interval that the maker's instructions state."
        raise BadValueError(message, field="maker_months")
    if plan.allowed_by:
        return
    others = Plan.objects.filter(device_type=plan.device_type, kind=plan.kind)
    if longer := next((one for one in others if _lets_more_pass(plan, one)), None):
        say = f"Say why it lets more time pass than “{longer}”."
        _ask_manager("add a plan that lets more time pass than one it has", "every_months", say, why, by)


def _lets_more_pass(plan: Plan, other: Plan) -> bool:
    return plan.every.longer_than(other.every) or plan.window_after_days > other.window_after_days


def _ask_manager(deed: str, field: str, say: str, why: str, by: Actor) -> None:
    if May.SET_RISK_LIMITS not in by.duties:
        message = f"This type is high-risk: only a manager may {deed}, with the reason."
        raise BadValueError(message, field=field)
    if not why.strip():
        raise BadValueError(f"This type is high-risk. {say}", field="why")


def _refuse_bound(device_type: DeviceType) -> None:
    if device_type.follow_maker:
        message = f"This type must follow its maker's schedule: {device_type.follow_maker}"
        raise BadValueError(message, field="basis")


def _ask_reasoned(plan: Plan) -> None:
    needed = (
        ("basis_reason", bool(plan.basis_reason.strip()), "why it departs from the maker's"),
        ("maker_months", plan.maker_every.stated, "the interval the maker states"),
        ("basis_evidence", bool(plan.basis_evidence.strip()), "the evidence: what record shows that it is safe"),
        ("basis_by", bool(plan.basis_by.strip()), "who evaluated it"),
        ("basis_on", plan.basis_on is not None, "when it was evaluated"),
        ("basis_review_on", plan.basis_review_on is not None, "when it is to be reviewed"),
    )
    for field, given, words in needed:
        if not given:
            raise BadValueError(f"A schedule other than the maker's needs {words}.", field=field)
    if plan.basis_on and plan.basis_review_on and plan.basis_review_on <= plan.basis_on:
        raise BadValueError("Give a day of review after the day of evaluation.", field="basis_review_on")


def _allowed(device_type: DeviceType, from_day: date | None, by: Actor) -> str:
    """Who allows a longer interval, where somebody must: at high risk, or with little history of our own."""
    months = house_rule().history_months
    if from_day is None or clock.today() < from_day:
        when = f"Ask again on {spoken(from_day)}." if from_day else "None is in use yet."
        message = f"A longer interval needs {months} months of use of the type first; there is no such history. {when}"
        raise BadValueError(message, field="basis")
    least, years = house_rule().history_years, driver_years(device_type, clock.today())
    little, high = years < least, high_risk(device_type)
    if not little and not high:
        return ""
    if May.SET_RISK_LIMITS not in by.duties:
        why = f"This type has {years:.0f} driver-years of our own history and the rule asks for {least}"
        message = (
            f"{'This type is high-risk' if high else why}: only a manager may lengthen its interval, with the reason."
        )
        raise BadValueError(message, field="basis")
    return by.name[:120]


def ask_own_interval(due: Due, months: int | None, by: Actor) -> None:
    """Refuse a driver's own interval longer than its plan's: without history, or at high risk without a manager."""
    if months is None or not Every(months).longer_than(Every(due.plan.every_months)):
        return
    device = Device.objects.select_related("device_type").get(pk=due.device_id)
    _refuse_bound(device.device_type)
    since = device.accepted_on
    _allowed(device.device_type, add_months(since, house_rule().history_months) if since else None, by)
