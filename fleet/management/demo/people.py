"""The people of Mereford Hospitals, all invented, and the sign-ins of the demonstration."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, NamedTuple

from django.contrib.auth.hashers import make_password

from fleet.audit.actors import Actor
from fleet.management.demo.hospital import BY, GENERAL, HOUSE, VALE, Hospital
from fleet.people.actions import NewPerson, add_person, ensure_roles
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.people.roles import Role

#: Printed at each start, so worth nothing. Never used for anybody who is not of the demonstration.
PASSWORD: Final = "mereford-demo"  # noqa: S105 - it is printed
CAUTION: Final = (
    "These sign-ins are for trying Benchward out on your own machine, and everybody can read them here. "
    "Never put a demo where others can reach it, and keep no real driver or person in it."
)


class Cast(NamedTuple):
    """Somebody to be added; no place means all places. Only those with a `purpose` can sign in."""

    username: str
    name: str
    role: Role
    places: tuple[str, ...] = ()
    purpose: str = ""


CAST: Final = (
    Cast("ward", "Nell Averby", Role.WARD, ("mg-w4",), "ward nurse, sees Ward 4 only"),
    Cast("technician", "Tova Lindqvarn", Role.TECHNICIAN, (GENERAL, HOUSE), "technician at Mereford General's bench"),
    Cast(
        "technician2", "Bram Ostley", Role.TECHNICIAN, (VALE, GENERAL), "second technician, for a second pair of eyes"
    ),
    Cast("storekeeper", "Stig Halloway", Role.STOREKEEPER, (), "storekeeper, sees all sites"),
    Cast("manager", "Maud Ferrant", Role.MANAGER, (), "manager, sees all sites"),
    Cast("administrator", "Ada Quennell", Role.ADMINISTRATOR, (), "administrator, may do everything"),
    Cast("p.marrack", "Petra Marrack", Role.TECHNICIAN, (GENERAL, VALE, HOUSE)),
    Cast("o.tindell", "Osric Tindell", Role.TECHNICIAN, (VALE,)),
    Cast("i.brandreth", "Isolde Brandreth", Role.MANAGER, (HOUSE,)),
    Cast("c.wexcombe", "Corin Wexcombe", Role.STOREKEEPER, (VALE,)),
    Cast("h.aldous", "Hester Aldous", Role.WARD, ("mg-icu", "mg-hdu")),
    Cast("j.penhallow", "Jory Penhallow", Role.WARD, ("mg-theatres", "mg-recovery")),
    Cast("m.tresk", "Mirren Tresk", Role.WARD, ("mg-nnu",)),
    Cast("s.oakhanger", "Silas Oakhanger", Role.WARD, ("mg-ed",)),
    Cast("d.rusper", "Della Rusper", Role.WARD, ("cv-icu", "cv-theatres")),
    Cast("e.vanstow", "Edda Vanstow", Role.WARD, ("cv-a", "cv-b", "cv-c")),
    Cast("f.kelder", "Fenn Kelder", Role.WARD, ("ah-east", "ah-west", "ah-home")),
    Cast("r.sallow", "Rowan Sallow", Role.WARD, ("mg-w5",)),
    Cast("g.harrowick", "Greta Harrowick", Role.WARD, ("mg-labour", "mg-child")),
)


@dataclass(frozen=True, slots=True)
class Crew:
    """Those who act in the history."""

    technicians: tuple[Actor, ...]
    second_technician: Actor
    vale_technician: Actor
    manager: Actor
    storekeeper: Actor
    nurses: dict[str, Actor]

    def technician_at(self, bench_code: str, number: int) -> Actor:
        """One of those who work at a bench, the same for the same number."""
        if bench_code.startswith(VALE):
            return (self.vale_technician, self.second_technician)[number % 2]
        return self.technicians[number % len(self.technicians)]


def build_people(hospital: Hospital) -> Crew:
    """Add everybody and give those who act as actors."""
    ensure_roles()
    people = {cast.username: _add(cast, hospital) for cast in CAST}
    # One password for all, so it is hashed once: each hash is meant to be dear.
    Person.objects.filter(username__in=[cast.username for cast in CAST if cast.purpose]).update(
        password=make_password(PASSWORD)
    )
    actors = {username: actor_for(person) for username, person in people.items()}
    wards = {code: actors[cast.username] for cast in CAST if cast.role is Role.WARD for code in cast.places}
    return Crew(
        technicians=(actors["technician"], actors["p.marrack"], actors["technician2"]),
        second_technician=actors["technician2"],
        vale_technician=actors["o.tindell"],
        manager=actors["manager"],
        storekeeper=actors["storekeeper"],
        nurses=wards,
    )


def _add(cast: Cast, hospital: Hospital) -> Person:
    new = NewPerson(
        username=cast.username,
        display_name=cast.name,
        role=cast.role,
        email=f"{cast.username}@mereford.example",
        phone=f"bleep {200 + CAST.index(cast)}",
        password=None,
        everywhere=not cast.places,
        places=tuple(hospital.places[code] for code in cast.places),
    )
    return add_person(new, by=BY)


def sign_ins() -> Iterator[tuple[str, str]]:
    """The sign-in names of the demonstration that are in this database, each with who it is."""
    known = set(Person.objects.filter(username__in=[cast.username for cast in CAST]).values_list("username", flat=True))
    return ((cast.username, f"{cast.name}, {cast.purpose}") for cast in CAST if cast.purpose and cast.username in known)
