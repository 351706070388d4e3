"""Plain functions that build what a test needs, by the same actions as the product. Extend; keep each one short."""

from datetime import date
from decimal import Decimal
from itertools import count
from typing import Any

from fleet.audit.actors import command_actor
from fleet.people.actions import NewPerson, add_person, ensure_roles
from fleet.people.models import Person
from fleet.people.roles import Role
from fleet.registry.actions import NewDevice, NewType, add_device, add_device_type, add_party, add_place
from fleet.registry.models import Device, DeviceType, Party, Place

BY = command_actor("test")
PASSWORD = "a long enough sign-in word"
_serial = count(1)


def a_site(name: str = "Mereford General") -> Place:
    """A hospital site."""
    return Place.objects.filter(kind="site", name=name).first() or add_place(
        Place.Kind.SITE, name, f"site-{next(_serial)}", by=BY
    )


def a_ward(name: str = "Ward 4", site: Place | None = None, **facts: Any) -> Place:
    """A ward of the site (of Mereford General when none is named)."""
    home = site or a_site()
    return Place.objects.filter(parent=home, name=name).first() or add_place(
        Place.Kind.WARD, name, f"ward-{next(_serial)}", home, by=BY, **facts
    )


def a_bench(site: Place | None = None) -> Place:
    """The bench of the site."""
    home = site or a_site()
    return Place.objects.filter(parent=home, kind="bench").first() or add_place(
        Place.Kind.BENCH, "Bench", f"bench-{next(_serial)}", home, by=BY
    )


def a_store(site: Place | None = None) -> Place:
    """The store of the site."""
    home = site or a_site()
    return Place.objects.filter(parent=home, kind="store").first() or add_place(
        Place.Kind.STORE, "Store", f"store-{next(_serial)}", home, by=BY
    )


def a_maker(name: str = "Tarnwick Instruments") -> Party:
    """A maker of drivers."""
    return Party.objects.filter(name=name).first() or add_party(name, f"party-{next(_serial)}", by=BY, makes=True)


def a_type(model: str = "TW-10", **facts: Any) -> DeviceType:
    """A driver type: 7 h at 5 mL/h, 10 h to charge (common practice, no source)."""
    return DeviceType.objects.filter(model=model).first() or add_device_type(
        NewType(
            maker=a_maker(),
            model=model,
            charging_hours=Decimal(10),
            reference_rate=Decimal(5),
            rated_runtimes={Decimal(5): Decimal(7)},
            accessories={"Power lead": 1},
            facts={"chemistry": "NiMH", **facts},
            source="common practice, no source",
        ),
        by=BY,
    )


def a_new_device(home: Place | None = None, device_type: DeviceType | None = None, **facts: Any) -> Device:
    """A delivered driver that waits for acceptance."""
    return _device(home, device_type, "", facts)


def a_device(home: Place | None = None, device_type: DeviceType | None = None, **facts: Any) -> Device:
    """A driver in service at a ward, accepted on 1 March 2024."""
    return _device(home, device_type, "test", {"accepted_on": date(2024, 3, 1), **facts})


def _device(home: Place | None, device_type: DeviceType | None, taken_over: str, facts: dict[str, Any]) -> Device:
    number = next(_serial)
    new = NewDevice(
        serial_number=facts.pop("serial_number", f"SN{number:05d}"),
        asset_number=facts.pop("asset_number", f"A{number:05d}"),
        device_type=device_type or a_type(),
        home=home or a_ward(),
        taken_over=taken_over,
        facts=facts,
    )
    return add_device(new, by=BY)


def a_person(role: Role, name: str = "", places: tuple[Place, ...] = (), *, everywhere: bool = False) -> Person:
    """Somebody in a role who sees the places given."""
    ensure_roles()
    number = next(_serial)
    return add_person(
        NewPerson(
            username=f"{role.value}{number}",
            display_name=name or f"{role.label} {number}",
            role=role,
            email=f"{role.value}{number}@mereford.example",
            phone="bleep 100",
            password=PASSWORD,
            places=places,
            everywhere=everywhere,
        ),
        by=BY,
    )
