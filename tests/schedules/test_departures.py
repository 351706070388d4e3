"""An interval longer than the maker's, and the risk score that decides who may allow it."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from django.urls import reverse

from fleet.audit.models import TrailEntry
from fleet.core.errors import BadValueError, NotAllowedError
from fleet.core.permissions import May
from fleet.core.risk import RULE_VERSION, Scale
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry.actions import edit_device_type
from fleet.registry.models import DeviceType
from fleet.schedules import actions, queries
from fleet.schedules.models import Plan, RiskClass, TypeRisk
from tests.builders import BY, a_device, a_type
from tests.pages import page, signed_in
from tests.schedules.builders import ACCEPTED, REASONED, a_due, a_plan, on

pytestmark = pytest.mark.django_db

LONG_USED = date(2024, 1, 31)
TWICE_AS_LONG: dict[str, Any] = {**REASONED, "every_months": 24, "maker_months": 12}


def a_long_used_plan(**type_facts: Any) -> Plan:
    """A yearly service, as the maker asks, of a type in use for three years."""
    kind = a_type(**type_facts)
    a_device(device_type=kind, accepted_on=LONG_USED)
    return a_plan(kind, maker_months=12)


def classes(function: str, risk: str, maintenance: str, history: str = "") -> dict[Scale, RiskClass | None]:
    """The classes whose words begin so."""
    actions.ensure_risk_classes(BY)
    words = zip(Scale, (function, risk, maintenance, history), strict=True)
    return {scale: queries.risk_classes(scale).get(label__startswith=said) if said else None for scale, said in words}


def scored(device_type: DeviceType, *words: str) -> TypeRisk:
    """A score of the type by these classes."""
    return actions.score_type(device_type, classes(*words), by=BY)


def test_longer_than_the_maker_is_refused_without_its_reasons(manager: Person) -> None:
    """As the maker's schedule it is a contradiction; as an alternative it needs each of its reasons."""
    plan = a_long_used_plan()
    with on(ACCEPTED):
        with pytest.raises(BadValueError, match="longer than the maker's"):
            actions.edit_plan(plan, {"every_months": 24}, by=actor_for(manager))
        for name in ("basis_reason", "basis_evidence", "basis_by", "basis_on", "basis_review_on", "maker_months"):
            lacking = TWICE_AS_LONG | {name: None if name.endswith(("_on", "months")) else ""}
            with pytest.raises(BadValueError) as refused:
                actions.edit_plan(plan, lacking, by=actor_for(manager))
            assert refused.value.field == name
        actions.edit_plan(plan, TWICE_AS_LONG, by=actor_for(manager))
    plan.refresh_from_db()
    assert (plan.every_months, plan.allowed_by) == (24, manager.display_name)


def test_more_often_than_the_maker_needs_no_reason() -> None:
    """Nothing the maker asks for is left out."""
    plan = a_long_used_plan()
    assert actions.edit_plan(plan, {"every_months": 6}, by=BY).every_months == 6


def test_a_new_type_without_history_is_not_lengthened() -> None:
    """Two years of use are needed unless the house says otherwise; the refusal says from when on."""
    kind = a_type()
    a_device(device_type=kind, accepted_on=ACCEPTED)
    plan = a_plan(kind, maker_months=12)
    with on(date(2028, 6, 1)):
        with pytest.raises(BadValueError, match=r"24 months of use.*31.Jan.2029"):
            actions.edit_plan(plan, TWICE_AS_LONG, by=BY)
        actions.set_house_rule({"history_months": 12}, why="our committee", by=BY)
        assert actions.edit_plan(plan, TWICE_AS_LONG, by=BY).every_months == 24


def test_a_high_risk_type_is_lengthened_by_a_manager_only() -> None:
    """Somebody who keeps the register but sets no risk limits may not; for another type they may."""
    keeper = actor_with(May.EDIT_REGISTRY)
    risky, other = a_long_used_plan(), a_long_used_plan(model="Quiet 1", life_support=False)
    actions.set_house_rule({"history_years": 1}, why="few drivers", by=BY)
    with on(ACCEPTED):
        with pytest.raises(BadValueError, match="only a manager"):
            actions.edit_plan(risky, TWICE_AS_LONG, by=keeper)
        assert actions.edit_plan(other, TWICE_AS_LONG, by=keeper).allowed_by == ""
        scored(other.device_type, "Life support", "Patient or operator injury", "Average")
        with pytest.raises(BadValueError, match="only a manager"):
            actions.edit_plan(other, {"every_months": 30}, by=keeper)


def test_with_few_driver_years_of_our_own_only_a_manager_lengthens() -> None:
    """The house sets how many it asks for; who may set risk limits is named on the plan as having allowed it."""
    keeper, plan = actor_with(May.EDIT_REGISTRY), a_long_used_plan(model="Quiet 1", life_support=False)
    with on(ACCEPTED):
        with pytest.raises(BadValueError, match=r"driver-years of our own history and the rule asks for 50"):
            actions.edit_plan(plan, TWICE_AS_LONG, by=keeper)
        assert actions.edit_plan(plan, TWICE_AS_LONG, by=BY).allowed_by == BY.name


def test_a_type_bound_to_its_maker_is_departed_from_by_nobody() -> None:
    """Neither by a plan nor for one driver, whoever asks; more often than the maker stays free."""
    plan = a_long_used_plan()
    edit_device_type(plan.device_type, {"follow_maker": "Condition of its conformity"}, by=BY)
    with on(ACCEPTED):
        with pytest.raises(BadValueError, match="must follow its maker's schedule: Condition of its conformity"):
            actions.edit_plan(plan, TWICE_AS_LONG, by=BY)
        assert actions.edit_plan(plan, {"every_months": 6}, by=BY).every_months == 6


def actor_with(*duties: May) -> Any:
    """Somebody with these duties."""
    return type(BY)("Ivo Marlest", BY.source, frozenset(duties))


def test_on_the_makers_word_a_high_risk_type_is_lengthened_by_a_manager_with_the_reason() -> None:
    """The maker's interval is stated nowhere yet: no way round the rule; shorter needs nothing."""
    plan, keeper = a_plan(), actor_with(May.EDIT_REGISTRY)
    longer = {"every_months": 24, "maker_months": 24}
    for by, why, field in ((keeper, "Manual, revision 4", "every_months"), (BY, " ", "why")):
        with pytest.raises(BadValueError) as refused:
            actions.edit_plan(plan, longer, why=why, by=by)
        assert refused.value.field == field
    assert actions.edit_plan(plan, {"every_months": 6}, by=keeper).every_months == 6
    assert actions.edit_plan(plan, longer, why="Manual, revision 4", by=BY).every_months == 24


@pytest.mark.parametrize("change", [{"window_after_days": 300}, {"active": False}])
def test_a_high_risk_type_gets_no_more_time_by_window_or_switch_without_a_managers_reason(
    change: dict[str, Any],
) -> None:
    """A wider window after the due day and a plan switched off need it and keep it; another type needs none."""
    plan, other = a_plan(), a_plan(a_type(model="Quiet 1", life_support=False))
    keeper, (name, value) = actor_with(May.EDIT_REGISTRY), next(iter(change.items()))
    for by, why, field in ((keeper, "Few in use", name), (BY, " ", "why")):
        with pytest.raises(BadValueError, match="high-risk") as refused:
            actions.edit_plan(plan, change, why=why, by=by)
        assert refused.value.field == field
    plan.refresh_from_db()
    assert getattr(plan, name) != value
    assert getattr(actions.edit_plan(plan, change, why="Few in use", by=BY), name) == value
    assert TrailEntry.objects.filter(verb="changed plan", subject_id=plan.pk).get().why == "Few in use"
    assert getattr(actions.edit_plan(other, change, by=keeper), name) == value


def test_a_narrower_window_and_a_plan_switched_on_need_no_reason() -> None:
    """Nothing more is let pass by either."""
    plan, keeper = a_plan(), actor_with(May.EDIT_REGISTRY)
    actions.edit_plan(plan, {"active": False}, why="Replaced", by=BY)
    row = actions.edit_plan(plan, {"active": True, "window_after_days": 10}, by=keeper)
    assert (row.active, row.window_after_days) == (True, 10)


@pytest.mark.parametrize("facts", [{"every_months": 60}, {"every_months": 12, "window_after_days": 300}])
def test_a_second_plan_that_lets_more_time_pass_needs_a_managers_reason_at_high_risk(facts: dict[str, Any]) -> None:
    """Also beside one that was switched off; with the reason it is kept, and another kind is no comparison."""
    kind, months = a_plan().device_type, facts["every_months"]
    actions.edit_plan(Plan.objects.get(), {"active": False}, why="Replaced", by=BY)
    typed = {"maker_months": months, **{name: facts[name] for name in facts if name != "every_months"}}
    new = actions.NewPlan(device_type=kind, name="Overhaul", every_months=months, facts=typed)
    for by, why, field in ((actor_with(May.EDIT_REGISTRY), "Seals", "every_months"), (BY, " ", "why")):
        with pytest.raises(BadValueError, match="high-risk") as refused:
            actions.add_plan(new, why=why, by=by)
        assert refused.value.field == field
    assert Plan.objects.count() == 1
    row = actions.add_plan(new, why="Seals, beside the service", by=BY)
    assert TrailEntry.objects.get(verb="added plan", subject_id=row.pk).why == "Seals, beside the service"
    battery = replace(new, name="Battery test", kind=Plan.Kind.BATTERY)
    assert actions.add_plan(battery, by=actor_with(May.EDIT_REGISTRY)).pk


def test_a_new_plan_on_the_makers_word_states_the_makers_interval_at_high_risk() -> None:
    """Without it no length can be held against anything; another type may leave it out."""
    new = actions.NewPlan(device_type=a_type(), name="Service", every_months=60)
    with pytest.raises(BadValueError, match="interval that the maker") as refused:
        actions.add_plan(new, why="as ever", by=BY)
    assert refused.value.field == "maker_months"
    quiet = a_type(model="Quiet 1", life_support=False)
    assert actions.add_plan(replace(new, device_type=quiet), by=BY).every_months == 60


def test_the_form_of_a_new_plan_asks_for_the_reason_beside_its_field(manager: Person) -> None:
    """A manager who leaves it empty keeps what was typed; with it the plan is added."""
    typed = {
        "device_type": a_plan().device_type_id, "kind": "service", "name": "Overhaul", "every_months": "60",
        "maker_months": "60", "window_before_days": "30", "window_after_days": "30", "repeat_days": "30",
        "mode": "floating", "basis": "maker",
    }  # fmt: skip
    client, address = signed_in(manager), reverse("schedules:new_plan")
    assert "Say why it lets more time pass than “Yearly service”." in client.post(address, typed).content.decode()
    client.post(address, {**typed, "why": "Seals"})
    assert Plan.objects.filter(name="Overhaul").exists()


def test_one_driver_is_lengthened_by_the_same_rules() -> None:
    """Its own interval may be shorter at any time; longer needs its own history, and a manager at high risk."""
    due = a_due()
    with on(date(2028, 6, 1)):
        assert actions.set_own_interval(due, 6, why="hard use", by=actor_with(May.EDIT_REGISTRY)).own_why == "hard use"
        with pytest.raises(BadValueError, match="24 months of use"):
            actions.set_own_interval(due, 18, why="little used", by=BY)
    with on(date(2029, 6, 1)):
        with pytest.raises(BadValueError, match="only a manager"):
            actions.set_own_interval(due, 18, why="little used", by=actor_with(May.EDIT_REGISTRY))
        assert actions.set_own_interval(due, 18, why="little used", by=BY).own_by == BY.name


def test_a_score_is_stored_with_its_terms_variant_and_rule() -> None:
    """A syringe driver in intensive care scores 17; scored anew with its history 16, and the first is kept."""
    kind = a_type()
    first = scored(kind, "Surgical and intensive care (therapeutic)", "Patient death", "Average")
    assert (first.score, first.variant, first.rule, first.from_memory) == (17, "three", RULE_VERSION, True)
    second = scored(kind, "Surgical and intensive care (therapeutic)", "Patient death", "Average", "One in 18")
    assert (second.score, second.variant, second.history_points) == (16, "four", -1)
    assert queries.risk_of(kind) == second
    assert kind.risks.get(score=17).replaced_at is not None


def test_a_corrected_class_leaves_scores_as_they_were(manager: Person) -> None:
    """Points checked in the source count from the next score on, and say who checked them."""
    kind = a_type()
    scored(kind, "Life support", "Patient death", "Extensive")
    row = queries.risk_classes(Scale.FUNCTION).get(label="Life support")
    with pytest.raises(BadValueError, match="from 1 to 10"):
        actions.correct_risk_class(row, 11, "printed table", checked=True, by=actor_for(manager))
    checked = actions.correct_risk_class(row, 9, "printed table, page 61", checked=True, by=actor_for(manager))
    assert (checked.from_memory, checked.checked_by) == (False, manager.display_name)
    assert queries.risk_of(kind) is not None
    assert TypeRisk.objects.get().score == 20


def test_a_technician_reads_scores_and_sets_none(technician: Person, manager: Person) -> None:
    """The page shows score, terms, variant and rule to all who see the fleet; the form is a manager's."""
    kind = a_type()
    scored(kind, "Surgical and intensive care (therapeutic)", "Patient death", "Average")
    address = reverse("schedules:type_risk", args=[kind.pk])
    shown = page(technician, address)
    for words in ("17:", "function + physical risk + maintenance", RULE_VERSION, "not checked against their source"):
        assert words in shown
    assert "Save the score" not in shown
    assert signed_in(technician).post(address).status_code == 403
    with pytest.raises(NotAllowedError):
        actions.score_type(kind, {}, by=actor_for(technician))
    picked = {
        name: row.pk for name, row in zip(Scale, classes("Life", "No sig", "Minimal").values(), strict=True) if row
    }
    signed_in(manager).post(address, {name.value: pk for name, pk in picked.items()})
    assert "12:" in page(manager, address)


def test_the_list_of_departures_holds_types_and_drivers(manager: Person) -> None:
    """A departed plan stands with both intervals, evidence, evaluator, review and who allowed it."""
    plan = a_long_used_plan()
    with on(ACCEPTED):
        actions.edit_plan(plan, TWICE_AS_LONG, by=actor_for(manager))
        html = page(manager, reverse("schedules:alternative")).replace("\xa0", " ")
    for words in (
        "12 months",
        "24 months",
        "12 services in 40",
        "M. Ferrant, 5 Jan 2027",
        "5 Jan 2028",
        "allowed by Maud",
    ):
        assert words in html
    assert "No driver follows another schedule" not in html


@pytest.mark.parametrize("name", ["risk", "risk_classes", "rules", "alternative", "plans"])
def test_empty_pages_say_what_to_do(manager: Person, name: str) -> None:
    """Without a type, class or plan each page still opens."""
    assert "<h1>" in page(manager, reverse(f"schedules:{name}"))
