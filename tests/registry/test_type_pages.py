"""Types: what is stated of them, changing it, and the plot of rated runtimes."""

from decimal import Decimal
from http import HTTPStatus
from typing import Any

import pytest
from django.urls import reverse

from fleet.audit.models import TrailEntry
from fleet.core.errors import BadValueError
from fleet.people.models import Person
from fleet.registry import actions
from fleet.registry.models import DeviceType, Party, RatedRuntime
from fleet.registry.plots import runtime_plot
from tests.builders import BY, a_device, a_type
from tests.pages import page, signed_in, status

pytestmark = pytest.mark.django_db

NEW = reverse("registry:type_new")


def address(row: DeviceType, name: str = "type") -> str:
    return reverse(f"registry:{name}", args=[row.pk])


def rows(prefix: str, *filled: dict[str, str]) -> dict[str, str]:
    """Rows of one of the two tables of the form as they are sent."""
    sent = {f"{prefix}-TOTAL_FORMS": str(len(filled)), f"{prefix}-INITIAL_FORMS": "0"}
    for number, row in enumerate(filled):
        sent |= {f"{prefix}-{number}-{name}": value for name, value in row.items()}
    return sent


def opened(person: Person, row: DeviceType) -> dict[str, Any]:
    """The form of the type as the person finds it, without its two tables."""
    form = signed_in(person).get(address(row, "type_edit")).context["form"]
    values = {name: form[name].value() for name in form.fields}
    return {name: value for name, value in values.items() if value is not None}


TABLES = rows("runtimes", {"rate": "5", "hours": "7"}) | rows("accessories", {"name": "Power lead", "quantity": "1"})


def test_the_page_tells_what_is_stated_and_by_whom(technician: Person) -> None:
    """Rated runtime, charging hours, replacement level, accessories and the source of it all."""
    told = page(technician, address(a_type())).replace("\xa0", " ")
    for words in ("7 h", "5 mL/h", "10 h", "0.8 of the rated runtime", "Power lead", "common practice, no source"):
        assert words in told


def test_the_list_counts_ones_own_drivers(technician: Person, outsider: Person) -> None:
    """Each person is told how many of a type they see."""
    row = a_device().device_type
    link = f"{reverse('registry:devices')}?type={row.pk}"
    assert f'<a href="{link}">1</a>' in page(technician, reverse("registry:types"))
    assert link not in page(outsider, reverse("registry:types"))


def test_a_type_is_added_with_its_maker(manager: Person) -> None:
    """A maker not known yet is added with the type, and a known one is used whatever its capitals."""
    sent = {
        "maker_name": "Quillmere Devices", "model": "Sable", "kind": "Syringe driver", "power": "pack",
        "charging_hours": "8", "reference_rate": "5", "replacement_level": "0.8",
        "reference_temperature_c": "20",
    }  # fmt: skip
    signed_in(manager).post(NEW, sent | TABLES)
    signed_in(manager).post(NEW, sent | TABLES | {"model": "Sable 2", "maker_name": "quillmere devices"})
    assert Party.objects.filter(name__iexact="Quillmere Devices").count() == 1
    sable = DeviceType.objects.get(model="Sable")
    assert [(str(each.rate), str(each.hours)) for each in sable.rated_runtimes.all()] == [("5.00", "7.00")]


def test_a_type_without_a_runtime_at_its_reference_rate_is_refused(manager: Person) -> None:
    """Neither the type nor its new maker is kept."""
    sent = {
        "maker_name": "Quillmere Devices", "model": "Sable", "kind": "Syringe driver", "power": "pack",
        "charging_hours": "8", "reference_rate": "2", "replacement_level": "0.8",
        "reference_temperature_c": "20",
    }  # fmt: skip
    told = signed_in(manager).post(NEW, sent | TABLES).content.decode()
    assert "reference rate of 2 mL/h" in told
    assert not Party.objects.filter(name="Quillmere Devices").exists()


def test_facts_runtimes_and_accessories_change_together(manager: Person) -> None:
    """One form states all three anew, with the old values in the trail."""
    row = a_type()
    tables = rows("runtimes", {"rate": "5", "hours": "6.5"}, {"rate": "20", "hours": "4"}, {"rate": "", "hours": ""})
    tables |= rows("accessories", {"name": "Pole clamp", "quantity": "2"})
    sent = opened(manager, row) | {"charging_hours": "12", "why": "second edition"}
    assert signed_in(manager).post(address(row, "type_edit"), sent | tables)["Location"] == address(row)
    kept = DeviceType.objects.get(pk=row.pk)
    assert kept.charging_hours == 12
    assert {each.rate: each.hours for each in kept.rated_runtimes.all()} == {5: Decimal("6.5"), 20: 4}
    assert [(each.name, each.quantity) for each in kept.accessories.all()] == [("Pole clamp", 2)]
    assert TrailEntry.objects.get(verb="stated rated runtimes").before == {"5.00 mL/h": "7.00 h"}


def test_how_runtime_goes_with_temperature_is_a_fact_of_the_type(manager: Person) -> None:
    """Stated as the maker does, with the temperature it counts from; a type without it says so."""
    row = a_type()
    assert "forecasts are not corrected for it" in page(manager, address(row))
    tables = rows("runtimes", {"rate": "5", "hours": "6.5"}) | rows("accessories")
    sent = opened(manager, row) | {"temperature_coefficient": "0.006", "reference_temperature_c": "25"}
    signed_in(manager).post(address(row, "type_edit"), sent | tables)
    kept = DeviceType.objects.get(pk=row.pk)
    assert (kept.temperature_coefficient, kept.reference_temperature_c) == (Decimal("0.006"), 25)
    assert "0.60 % more for each °C above 25 °C" in page(manager, address(row)).replace("\u00a0", " ")


def test_a_form_sent_as_opened_leaves_no_trail(manager: Person) -> None:
    """Saving without a change writes nothing."""
    row = a_type()
    sent, before = opened(manager, row) | TABLES, TrailEntry.objects.count()
    signed_in(manager).post(address(row, "type_edit"), sent)
    assert TrailEntry.objects.count() == before


def test_a_half_refused_form_changes_nothing(manager: Person) -> None:
    """When the runtimes don't fit, the facts typed with them are not kept either."""
    row = a_type()
    sent = opened(manager, row) | {"charging_hours": "12"} | rows("runtimes", {"rate": "9", "hours": "7"})
    told = signed_in(manager).post(address(row, "type_edit"), sent | rows("accessories")).content.decode()
    assert "at the reference rate of 5.00 mL/h" in told
    assert DeviceType.objects.get(pk=row.pk).charging_hours == row.charging_hours


def test_who_saves_a_type_second_is_told(manager: Person) -> None:
    """A form opened before another change is refused in words."""
    row = a_type()
    mine = opened(manager, row) | TABLES | {"charging_hours": "12"}
    actions.edit_device_type(row, {"charging_hours": Decimal(11)}, by=BY)
    assert "changed by somebody else" in signed_in(manager).post(address(row, "type_edit"), mine).content.decode()
    assert DeviceType.objects.get(pk=row.pk).charging_hours == 11


def test_a_reference_rate_without_a_runtime_is_refused() -> None:
    """The action refuses it too, whoever calls it."""
    with pytest.raises(BadValueError, match="reference rate"):
        actions.edit_device_type(a_type(), {"reference_rate": Decimal(9)}, by=BY)


def test_a_value_out_of_bounds_is_refused_by_name() -> None:
    """A replacement level above the whole names its field."""
    with pytest.raises(BadValueError, match="Replacement level") as refusal:
        actions.edit_device_type(a_type(), {"replacement_level": Decimal("1.2")}, by=BY)
    assert refusal.value.field == "replacement_level"


def test_a_reader_changes_no_type(technician: Person) -> None:
    """A technician reads a type and gets 403 where it is changed."""
    row = a_type()
    assert status(technician, address(row)) == HTTPStatus.OK
    assert status(technician, address(row, "type_edit")) == HTTPStatus.FORBIDDEN
    assert status(technician, NEW) == HTTPStatus.FORBIDDEN


@pytest.mark.parametrize("most", ["0.4", "1", "5", "9.9", "10", "24", "99.5", "120", "999"])
def test_the_axes_hold_every_point(most: str) -> None:
    """Axes begin at zero, end at or past the largest value, and carry three to six labels."""
    plot = runtime_plot([(Decimal("0.1"), Decimal(most)), (Decimal(most), Decimal("0.1"))])
    assert plot is not None
    for ticks in (plot.rates, plot.hours):
        assert ticks[0].label == "0"
        assert float(ticks[-1].label) >= float(most)
        assert 3 <= len(ticks) <= 6
    assert all(plot.left <= x <= plot.right and 0 <= y <= plot.bottom for x, y in plot.points)


def test_one_runtime_draws_no_line() -> None:
    """A single rate gives a table and no plot."""
    assert runtime_plot([(Decimal(5), Decimal(7))]) is None


def sent_as_shown(person: Person, row: DeviceType) -> dict[str, Any]:
    """The whole form with its two tables, as a browser would send it unchanged."""
    sheet = signed_in(person).get(address(row, "type_edit")).context["sheet"]
    forms = [part for rows in (sheet.runtimes, sheet.accessories) for part in (rows.management_form, *rows)]
    fields = [form[name] for form in (sheet.form, *forms) for name in form.fields]
    return {field.html_name: "" if field.value() is None else field.value() for field in fields}


def test_an_emptied_row_is_dropped(manager: Person) -> None:
    """A runtime and an accessory whose rows are emptied are gone; the rows left alone stay."""
    row = a_type()
    actions.state_runtimes(row, {Decimal(5): Decimal(7), Decimal(20): Decimal(4)}, by=BY)
    sent = sent_as_shown(manager, row) | {"runtimes-1-rate": "", "runtimes-1-hours": "", "accessories-0-name": ""}
    assert signed_in(manager).post(address(row, "type_edit"), sent)["Location"] == address(row)
    assert [each.rate for each in row.rated_runtimes.all()] == [5]
    assert not row.accessories.exists()


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"runtimes-1-rate": "20"}, "Give both"),
        ({"runtimes-1-hours": "4"}, "Give both"),
        ({"runtimes-1-rate": "5.0", "runtimes-1-hours": "4"}, "stands in two rows"),
    ],
)
def test_a_row_that_cannot_be_meant_is_refused(manager: Person, wrong: dict[str, str], words: str) -> None:
    """Half a row, or one rate twice, is refused in words and nothing changes."""
    row = a_type()
    told = signed_in(manager).post(address(row, "type_edit"), sent_as_shown(manager, row) | wrong).content.decode()
    assert words in told
    assert row.rated_runtimes.get().hours == 7


def test_a_runtime_that_is_stated_anew_keeps_what_stood_before() -> None:
    """A changed or dropped rated runtime stays on record with the day it was dropped; only the new ones count."""
    row = a_type()
    actions.state_runtimes(row, {Decimal(5): Decimal(8), Decimal(20): Decimal(4)}, by=BY)
    actions.state_runtimes(row, {Decimal(5): Decimal(8)}, by=BY)
    assert [(runtime.rate, runtime.hours) for runtime in row.rated_runtimes.all()] == [(5, 8)]
    kept = RatedRuntime.history.filter(device_type=row, dropped_at__isnull=False)
    assert {(runtime.rate, runtime.hours) for runtime in kept} == {(5, 7), (20, 4)}
