"""What judges a reading at the bench: units, the tighter of several limits, the rule of the place, the first value."""

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from fleet.bench import actions as bench
from fleet.bench.actions import reference
from fleet.bench.models import Order, Reading, ReferenceLimit
from fleet.bench.queries.judged import courses, judged_words
from fleet.bench.queries.judging import approval_words
from fleet.bench.queries.lines import OwnLimit
from fleet.core.errors import BadValueError, MoveRefusedError
from fleet.core.safety import Context
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.stores.models import Instrument
from fleet.web import clock, phrases
from tests.bench.builders import CHECK, a_procedure, finish, fresh, put, received, signed_in
from tests.bench.test_reference_limits import a_limit, a_profile
from tests.builders import BY, a_device, a_site, a_type
from tests.pages import page
from tests.stores.builders import an_instrument

pytestmark = pytest.mark.django_db

LEAKAGE = bench.NewStep(words="Equipment leakage current", kind="reading", unit="µA", quantity="equipment")
PRESSURE = bench.NewStep(
    words="Pressure at the alarm", kind="reading", unit="kPa", high=Decimal(60), limit_source="the manual"
)
DIRECT = Context(method="direct", mains_v=Decimal(230))
ALTERNATIVE = Context(method="alt", mains_v=Decimal(230))


def policy(**facts: Any) -> None:
    """What holds at Mereford General."""
    reference.set_policy(a_site(), facts, by=BY)


def of_class_two(**facts: Any) -> Device:
    """A driver whose type is of class II and type CF."""
    return a_device(device_type=a_type(protection="2", applied_part="CF"), **facts)


def leakages(**limits: int) -> ReferenceLimit:
    """The profile of the site, with a limit of class II for each method named."""
    policy(profile=a_profile())
    made = [a_limit(protection="2", method=method, high=Decimal(high)) for method, high in limits.items()]
    return made[0]


def an_order(device: Device, by: Person, *steps: bench.NewStep) -> Order:
    """A repair of these steps, after a check."""
    a_procedure(steps=(CHECK, *steps))
    return received(device, by, kind="corrective")


def measured(order: Order, by: Person, value: str, context: Context = DIRECT, **facts: Any) -> Reading:
    """The second step answered with a value."""
    return put(order, 2, bench.Answer(value=value, context=context, **facts), by)


def a_tester(**facts: Any) -> Instrument:
    """A safety tester."""
    return an_instrument(kind="safety", **{"uncertainty": Decimal(5), "uncertainty_unit": "µA", **facts})


@pytest.mark.parametrize(
    ("typed", "value", "kept", "verdict"),
    [
        ("7.5 psi", "51.71068", "7.5 psi", "pass"),
        ("450 mmHg", "59.995074", "450 mmHg", "pass"),
        ("9 psi", "62.052816", "9 psi", "fail"),
        ("60", "60", "60", "pass"),
        ("60 kPa", "60", "60", "pass"),
        ("0,61 bar", "61", "0,61 bar", "fail"),
    ],
)
def test_a_value_in_another_unit_is_converted_and_kept_as_typed(
    typed: str, value: str, kept: str, verdict: str, technician: Person
) -> None:
    """It is judged in the step's unit, and what was typed stays beside it."""
    reading = measured(an_order(a_device(), technician, PRESSURE), technician, typed)
    reading.refresh_from_db()
    assert (reading.value, reading.as_typed, reading.verdict) == (Decimal(value), kept, verdict)


@pytest.mark.parametrize(("typed", "words"), [("5 mL", "is a volume; here a pressure"), ("5 furlong", "no unit known")])
def test_a_wrong_unit_is_refused_by_name(typed: str, words: str, technician: Person) -> None:
    """Beside the value, and nothing is saved."""
    order = an_order(a_device(), technician, PRESSURE)
    with pytest.raises(BadValueError, match=words) as refused:
        measured(order, technician, typed)
    assert refused.value.field == "value"
    assert not order.readings.exists()


def test_the_limit_of_the_homes_profile_judges(technician: Person) -> None:
    """For class II, by the method that was used; what judged it is kept with the reading."""
    leakages(direct=100, alt=500)
    order = an_order(of_class_two(), technician, LEAKAGE)
    assert measured(order, technician, "120").verdict == "fail"
    passed = measured(order, technician, "120", ALTERNATIVE, changed="Alternative method")
    assert passed.verdict == "pass"
    told = judged_words(passed)
    assert told is not None
    assert told.limits == "at most 500 µA"
    assert [side.source for side in told.sides] == ["House limits: house"]
    assert told.context == "Class II, type CF, alternative, 230 V mains"


def test_what_the_limit_depends_on_is_asked_for(technician: Person) -> None:
    """Without the method no limit is guessed; where the type states no class, that is asked for first."""
    leakages(direct=100, alt=500)
    order = an_order(of_class_two(), technician, LEAKAGE)
    with pytest.raises(BadValueError, match="Say the method") as refused:
        measured(order, technician, "80", Context())
    assert refused.value.field == "method"
    unstated = received(a_device(device_type=a_type("TW-11")), technician, kind="corrective")
    with pytest.raises(BadValueError, match="Say the class of protection"):
        measured(unstated, technician, "80")


@pytest.mark.parametrize(
    ("left_out", "words"),
    [
        ({"mains_v": None}, "Say the mains voltage: a leakage current says nothing without it"),
        ({"method": ""}, "Say the method"),
    ],
)
def test_a_leakage_is_not_recorded_without_how_it_was_made(
    left_out: dict[str, Any], words: str, technician: Person
) -> None:
    """Also where no limit depends on it; beside its field, and nothing is saved."""
    order = an_order(of_class_two(), technician, LEAKAGE)
    with pytest.raises(BadValueError, match=words) as refused:
        measured(order, technician, "80", replace(DIRECT, **left_out), passed=True)
    assert refused.value.field == next(iter(left_out))
    assert not order.readings.exists()


def test_an_applied_part_leakage_names_the_part(technician: Person) -> None:
    """Where the driver's type does not state it."""
    step = bench.NewStep(words="Leakage of the part", kind="reading", unit="µA", quantity="applied_part")
    order = an_order(a_device(device_type=a_type("TW-12", protection="2")), technician, step)
    with pytest.raises(BadValueError, match="Say the type of applied part"):
        measured(order, technician, "8", passed=True)


def test_the_record_of_a_leakage_is_whole(technician: Person) -> None:
    """Class, type, method, mains voltage, value, limit used, first value, instrument, person and day are shown."""
    leakages(direct=100)
    device, tester = of_class_two(), a_tester(number="SAF-01")
    first = an_order(device, technician, LEAKAGE)
    put(first, 1, bench.Answer(passed=True), technician)
    measured(first, technician, "30", instrument=tester)
    finish(first, technician, returned_to=device.home)
    later = a_later(device, technician)
    measured(later, technician, "31", instrument=tester)
    today, value = phrases.day(clock.today()), phrases.quantity(Decimal(30), "µA")
    for address in (f"/bench/orders/{later}/?step=2", f"/bench/orders/{later}/sheet/"):
        shown = page(technician, address)
        for words in (
            "Class II, type CF, direct, 230 V mains", "31 µA", "at most 100 µA", "House limits: house",
            f"{value} on {today}", "SAF-01", str(technician), today,
        ):  # fmt: skip
            assert words in shown, (address, words)
    course = page(technician, f"/devices/{device.asset_number}/")
    assert f"with SAF-01, by {technician}" in course


@pytest.mark.parametrize(
    ("own", "limits", "sources"),
    [
        (50, "at most 50 µA", ["the manual"]),
        (100, "at most 100 µA", ["the manual"]),
        (200, "at most 100 µA", ["House limits: house"]),
    ],
)
def test_the_makers_limit_wins_only_when_stricter(
    own: int, limits: str, sources: list[str], technician: Person
) -> None:
    """The tighter side judges and says where it comes from."""
    leakages(direct=100)
    device = of_class_two()
    makers = OwnLimit(device_type=device.device_type, high=Decimal(own), source="the manual")
    given = bench.NewStep(words="Leakage", kind="reading", unit="µA", quantity="equipment", limits=(makers,))
    told = judged_words(measured(an_order(device, technician, given), technician, "49"))
    assert told is not None
    assert (told.limits, [side.source for side in told.sides]) == (limits, sources)


def test_the_makers_limit_says_who_approved_it_with_its_procedure(technician: Person, manager: Person) -> None:
    """It has no verifier of its own; where the procedure came by a command, that nobody approved it stands there."""
    order = an_order(a_device(), technician, PRESSURE)
    told = judged_words(measured(order, technician, "50"))
    assert told is not None
    assert [side.verified for side in told.sides] == ["came with the procedure, which nobody approved here"]
    version = order.procedure_version
    assert version is not None
    version.approved_by, version.approved_name, version.approved_at = manager, str(manager), clock.now()
    assert approval_words(version) == f"approved with the procedure by {manager}, {phrases.day(clock.today())}"


def test_limits_that_exclude_each_other_are_refused(technician: Person) -> None:
    """No verdict is given by limits of which one is wrong."""
    leakages(direct=100)
    given = bench.NewStep(
        words="Leakage", kind="reading", unit="µA", quantity="equipment", low=Decimal(200), limit_source="a slip"
    )
    with pytest.raises(BadValueError, match="No value could pass"):
        measured(an_order(of_class_two(), technician, given), technician, "150")


def test_without_a_limit_a_person_judges_and_says_so(technician: Person) -> None:
    """A safety test is never presumed to be fine."""
    order = an_order(of_class_two(), technician, LEAKAGE)
    with pytest.raises(BadValueError, match="No limit is stated for this: Equipment leakage current"):
        measured(order, technician, "80")
    assert measured(order, technician, "80", passed=False).verdict == "fail"
    assert measured(order, technician, "80", passed=True, changed="Measured again").verdict == "pass"


def test_a_limit_replaced_later_changes_no_verdict_given(technician: Person) -> None:
    """The reading keeps its limit, source and verification; only the next one is judged by the new."""
    limit = leakages(direct=100)
    order = an_order(of_class_two(), technician, LEAKAGE)
    reading = measured(order, technician, "90")
    says = {name: getattr(limit, name) for name in reference.SAYS} | {"high": Decimal(50)}
    reference.replace_limit(limit, says, "new edition", by=BY)
    policy(acceptance="guarded")
    reading.refresh_from_db()
    told = judged_words(reading)
    assert told is not None
    assert (told.limits, told.rule, reading.verdict) == ("at most 100 µA", "Simple acceptance", "pass")
    assert measured(order, technician, "90").verdict == "fail"


def test_guarded_acceptance_leaves_a_near_value_not_proven(technician: Person) -> None:
    """98 µA with U = 5 µA passes simply; where the site asks for a guard band it stops the return, until 90 is read."""
    leakages(direct=100)
    order = an_order(of_class_two(), technician, LEAKAGE)
    assert measured(order, technician, "98", instrument=a_tester()).verdict == "pass"
    policy(profile=a_profile(), acceptance="guarded")
    put(order, 1, bench.Answer(passed=True), technician)
    assert measured(order, technician, "98", instrument=Instrument.objects.get()).verdict == "near"
    with pytest.raises(MoveRefusedError, match="1 required step is not proven"):
        finish(order, technician, returned_to=order.device.home)
    assert measured(order, technician, "90", instrument=Instrument.objects.get(), changed="Dried").verdict == "pass"
    assert finish(order, technician, returned_to=order.device.home).state == "done"


@pytest.mark.parametrize(
    ("rule", "verdict", "said"),
    [
        ("simple", "pass", ""),
        ("guarded", "pass", "Judged without a guard band: its instrument has no uncertainty on record"),
        ("strict", "near", "Not proven without a guard band: its instrument has no uncertainty on record"),
    ],
)
def test_without_a_known_uncertainty_the_rule_of_the_place_decides(
    rule: str, verdict: str, said: str, technician: Person
) -> None:
    """Guarded acceptance falls back to the simple one and says so beside the verdict; strict leaves it not proven."""
    leakages(direct=100)
    policy(profile=a_profile(), acceptance=rule)
    order = an_order(of_class_two(), technician, LEAKAGE)
    reading = measured(order, technician, "99.9", instrument=a_tester(uncertainty=None, uncertainty_unit=""))
    told = judged_words(reading)
    assert told is not None
    assert (reading.verdict, told.unguarded) == (verdict, said)
    for address in ("", "?step=2", "stepwise/?step=2", "sheet/"):
        assert said in page(technician, f"/bench/orders/{order}/{address}")
    assert measured(order, technician, "101").verdict == "fail"


def test_a_strict_place_takes_a_value_with_a_known_uncertainty(technician: Person) -> None:
    """The guard band is the same as under guarded acceptance."""
    leakages(direct=100)
    policy(profile=a_profile(), acceptance="strict")
    order = an_order(of_class_two(), technician, LEAKAGE)
    assert measured(order, technician, "90", instrument=a_tester()).verdict == "pass"
    assert measured(order, technician, "98", instrument=Instrument.objects.get()).verdict == "near"


def test_a_jump_from_the_first_value_is_shown(technician: Person) -> None:
    """30 was the first to pass; of at most 100, 66 has gone more than half of the way and 64 has not."""
    leakages(direct=100)
    device = of_class_two()
    first = an_order(device, technician, LEAKAGE)
    put(first, 1, bench.Answer(passed=True), technician)
    assert judged_words(measured(first, technician, "30")).first == ""  # type: ignore[union-attr] # it has a value
    finish(first, technician, returned_to=device.home)
    later = received(Device.objects.get(pk=device.pk), technician, kind="planned")
    assert later.procedure_version is not None
    again = a_later(device, technician)
    calm = judged_words(measured(again, technician, "64"))
    assert calm is not None
    assert (calm.first[:5].strip("\u00a0"), calm.jump) == ("30\u00a0µA"[:5].strip("\u00a0"), "")
    jumped = judged_words(measured(again, technician, "66"))
    assert jumped is not None
    assert jumped.jump.startswith("51\u00a0% of the way")
    shown = page(technician, f"/bench/orders/{again.number}/?step=2")
    assert "Jump" in shown
    assert "Not verified" in shown


def a_later(device: Device, by: Person) -> Order:
    """A later order of the same steps on the same driver."""
    return received(Device.objects.get(pk=device.pk), by, kind="corrective")


def test_another_method_is_another_beginning(technician: Person) -> None:
    """A value taken directly is no first value of one taken by the alternative method."""
    leakages(direct=100, alt=500)
    device = of_class_two()
    first = an_order(device, technician, LEAKAGE)
    put(first, 1, bench.Answer(passed=True), technician)
    measured(first, technician, "30")
    finish(first, technician, returned_to=device.home)
    told = judged_words(measured(a_later(device, technician), technician, "400", ALTERNATIVE))
    assert told is not None
    assert told.first == ""
    assert [course.context for course in courses(device)] == [
        "Class II, type CF, alternative, 230 V mains",
        "Class II, type CF, direct, 230 V mains",
    ]


def test_the_course_of_a_quantity_stands_on_the_drivers_page(technician: Person) -> None:
    """With its last value, its limit, and the mark of a limit that nobody verified."""
    leakages(direct=100)
    device = of_class_two()
    measured(an_order(device, technician, LEAKAGE), technician, "30")
    shown = page(technician, f"/devices/{device.asset_number}/")
    assert "Equipment leakage current" in shown
    assert "Limit not verified" in shown


def test_the_page_asks_for_the_method_and_keeps_it(technician: Person) -> None:
    """Each method stands there with its limit; the next test on this bench proposes the one used last."""
    leakages(direct=100, alt=500)
    order = an_order(of_class_two(), technician, LEAKAGE)
    address = f"/bench/orders/{order.number}/"
    shown = page(technician, f"{address}?step=2")
    assert "Direct: at most 100 µA" in shown
    assert "Alternative: at most 500 µA" in shown
    sent = {"revision": fresh(order).revision, "value": "0.08 mA", "verdict": "limits", "method": "direct"}
    assert signed_in(technician).post(f"{address}steps/2/", sent | {"mains_v": "230"}).status_code == 302
    reading = order.readings.get()
    assert (reading.value, reading.verdict, reading.as_typed) == (Decimal(80), "pass", "0.08 mA")
    assert 'value="direct" selected' in page(technician, f"{address}?step=2")
    assert "0.08 mA (80" in page(technician, address)
    refused = signed_in(technician).post(f"{address}steps/2/", sent | {"method": "", "revision": "99"})
    assert "Say the method" in refused.content.decode()


def test_where_no_profile_is_chosen_the_page_says_so_and_asks(technician: Person) -> None:
    """The verdict is then the person's, and none is chosen for them."""
    order = an_order(of_class_two(), technician, LEAKAGE)
    shown = page(technician, f"/bench/orders/{order.number}/?step=2")
    assert "No profile of reference limits is chosen" in shown
    assert 'value="pass" checked' not in shown
    assert 'value="limits"' not in shown


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"unit": "ohm"}, "is a current, and “ohm” is no unit of it"),
        ({"unit": "strokes"}, "“strokes” is no unit of it"),
        ({"unit": "µA", "kind": "computed", "formula": "2 * a"}, "a computed reading is not measured"),
    ],
)
def test_a_step_whose_reference_limit_could_not_judge_is_refused(facts: dict[str, Any], words: str) -> None:
    """Before it is worked: the limit is converted into the step's unit, and depends on how it was measured."""
    first = bench.NewStep(words="First", kind="reading", unit="µA", key="a")
    wrong = bench.NewStep(words="Leakage", quantity="equipment", **{"kind": "reading", **facts})
    with pytest.raises(BadValueError, match=words):
        a_procedure(steps=(first, wrong))


def test_a_safety_test_is_not_taken_with_what_cannot_measure_it(technician: Person) -> None:
    """A flow analyser is refused beside the field at a leakage current; a safety analyser is taken."""
    leakages(direct=100)
    order = an_order(of_class_two(), technician, LEAKAGE)
    with pytest.raises(BadValueError, match="is a flow analyser and measures no safety test") as refused:
        measured(order, technician, "20", instrument=an_instrument())
    assert refused.value.field == "instrument"
    assert measured(order, technician, "20", instrument=an_instrument(kind="safety")).verdict == "pass"
