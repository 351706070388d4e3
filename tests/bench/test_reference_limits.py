"""Reference limits: stated, verified by another, replaced; and the policy that holds at a place."""

from decimal import Decimal
from typing import Any

import pytest

from fleet.audit.models import TrailEntry
from fleet.bench.actions import reference as actions
from fleet.bench.models import LimitPolicy, LimitProfile, ReferenceLimit
from fleet.bench.queries import reference as queries
from fleet.core.errors import BadValueError, ConflictError, NotAllowedError
from fleet.core.judging import JUMP_SHARE, Acceptance
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.web import clock, phrases
from tests.builders import BY, a_site, a_ward
from tests.pages import page, signed_in, status

pytestmark = pytest.mark.django_db
EDITION = "House list 7, second edition, 2026"

LIST = "/bench/reference-limits/"
OPEN = {"method": "", "protection": "", "applied_part": ""}


def a_profile(name: str = "House limits") -> LimitProfile:
    """A set of limits."""
    return LimitProfile.objects.filter(name=name).first() or actions.add_profile(name, f"p-{len(name)}", by=BY)


def a_limit(by: Any = BY, **facts: Any) -> ReferenceLimit:
    """Equipment leakage of at most 100 µA."""
    given = {"profile": a_profile(), "quantity": "equipment", "high": Decimal(100), "unit": "uA", "source": "house"}
    return actions.state_limit(ReferenceLimit(**given | facts), by=by)


def test_a_limit_is_stated_and_not_verified(manager: Person) -> None:
    """It holds at once, its unit is kept by one symbol, and the list says that nobody checked it."""
    limit = a_limit(actor_for(manager), source="The maker's manual", edition="2025")
    assert limit.unit == "µA"
    assert limit.verified_on is None
    shown = page(manager, LIST)
    assert "Equipment leakage current" in shown
    assert "Not verified" in shown
    entry = TrailEntry.objects.get(verb="stated reference limit")
    assert (entry.actor, entry.after["source"]) == ("Maud Ferrant", "The maker's manual")


def test_who_entered_it_does_not_verify_it(manager: Person, administrator: Person) -> None:
    """A second person does; the first is refused."""
    limit = a_limit(actor_for(manager))
    with pytest.raises(BadValueError, match="Somebody else verifies it"):
        actions.verify_limit(limit, EDITION, by=actor_for(manager))
    verified = actions.verify_limit(limit, EDITION, by=actor_for(administrator))
    assert (verified.verified_name, verified.verified_by) == ("Ada Quennell", administrator)


def test_a_verified_limit_names_the_edition_and_no_memory(manager: Person) -> None:
    """Verifying asks what it was held against; that is the source shown from then on, with who and when."""
    limit = a_limit(source="IEC 62353:2014, from memory", edition="Edition 2.0")
    with pytest.raises(BadValueError, match="which document and edition") as refused:
        actions.verify_limit(limit, " ", by=actor_for(manager))
    assert refused.value.field == "against"
    assert queries.as_stated(limit, limit.unit).source == "House limits: IEC 62353:2014, from memory, Edition 2.0"
    told = queries.as_stated(actions.verify_limit(limit, EDITION, by=actor_for(manager)), limit.unit)
    assert told.source == f"House limits: {EDITION}"
    assert told.verified == f"verified by Maud Ferrant, {phrases.day(clock.today())}"
    shown = page(manager, LIST)
    assert EDITION in shown
    assert "from memory" not in shown
    assert f"against {EDITION}" in page(manager, f"{LIST}{limit.pk}/")


def test_only_a_person_verifies(manager: Person) -> None:
    """A command does not hold a standard in its hands; what it entered, any person with the duty may verify."""
    limit = a_limit(BY)
    with pytest.raises(BadValueError, match="verified by a person"):
        actions.verify_limit(limit, EDITION, by=BY)
    assert actions.verify_limit(limit, EDITION, by=actor_for(manager)).verified_name == "Maud Ferrant"


def test_a_technician_states_and_verifies_nothing(technician: Person) -> None:
    """The duty to edit the register is needed for both."""
    limit = a_limit()
    with pytest.raises(NotAllowedError):
        actions.verify_limit(limit, EDITION, by=actor_for(technician))
    with pytest.raises(NotAllowedError):
        a_limit(actor_for(technician), method="direct")
    assert status(technician, f"{LIST}{limit.pk}/") == 200
    assert signed_in(technician).post(f"{LIST}{limit.pk}/", {"verify": "1"}).status_code == 403


@pytest.mark.parametrize(
    ("facts", "field", "words"),
    [
        ({}, "quantity", "stands already"),
        ({"method": "direct", "high": None}, "low", "a lower limit, an upper limit or both"),
        ({"method": "direct", "low": Decimal(200)}, "low", "lies above the upper"),
        ({"method": "direct", "unit": "ohm"}, "unit", "is a current; “ohm” is no unit of it"),
        ({"method": "direct", "unit": "furlong"}, "unit", "“furlong” is no unit of it"),
        ({"method": "direct", "source": ""}, "source", "cannot be blank"),
    ],
)
def test_an_unusable_limit_is_refused(facts: dict[str, Any], field: str, words: str) -> None:
    """A second one for the same, one without bounds, one in a unit of something else, one without a source."""
    a_limit()
    with pytest.raises(BadValueError, match=words) as refused:
        a_limit(**facts)
    assert refused.value.field == field


def test_a_better_limit_takes_its_place_and_both_stay(manager: Person) -> None:
    """The old one ends with its reason, the new one is to be verified anew, and each page leads to the other."""
    old = actions.verify_limit(a_limit(), EDITION, by=actor_for(manager))
    says = {name: getattr(old, name) for name in actions.SAYS} | {"high": Decimal(80)}
    new = actions.replace_limit(old, says, "new edition", by=actor_for(manager))
    old.refresh_from_db()
    assert (old.ended_why, old.replaced_by, new.verified_on) == ("new edition", new, None)
    assert list(queries.reference_limits()) == [new]
    assert f'href="{LIST}{new.pk}/"' in page(manager, f"{LIST}{old.pk}/")
    assert "new edition" in page(manager, f"{LIST}{new.pk}/")
    with pytest.raises(BadValueError, match="holds no longer"):
        actions.end_limit(old, "again", by=BY)


def test_replacing_needs_a_reason_and_a_difference() -> None:
    """Without either nothing is written."""
    limit = a_limit()
    says = {name: getattr(limit, name) for name in actions.SAYS}
    with pytest.raises(BadValueError, match="says the same"):
        actions.replace_limit(limit, says, "because", by=BY)
    with pytest.raises(BadValueError, match="Say why"):
        actions.replace_limit(limit, says | {"high": Decimal(1)}, " ", by=BY)
    assert ReferenceLimit.objects.get() == limit


def test_a_limit_ends_on_its_page(manager: Person) -> None:
    """With a reason; the list holds it no more."""
    limit = a_limit()
    browser = signed_in(manager)
    assert browser.post(f"{LIST}{limit.pk}/", {"end": "1", "end-why": ""}).status_code == 422
    assert browser.post(f"{LIST}{limit.pk}/", {"end": "1", "end-why": "withdrawn"}).status_code == 302
    assert "Equipment leakage current</a>" not in page(manager, LIST)


def test_a_limit_is_stated_verified_and_replaced_by_page(manager: Person, administrator: Person) -> None:
    """What a manager types in, another verifies naming the edition, and a better one is typed in on its page."""
    typed = {"profile": a_profile().pk, "quantity": "earth_device", "high": "0,2", "unit": "ohm", "source": "manual"}
    assert signed_in(manager).post(f"{LIST}new/", typed | OPEN).status_code == 302
    limit = ReferenceLimit.objects.get()
    assert (limit.high, limit.unit, limit.entered_by) == (Decimal("0.2"), "Ω", manager)
    assert "somebody else verifies it" in page(manager, f"{LIST}{limit.pk}/")
    refused = signed_in(administrator).post(f"{LIST}{limit.pk}/", {"verify": "1"})
    assert (refused.status_code, list(refused.context["verify"].errors)) == (422, ["against"])
    signed_in(administrator).post(f"{LIST}{limit.pk}/", {"verify": "1", "verify-against": EDITION})
    assert "Ada Quennell" in page(manager, LIST)
    better = {"better-high": "0.3", "better-unit": "Ω", "better-source": "manual", "better-why": "misread"}
    assert signed_in(manager).post(f"{LIST}{limit.pk}/", better | {"replace": "1"}).status_code == 302
    assert queries.reference_limits().get().high == Decimal("0.3")


def test_the_list_is_narrowed(manager: Person) -> None:
    """By profile, by what is limited, by whether it was verified."""
    house, other = a_limit(), a_limit(profile=a_profile("Another one"), quantity="patient")
    actions.verify_limit(house, EDITION, by=actor_for(manager))
    shown = page(manager, f"{LIST}?checked=no")
    assert f"{LIST}{other.pk}/" in shown
    assert f"{LIST}{house.pk}/" not in shown
    assert f"{LIST}{other.pk}/" not in page(manager, f"{LIST}?profile={house.profile_id}")
    assert f"{LIST}{house.pk}/" not in page(manager, f"{LIST}?quantity=patient")
    assert "No limit is like that" in page(manager, f"{LIST}?quantity=touch")


def test_the_policy_of_a_place_is_inherited_part_by_part() -> None:
    """The ward takes the site's profile and states its own rule; what nobody states is the house default."""
    site, ward = a_site(), a_ward()
    actions.set_policy(site, {"profile": a_profile()}, by=BY)
    actions.set_policy(ward, {"acceptance": "guarded"}, by=BY)
    held = queries.policy_at(ward)
    assert (held.profile, held.rule, held.jump_share) == (a_profile(), Acceptance.GUARDED, JUMP_SHARE)
    assert (held.profile_origin, held.rule_origin, held.share_origin) == (str(site), str(ward), "house default")
    assert queries.policy_at(site).rule is Acceptance.SIMPLE
    rows = {place: policy for place, policy, _ in queries.placed_policies([site, ward])}
    assert rows[ward] == held


def test_the_policy_is_stated_on_the_page_of_its_place(manager: Person) -> None:
    """And a form opened before somebody else changed it is refused."""
    ward = a_ward()
    address = f"{LIST}places/{ward.pk}/"
    assert "none, house default" in page(manager, address)
    typed = {"profile": a_profile().pk, "acceptance": "guarded", "jump_share": "0.4"}
    assert signed_in(manager).post(address, typed).status_code == 302
    held = LimitPolicy.objects.get(place=ward)
    assert (held.acceptance, held.jump_share) == ("guarded", Decimal("0.40"))
    assert "House limits" in page(manager, f"{LIST}places/")
    refused = signed_in(manager).post(address, typed | {"opened": "older", "acceptance": "simple"})
    assert refused.status_code == 422
    assert "somebody else" in refused.content.decode()


def test_an_older_form_of_a_policy_is_refused() -> None:
    """The action compares what the form was opened with."""
    ward = a_ward()
    actions.set_policy(ward, {"acceptance": "guarded"}, by=BY)
    with pytest.raises(ConflictError):
        actions.set_policy(ward, {"acceptance": "simple"}, by=BY, opened="older")


def test_the_seeds_are_put_in_once_and_none_is_verified() -> None:
    """Every limit that came with the program waits for a person with its source in hand."""
    made = actions.ensure_reference_limits(BY)
    assert len(made) > 20
    assert actions.ensure_reference_limits(BY) == []
    assert not ReferenceLimit.objects.exclude(verified_on=None).exists()
    assert set(LimitProfile.objects.values_list("name", flat=True)) == {"IEC 62353", "NFPA 99", "House limits"}


def test_an_outsider_sets_no_policy_here(outsider: Person) -> None:
    """A place of another site is 404, and not in the list."""
    ward = a_ward()
    assert status(outsider, f"{LIST}places/{ward.pk}/") == 404
    assert str(ward) not in page(outsider, f"{LIST}places/")
