"""How fast files of devices and of runtime tests are taken in, beside plainly reading the same bytes with `csv`.

    python benchmarks/bench_intake.py [rows]

Everything happens in a fresh SQLite database in a temporary folder (DATABASE_URL names another, which must be empty).
The commit's transaction is held for the time of "write": on SQLite nobody else writes meanwhile, the job's own sign
of life included, so it must stay well under the lease of a job (fleet/jobs/pace.py).
"""

import csv
import io
import os
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal

FOLDER = tempfile.TemporaryDirectory(prefix="benchward-bench-")
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
os.environ["BENCHWARD_VAR"] = FOLDER.name
os.environ["BENCHWARD_SECRET_KEY"] = "only-for-a-benchmark-" * 3

import django  # noqa: E402 - models need django.setup() - the settings read the environment

django.setup()

from django.core.management import call_command  # noqa: E402 - models need django.setup() - models need django.setup()

from fleet.audit.actors import command_actor  # noqa: E402 - models need django.setup()
from fleet.exchange import actions, queries  # noqa: E402 - models need django.setup()
from fleet.exchange.cells import Ways  # noqa: E402 - models need django.setup()
from fleet.exchange.columns import parse  # noqa: E402 - models need django.setup()
from fleet.exchange.kinds import kind_of  # noqa: E402 - models need django.setup()
from fleet.exchange.models import Intake  # noqa: E402 - models need django.setup()
from fleet.exchange.reading import read  # noqa: E402 - models need django.setup()
from fleet.registry.actions import NewType, add_device_type, add_party, add_place  # noqa: E402 - models need django.setup()

BY = command_actor("bench_intake")
START = datetime(2020, 1, 1, 8, tzinfo=UTC)


def seconds(work: Callable[[], object]) -> float:
    """Run the work once and tell how long it took."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def unheard(_done: int, _total: int | None) -> None:
    """A progress nobody looks at."""


def a_hospital() -> None:
    """One ward, one type, one maker of packs."""
    site = add_place("site", "Mereford General", "mg", by=BY)
    add_place("ward", "Ward 4", "mg-ward-4", site, by=BY)
    add_party("Fennick Cells", "fennick", makes=True, by=BY)
    maker = add_party("Tarnwick Instruments", "tarnwick", makes=True, by=BY)
    rated = {Decimal(5): Decimal(7)}
    add_device_type(
        NewType(
            maker=maker, model="TW-10", charging_hours=Decimal(10), reference_rate=Decimal(5), rated_runtimes=rated
        ),
        by=BY,
    )


def devices(rows: int) -> list[dict[str, str]]:
    """Drivers in use, with a dozen facts each."""
    usual = {"maker": "Tarnwick Instruments", "model": "TW-10", "home": "mg-ward-4", "accepted_on": "2019-05-02"}
    more = {"pool": "clinical", "cost_centre": "4410", "lot": "L1", "price": "1450.50", "currency": "EUR"}
    return [{"asset_number": f"H{row:06d}", "serial_number": f"SN-{row:06d}", **usual, **more} for row in range(rows)]


def packs(drivers: int) -> list[dict[str, str]]:
    """A pack without a number in each driver."""
    usual = {"maker": "Fennick Cells", "part_number": "FC-7", "chemistry": "NiMH", "fitted_on": "2019-05-02"}
    return [{"device": f"H{row:06d}", **usual} for row in range(drivers)]


def tests(rows: int, drivers: int) -> list[dict[str, str]]:
    """Runtime tests spread over the drivers."""
    usual = {"stop": "flat", "rate": "5", "syringe_ml": "50", "charge_hours": "10"}
    found = []
    for row in range(rows):
        start = START + timedelta(days=row // drivers, minutes=row % 60)
        stop = start + timedelta(minutes=300 + row % 100)
        times = {"started_at": f"{start:%Y-%m-%d %H:%M}", "stopped_at": f"{stop:%Y-%m-%d %H:%M}"}
        found.append({"device": f"H{row % drivers:06d}", **times, **usual})
    return found


def as_csv(rows: list[dict[str, str]]) -> bytes:
    """The rows as a file."""
    out = io.StringIO()
    writer = csv.DictWriter(out, rows[0])
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode()


def plainly(content: bytes) -> None:
    """What anybody pays who reads a CSV at all."""
    list(csv.reader(io.StringIO(content.decode(), newline="")))


def columns(kind: str, content: bytes) -> None:
    """Read the file and every cell, without a database."""
    known = kind_of(kind).columns
    parse(read(content, [column.name for column in known]), known, Ways())


def sent(kind: str, content: bytes) -> Intake:
    """The file sent and not yet checked."""
    new = actions.Sending(kind=kind, file_name=f"{kind}.csv", content=content)
    return actions.send(new, by=BY, enqueued=False)


def committed(intake: Intake) -> None:
    """The checked file on record; it must be right."""
    actions.ask_commit(intake, by=BY, enqueued=False)
    actions.commit(intake.pk, progress=unheard)
    intake.refresh_from_db()
    assert intake.state == Intake.State.COMMITTED, intake.error


def measure(kind: str, content: bytes, rows: int) -> None:
    """Print each step's rows a second and its ratio to plainly reading."""
    plain = min(seconds(lambda: plainly(content)) for _ in range(3))
    intake = sent(kind, content)
    steps = {"plainly read": plain, "columns read": seconds(lambda: columns(kind, content))}
    steps["check"] = seconds(lambda: actions.check(intake.pk, progress=unheard))
    weigh = seconds(lambda: queries.stand(Intake.objects.get(pk=intake.pk), progress=unheard))
    steps["commit"] = seconds(lambda: committed(intake))
    steps["of which write"] = steps["commit"] - weigh
    again = sent(kind, content)
    steps["check again, all known"] = seconds(lambda: actions.check(again.pk, progress=unheard))
    print(f"\n{rows} {kind}, {len(content) / 1e6:.1f} MB")
    for name, taken in steps.items():
        print(f"{name:24} {taken:8.2f} s {rows / taken:12,.0f} rows/s {taken / plain:8.1f} x")


def main(rows: int) -> None:
    """Take in devices, packs (not measured) and tests."""
    call_command("migrate", verbosity=0)
    a_hospital()
    drivers = max(rows // 10, 1)
    measure("devices", as_csv(devices(rows)), rows)
    fitted = sent("packs", as_csv(packs(drivers)))
    actions.check(fitted.pk, progress=unheard)
    committed(fitted)
    measure("tests", as_csv(tests(rows, drivers)), rows)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
