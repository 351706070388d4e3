"""Files for tests, and the way they take."""

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.test import Client

from fleet.audit.actors import Actor
from fleet.exchange import actions
from fleet.exchange.actions import Choices, Sending
from fleet.exchange.columns import Problem
from fleet.exchange.models import Intake
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry.models import Device
from tests.builders import BY, a_maker, a_site, a_type, a_ward

Rows = Sequence[Mapping[str, Any]]
STANDARD_TYPE = {"maker": "Tarnwick Instruments", "model": "TW-10"}


def told_nothing(_done: int, _total: int | None) -> None:
    """A progress nobody looks at."""


def a_text(rows: Rows, delimiter: str = ",") -> str:
    """Rows as CSV; the columns are all that stand in any row."""
    names = list(dict.fromkeys(name for row in rows for name in row))
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter)
    writer.writerow(names)
    writer.writerows([row.get(name, "") for name in names] for row in rows)
    return out.getvalue()


def a_file(rows: Rows, delimiter: str = ",", encoding: str = "utf-8") -> bytes:
    """Such a file."""
    return a_text(rows, delimiter).encode(encoding)


def sent(kind: str, content: bytes | Rows, person: Person | None = None, **how: Any) -> Intake:
    """A file sent by a person, or by a command."""
    by: Actor = actor_for(person) if person else BY
    file = content if isinstance(content, bytes) else a_file(content)
    name = how.pop("file_name", "records.csv")
    return actions.send(Sending(kind=kind, file_name=name, content=file, choices=Choices(**how)), by=by)


def checked(kind: str, content: bytes | Rows, person: Person | None = None, **how: Any) -> Intake:
    """A file sent and checked."""
    intake = sent(kind, content, person, **how)
    actions.check(intake.pk, progress=told_nothing)
    intake.refresh_from_db()
    return intake


def written(intake: Intake) -> Intake:
    """A checked file after its commit."""
    actions.ask_commit(intake, by=BY)
    actions.commit(intake.pk, progress=told_nothing)
    intake.refresh_from_db()
    return intake


def taken_in(kind: str, content: bytes | Rows, person: Person | None = None, **how: Any) -> Intake:
    """A file sent, checked and committed; it must be right."""
    intake = checked(kind, content, person, **how)
    assert (intake.error, problems(intake)) == ("", [])
    done = written(intake)
    assert done.state == Intake.State.COMMITTED, done.error
    return done


def problems(intake: Intake) -> list[Problem]:
    """Why its rows are refused."""
    return [Problem(*one) for one in intake.refusals]


def counts(intake: Intake) -> tuple[int, int, int, int]:
    """New, already known, changed and refused rows."""
    return intake.new_rows, intake.same_rows, intake.changed_rows, intake.refused_rows


def a_home() -> str:
    """The code of Ward 4, with the usual type and the pack maker on record."""
    a_type()
    a_maker("Fennick Cells")
    return a_ward().code


def driver_row(number: int, home: str, **facts: Any) -> dict[str, Any]:
    """A row of a driver in use since 2024."""
    usual = {"asset_number": f"H{number:06d}", "serial_number": f"SN-{number:06d}", **STANDARD_TYPE, "home": home}
    return {**usual, "accepted_on": "2024-03-01", **facts}


def pack_row(device: Device | str, number: str = "", **facts: Any) -> dict[str, Any]:
    """A row of a pack in a driver since the first of May 2024."""
    usual = {"number": number, "maker": "Fennick Cells", "part_number": "FC-7", "chemistry": "NiMH"}
    return {**usual, "device": str(device), "fitted_on": "2024-05-01", **facts}


def run_row(device: Device | str, **facts: Any) -> dict[str, Any]:
    """A row of a runtime test of 5 h 36 min at 5 mL/h."""
    return {
        "device": str(device),
        "started_at": "2026-03-02 08:00",
        "stopped_at": "2026-03-02 13:36",
        "stop": "flat",
        "rate": "5",
        "syringe_ml": "50",
        "charge_hours": "10",
        **facts,
    }


def alert_row(device: Device | str, **facts: Any) -> dict[str, Any]:
    """A row of an alert seen once in March 2026."""
    usual = {
        "device": str(device),
        "kind": "battery-weak",
        "seen_at": "2026-03-02 08:00",
        "seen_by": "log of the driver",
    }
    return {**usual, **facts}


def signed_in(person: Person) -> Client:
    """A browser in which somebody is signed in."""
    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return client


def lines_of(body: Iterable[bytes]) -> list[list[str]]:
    """A streamed CSV, read back."""
    text = b"".join(body).decode().removeprefix("\ufeff")
    return list(csv.reader(io.StringIO(text, newline="")))


def outside_ward() -> str:
    """The code of a ward at Corran Vale, where the cast of Mereford General has no place."""
    return a_ward("Ward 9", a_site("Corran Vale")).code
