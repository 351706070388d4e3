"""A charging rack of ten: all or nothing, each refusal with its row named, nothing typed lost."""

from decimal import Decimal

import pytest
from django.test import Client

from fleet.batteries.models import RuntimeTest
from tests.batteries.builders import a_fitted_device, a_logged_test, plain, typed_rack, words
from tests.builders import a_device, a_site, a_ward

pytestmark = pytest.mark.django_db


def sent(client: Client, rows: list[dict[str, str]], **common: str) -> str:
    return plain(client.post("/batteries/rack/", typed_rack(rows, **common), follow=True).content)


def a_row(driver: str, stopped_at: str = "13:36", **cells: str) -> dict[str, str]:
    return {"driver": driver, "stopped_at": stopped_at, **cells}


def test_a_full_rack_is_logged_at_once(bench: Client) -> None:
    """Ten drivers, one post, ten tests with their positions, and a page that says what each is worth."""
    devices = [a_fitted_device() for _ in range(10)]
    page = sent(bench, [a_row(device.asset_number, low_alarm_at="1300") for device in devices])
    assert [test.device for test in RuntimeTest.objects.order_by("pk")] == devices
    assert set(RuntimeTest.objects.values_list("rack_position", flat=True)) == {str(n) for n in range(1, 11)}
    assert page.count("5 h 36 min of 7 h rated: 80.0 %, meets") == 10
    assert "10 tests logged together" in page


def test_a_rack_says_which_drivers_to_keep_out_of_use(bench: Client) -> None:
    """Those below their level are named below the list, each with the way to its pack; a rack of good ones is quiet."""
    good, low = a_fitted_device(), a_fitted_device()
    page = sent(bench, [a_row(good.asset_number), a_row(low.asset_number, "11:00")])
    told = page[page.index("1 under its replacement level") :]
    assert f"/batteries/device/{low.asset_number}/pack/" in told
    assert f"/batteries/device/{good.asset_number}/pack/" not in told
    assert "Keep out of use" not in sent(bench, [a_row(a_fitted_device().asset_number)])


def test_an_unlikely_row_is_asked_back_in_its_place(bench: Client) -> None:
    """The row is named with both figures and gets its tick; the others wait with it, and all are logged once ticked."""
    good, odd = a_fitted_device(), a_fitted_device()
    rows = [a_row(good.asset_number), a_row(odd.asset_number, "08:50")]
    page = sent(bench, rows)
    assert "0:50 h was typed where about 7:00 h was expected" in page
    assert page.count('name="row2-confirmed"') == 1
    assert 'name="row1-confirmed"' not in page
    assert not RuntimeTest.objects.exists()
    sent(bench, [rows[0], {**rows[1], "confirmed": "on"}])
    assert list(RuntimeTest.objects.order_by("pk").values_list("confirmed", flat=True)) == [False, True]


def test_empty_rows_are_left_out(bench: Client) -> None:
    """Rows in which only the position stands are no tests."""
    rows = [a_row(a_fitted_device().asset_number), {}, {}, a_row(a_fitted_device().asset_number)]
    sent(bench, rows)
    assert list(RuntimeTest.objects.order_by("pk").values_list("rack_position", flat=True)) == ["1", "4"]


def test_charge_and_rate_come_from_each_type_when_left_empty(bench: Client) -> None:
    """A driver with its own charging hours gets those."""
    own = a_fitted_device(own_charging_hours=Decimal(14))
    sent(bench, [a_row(a_fitted_device().asset_number), a_row(own.asset_number)])
    assert list(RuntimeTest.objects.order_by("pk").values_list("charge_hours", "rate")) == [(10, 5), (14, 5)]


def test_one_wrong_row_leaves_nothing_written_and_keeps_everything_typed(bench: Client) -> None:
    """Each wrong row is named with its driver and its words; the right ones are still in their cells."""
    right, bare = a_fitted_device(), a_device()
    rows = [
        a_row(right.asset_number),
        a_row("NIX", "14:10"),
        a_row(bare.asset_number),
        a_row(a_fitted_device().asset_number, "quarter past two"),
        {"driver": a_fitted_device().asset_number},
        {"stopped_at": "13:00"},
        a_row(a_fitted_device().asset_number, low_alarm_at="7:00"),
        a_row(right.serial_number),
    ]
    page = sent(bench, rows)
    assert not RuntimeTest.objects.exists()
    for said in (
        "Row 2 (NIX)</a>: No driver here is known as “NIX”",
        f"Row 3 ({bare})</a>: {bare} has no pack on record",
        "“quarter past two” is no time of day",
        "Give the time it stopped.",
        "Row 6</a>: Scan the driver",
        "alarm lies outside the run",
        f"{right} stands in Row 1 ({right}) already.",
    ):
        assert said in page
    assert "Row 1 (" not in page.split("already.")[1].split("</ul>")[0]
    assert f'name="row1-driver" value="{right}"' in page
    assert 'name="row2-stopped_at" value="14:10"' in page


def test_a_test_on_record_is_refused_in_its_row(bench: Client) -> None:
    """The same start of the same pack is a second entry of one test."""
    device = a_fitted_device()
    a_logged_test(device)
    page = sent(bench, [a_row(a_fitted_device().asset_number), a_row(device.asset_number)])
    assert f"Row 2 ({device})</a>" in page
    assert "is there already" in page
    assert RuntimeTest.objects.count() == 1


def test_a_wrong_common_line_refuses_the_whole(bench: Client) -> None:
    """Without a start no row can be reckoned, and the rows stay as typed."""
    device = a_fitted_device()
    page = sent(bench, [a_row(device.asset_number)], started_at="")
    assert "Started at</a>: This field is required." in page
    assert f'name="row1-driver" value="{device}"' in page
    assert not RuntimeTest.objects.exists()


def test_an_empty_rack_says_what_to_do(bench: Client) -> None:
    """Nothing typed is told, not taken for a success."""
    assert "Scan the first driver" in sent(bench, [])


def test_a_driver_of_another_site_is_not_found(bench: Client) -> None:
    """A rack at Mereford logs no driver of Corran Vale."""
    theirs = a_fitted_device(home=a_ward("Ward 1", a_site("Corran Vale")))
    assert "No driver here" in sent(bench, [a_row(theirs.asset_number)])
    assert not RuntimeTest.objects.exists()


def test_each_cell_has_a_name_for_those_who_do_not_see_it(bench: Client) -> None:
    """Fifty cells, fifty labels, each with its row."""
    page = words(bench, "/batteries/rack/")
    assert page.count('class="hidden" for="id_row') == 50
    assert "Row 10, why it stopped" in page
