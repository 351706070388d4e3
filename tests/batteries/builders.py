"""Packs, runtime tests and forecasts for tests, and what a bench posts."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.test import Client

from fleet.batteries import actions
from fleet.batteries.actions import NewPack, NewTest
from fleet.batteries.models import Forecast, Pack, RuntimeTest
from fleet.people.models import Person
from fleet.registry.models import Device, DeviceType, Place
from fleet.web import clock
from tests.builders import BY, a_device, a_maker, a_type

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
TODAY = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)


def a_pack(for_type: DeviceType | None = None, **facts: Any) -> Pack:
    """A pack in stock for the usual type."""
    usual = {"maker": a_maker("Fennick Cells"), "part_number": "FC-7", "chemistry": "NiMH"}
    return actions.add_pack(NewPack(**{"for_type": for_type or a_type(), **usual, **facts}), by=BY)


def a_fitted_device(
    on: date = date(2024, 3, 1), home: Place | None = None, device_type: DeviceType | None = None, **facts: Any
) -> Device:
    """A driver with a pack."""
    device = a_device(home, device_type, **facts)
    actions.fit(a_pack(device_type), device, on=on, by=BY)
    return device


def a_test(device: Device, **facts: Any) -> NewTest:
    """A full test of 5 h 36 min at 5 mL/h after 10 hours on charge."""
    return NewTest(
        **{
            "device": device,
            "charge_hours": Decimal(10),
            "rate": Decimal(5),
            "syringe_ml": Decimal(50),
            "started_at": START,
            "stopped_at": START + timedelta(hours=5.6),
            "stop": RuntimeTest.Stop.RAN_FLAT,
            **facts,
        }
    )


def a_logged_test(device: Device, **facts: Any) -> RuntimeTest:
    """Such a test on record; one that ran oddly long or short was confirmed."""
    return actions.log_test(a_test(device, **{"confirmed": True, **facts}), by=BY)


def a_history(packs: int = 12, tests: int = 3, device_type: DeviceType | None = None) -> list[Device]:
    """Drivers whose packs fade by about 0.05 a year from 1.02, tested once a year."""
    devices = [a_fitted_device(date(2022, 9, 1), device_type=device_type) for _ in range(packs)]
    for row, device in enumerate(devices):
        for year in range(tests):
            start = datetime(2023 + year, 9, 1 + row, 8, 0, tzinfo=UTC)
            wobble = 0.004 * ((row * 7 + year * 3) % 5 - 2)
            hours = 7 * (1.02 + 0.002 * row - (0.045 + 0.001 * row) * (year + 1) + wobble)
            a_logged_test(device, started_at=start, stopped_at=start + timedelta(minutes=round(hours * 60)))
    return devices


def a_forecast(device: Device, **facts: Any) -> Forecast:
    """A forecast of a driver's pack as a night left it: it crosses in 2027 to 2029, visit in March 2027."""
    usual = {
        "made_at": clock.now() - timedelta(hours=6),
        "basis": Forecast.Basis.OWN_TESTS,
        "tests_used": 2,
        "fraction_today": 0.86,
        "fraction_sd": 0.02,
        "level": Decimal("0.800"),
        "crossing_on": date(2028, 3, 1),
        "crossing_early": date(2027, 3, 1),
        "crossing_late": date(2029, 9, 1),
        "next_visit": date(2027, 3, 14),
        "chance_before_visit": 0.21,
        "curve": [["2026-11-25", 0.83, 0.86, 0.89], ["2028-11-25", 0.7, 0.77, 0.84], ["2031-11-25", 0.5, 0.6, 0.72]],
    }
    return Forecast.objects.create(device=device, pack=device.fittings.get(removed_on=None).pack, **{**usual, **facts})


def no_forecast(device: Device, **facts: Any) -> Forecast:
    """The row of a type of which too little is known."""
    empty = dict.fromkeys(
        ("fraction_today", "fraction_sd", "crossing_on", "crossing_early", "crossing_late", "chance_before_visit")
    )
    why = "Not enough data for a forecast of this type: 2 packs with a full runtime test, 8 needed."
    return a_forecast(device, **{"basis": Forecast.Basis.NOT_ENOUGH, "why_not": why, "curve": [], **empty, **facts})


def signed_in(person: Person) -> Client:
    """A browser in which somebody is signed in."""
    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return client


def words(client: Client, address: str, status: int = 200) -> str:
    """The page at an address, with spaces where lines must not break."""
    answer = client.get(address)
    assert answer.status_code == status
    return plain(answer.content)


def plain(content: bytes) -> str:
    """A page's text with ordinary spaces."""
    return " ".join(content.decode().replace("\u00a0", " ").split())


def typed_run(**changes: str) -> dict[str, str]:
    """What the log form posts: 5 h 36 min from 8:00 on 2 March 2026."""
    usual = {
        "started_on": "2026-03-02",
        "started_at": "0800",
        "stopped_at": "13:36",
        "stop": "flat",
        "charge_hours": "10",
        "rate": "5",
        "syringe_ml": "50",
    }
    return {**usual, **changes}


def typed_rack(rows: list[dict[str, str]], **common: str) -> dict[str, str]:
    """What the rack's form posts: ten rows, of which the first are filled."""
    posted = {"started_on": "2026-03-02", "started_at": "8:00", "syringe_ml": "50", "charge_hours": "", "rate": ""}
    for number in range(1, 11):
        row = {"position": str(number), "driver": "", "stopped_at": "", "low_alarm_at": "", "stop": "flat"}
        row |= rows[number - 1] if number <= len(rows) else {}
        posted |= {f"row{number}-{name}": value for name, value in row.items()}
    return {**posted, **common}
