"""The tree of places: counts, adding, changing, closing."""

from http import HTTPStatus

import pytest
from django.urls import reverse

from fleet.core.errors import BadValueError
from fleet.people.models import Person
from fleet.registry import actions
from fleet.registry.models import Device, Place
from fleet.registry.queries import drivers_by_condition
from tests.builders import BY, a_device, a_new_device, a_site, a_ward
from tests.pages import page, signed_in, status

pytestmark = pytest.mark.django_db

PLACES = reverse("registry:places")
NEW = reverse("registry:place_new")


def address(place: Place, name: str = "place") -> str:
    return reverse(f"registry:{name}", args=[place.pk])


def a_building(name: str = "East wing") -> Place:
    return actions.add_place(Place.Kind.BUILDING, name, "east", a_site(), by=BY)


def test_a_place_counts_what_lies_in_it(manager: Person) -> None:
    """Site and building count the ward's drivers too, by condition."""
    building = a_building()
    ward = actions.add_place(Place.Kind.WARD, "Ward 9", "w9", building, by=BY)
    a_device(ward)
    a_device(ward)
    a_new_device(ward)
    a_device(a_ward("Ward 4"))
    totals = drivers_by_condition(manager)
    assert totals[ward.pk] == totals[building.pk] == {"in_service": 2, "waiting": 1}
    assert totals[a_site().pk] == {"in_service": 3, "waiting": 1}


def test_each_count_leads_to_its_drivers(manager: Person) -> None:
    """The link behind a count opens the list with exactly that many drivers."""
    a_device()
    a_device()
    a_new_device()
    ward = a_ward()
    link = f"{reverse('registry:devices')}?home={ward.pk}&condition=in_service"
    assert f'<a href="{link}">2</a>'.replace("&", "&amp;") in page(manager, PLACES)
    assert len(signed_in(manager).get(link).context["table"].rows) == 2


def test_the_tree_holds_only_ones_places(technician: Person, outsider: Person) -> None:
    """A technician sees the wards of the own site; a place of another site is 404."""
    ward = a_ward()
    assert "Ward 4" in page(technician, PLACES)
    assert "Ward 4" not in page(outsider, PLACES)
    assert status(outsider, address(ward)) == HTTPStatus.NOT_FOUND


def test_a_reader_sees_the_facts_and_changes_nothing(technician: Person) -> None:
    """Whoever may only read gets the page without a form and 403 for a change."""
    ward = a_ward()
    assert "Short code" in page(technician, address(ward))
    sent = {"name": "X", "code": ward.code}
    assert signed_in(technician).post(address(ward), sent).status_code == HTTPStatus.FORBIDDEN
    assert signed_in(technician).post(address(ward, "place_close"), {"why": "x"}).status_code == HTTPStatus.FORBIDDEN


def test_a_ward_is_added_in_a_site(manager: Person) -> None:
    """The new ward lies in its site, and whoever sees the site sees it."""
    signed_in(manager).post(NEW, {"kind": "ward", "parent": a_site().pk, "name": "Ward 9", "code": "w9"})
    assert Place.objects.within(manager).get(name="Ward 9").site == a_site()


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"parent": ""}, "stands in a site or a building"),
        ({"name": "ward 4"}, "There is already"),
        ({"code": "taken"}, "belongs to another place"),
    ],
)
def test_a_wrong_place_is_refused_in_words(manager: Person, wrong: dict[str, str], words: str) -> None:
    """A ward without a site, a name used there or a code used anywhere is refused beside its field."""
    actions.edit_place(a_ward(), {"code": "taken"}, by=BY)
    sent = {"kind": "ward", "parent": a_site().pk, "name": "Ward 9", "code": "w9", **wrong}
    assert words in signed_in(manager).post(NEW, sent).content.decode()
    assert not Place.objects.filter(name="Ward 9").exists()


def test_a_place_is_changed_unless_somebody_was_faster(manager: Person) -> None:
    """A form that was opened before another change saves nothing and tells what stands now."""
    ward = a_ward()
    mark = signed_in(manager).get(address(ward)).context["form"]["opened"].value()
    sent = {"name": "Ward 4 North", "code": ward.code, "opened": mark}
    assert signed_in(manager).post(address(ward), sent)["Location"] == PLACES
    told = signed_in(manager).post(address(ward), sent | {"name": "Ward 4 South"}).content.decode()
    assert "changed by somebody else" in told
    assert "Ward 4 North" in told


def test_a_place_with_drivers_is_not_closed(manager: Person) -> None:
    """The refusal counts and names the drivers; a retired one does not hold the place open."""
    ward = a_ward()
    device = a_device(ward, asset_number="A1")
    told = signed_in(manager).post(address(ward, "place_close"), {"why": "rebuilt"}).content.decode()
    assert "1 driver belongs to Ward 4 or stands there (A1)" in told
    Device.objects.filter(pk=device.pk).update(condition="retired", retired_on="2027-01-01")
    signed_in(manager).post(address(ward, "place_close"), {"why": "rebuilt"})
    assert Place.objects.get(pk=ward.pk).closed_on is not None


def test_a_place_that_holds_a_wanderer_is_not_closed() -> None:
    """A driver of another ward that stands here holds the place open too."""
    a_device(a_ward("Ward 4"), place=a_ward("Ward 5"))
    with pytest.raises(BadValueError, match="stands there"):
        actions.close_place(a_ward("Ward 5"), why="rebuilt", by=BY)


def test_a_site_is_closed_after_its_wards() -> None:
    """An open ward holds its site open; a closed site takes no new ward and reopens before its ward does."""
    ward, site = a_ward(), a_site()
    with pytest.raises(BadValueError, match="Ward 4 stands in"):
        actions.close_place(site, why="sold", by=BY)
    actions.close_place(ward, why="sold", by=BY)
    actions.close_place(site, why="sold", by=BY)
    with pytest.raises(BadValueError, match="is closed"):
        a_ward("Ward 5", Place.objects.get(pk=site.pk))
    with pytest.raises(BadValueError, match="Open it first"):
        actions.reopen_place(ward, why="mistake", by=BY)


def test_a_closed_place_can_be_opened_again(manager: Person) -> None:
    """A place closed by mistake is hidden from the tree, shown on request, and opened again with a reason."""
    ward = a_ward()
    actions.close_place(ward, why="rebuilt", by=BY)
    assert "Ward 4" not in page(manager, PLACES)
    assert "Ward 4" in page(manager, f"{PLACES}?closed=yes")
    signed_in(manager).post(address(ward, "place_close"), {"why": "wrong ward"})
    assert Place.objects.get(pk=ward.pk).closed_on is None


def test_closing_needs_a_reason(manager: Person) -> None:
    """Without a reason nothing is closed."""
    ward = a_ward()
    signed_in(manager).post(address(ward, "place_close"), {"why": " "})
    assert Place.objects.get(pk=ward.pk).closed_on is None


def test_a_site_is_added_by_somebody_who_sees_it(manager: Person, administrator: Person) -> None:
    """A manager bound to places adds no site, which they could not see; somebody who sees all places does."""
    sent = {"kind": "site", "name": "Northfold", "code": "northfold"}
    answer = signed_in(manager).post(NEW, sent)
    assert "somebody who sees all places" in answer.content.decode()
    assert not Place.objects.filter(name="Northfold").exists()
    assert signed_in(administrator).post(NEW, sent).status_code == HTTPStatus.FOUND
